"""No setting above the highest value that the bench allows for it."""

from __future__ import annotations

from collections.abc import Mapping

from wakerail.bench.interlocks.trip import Interlock
from wakerail_kit.kinds import Kind
from wakerail_kit.units import human


class SettingCeiling(Interlock):
    """Refuses a setting above its limit, and one that is no number."""

    def __init__(self, kind: Kind, limits: Mapping[str, float]) -> None:
        self._units = {name: setting.unit or "1" for name, setting in kind.settings.items()}
        self._limits = limits

    def refusal(self, setting: str, value: float | bool, now_s: float) -> str | None:  # noqa: ARG002
        limit = self._limits.get(setting)
        if limit is None or value <= limit:
            return None
        unit = self._units[setting]
        return f"{setting} {human(value, unit)} is above this bench's limit of {human(limit, unit)}"
