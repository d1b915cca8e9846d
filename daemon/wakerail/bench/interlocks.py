"""Interlocks: limits kept beside the instrument, whatever a sequence asks. They only ever make things safer.

Pure decisions on numbers; the host acts on them in the instrument's own I/O thread, before anything else sees the
frame. A trip is kept until a person resets it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from wakerail_kit.kinds import HEAT_SOURCE, POWER_SOURCE, Kind
from wakerail_kit.units import human

Samples = Mapping[str, Sequence[float | None]]

#: A measured voltage may pass the configured limit by this much before the output is cut: overshoot and ripple of an
#: ordinary supply (common practice, no source).
VOLTAGE_GRACE = 1.05


@dataclass(frozen=True, slots=True)
class Trip:
    """Why an interlock acted, in words and numbers (``unit`` is UCUM)."""

    interlock: str
    says: str
    value: float | None
    limit: float | None
    unit: str


class Interlock(Protocol):
    """A guard over one instrument."""

    def refusal(self, setting: str, value: float | bool) -> str | None:
        """Return why a setting must not be sent, or None if it may."""
        ...

    def judge(self, samples: Samples) -> Trip | None:
        """Look at the newest samples; return a Trip if the instrument must be made safe now."""
        ...


class SettingCeiling:
    """No setting above the highest value that the bench allows for it."""

    def __init__(self, kind: Kind, limits: Mapping[str, float]) -> None:
        self._units = {name: setting.unit or "1" for name, setting in kind.settings.items()}
        self._limits = limits

    def refusal(self, setting: str, value: float | bool) -> str | None:
        limit = self._limits.get(setting)
        if limit is None or value <= limit:
            return None
        unit = self._units[setting]
        return f"{setting} {human(value, unit)} is above this bench's limit of {human(limit, unit)}"

    def judge(self, samples: Samples) -> Trip | None:  # noqa: ARG002  this guard looks at settings only
        return None


class OverVoltage:
    """Output off when the measured voltage is above the bench's limit (a knob turned by hand, a sense lead lost)."""

    def __init__(self, limit_v: float) -> None:
        self._limit_v = limit_v

    def refusal(self, setting: str, value: float | bool) -> str | None:  # noqa: ARG002
        return None

    def judge(self, samples: Samples) -> Trip | None:
        highest_v = _highest(samples.get("voltage", ()))
        if highest_v is None or highest_v <= self._limit_v * VOLTAGE_GRACE:
            return None
        says = f"{human(highest_v, 'V')} at the output, above the limit of {human(self._limit_v, 'V')}"
        return Trip("over-voltage", says, highest_v, self._limit_v, "V")


class OverTemperature:
    """Heater off when the plate is above the bench's limit."""

    def __init__(self, limit_c: float) -> None:
        self._limit_c = limit_c

    def refusal(self, setting: str, value: float | bool) -> str | None:  # noqa: ARG002
        return None

    def judge(self, samples: Samples) -> Trip | None:
        highest_c = _highest(samples.get("temperature", ()))
        if highest_c is None or highest_c <= self._limit_c:
            return None
        says = f"plate at {human(highest_c, 'Cel')}, above the limit of {human(self._limit_c, 'Cel')}"
        return Trip("over-temperature", says, highest_c, self._limit_c, "Cel")


class LostSensor:
    """Heater off at the first sample that the plate's sensor does not give, and no heat until it reads again."""

    def __init__(self) -> None:
        self._readable = False

    def refusal(self, setting: str, value: float | bool) -> str | None:
        if setting == "heater" and value and not self._readable:
            return "the plate's temperature sensor gives no reading; heat without it is not allowed"
        return None

    def judge(self, samples: Samples) -> Trip | None:
        temperatures = samples.get("temperature", ())
        if not temperatures:
            return None
        self._readable = temperatures[-1] is not None
        heating = any(heater for heater in samples.get("heater", ()))
        if not heating or all(value is not None for value in temperatures):
            return None
        return Trip("lost-sensor", "the heater was on and the temperature sensor gave no reading", None, None, "Cel")


def interlocks_for(kind: Kind, limits: Mapping[str, float]) -> tuple[Interlock, ...]:
    """Return the guards that an instrument of a kind gets, given the bench's limits for it."""
    guards: list[Interlock] = [SettingCeiling(kind, limits)]
    if kind is POWER_SOURCE:
        guards.append(OverVoltage(limits["volts"]))
    if kind is HEAT_SOURCE:
        guards += [OverTemperature(limits["temperature"]), LostSensor()]
    return tuple(guards)


def _highest(values: Sequence[float | None]) -> float | None:
    return max((value for value in values if value is not None), default=None)
