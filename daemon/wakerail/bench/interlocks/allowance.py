"""No more from a supply than a run has said it will need: of what is set, and of what is measured while it is on."""

from __future__ import annotations

from itertools import zip_longest
from typing import NamedTuple

from wakerail.analysis.injection import Injected
from wakerail.bench.interlocks.trip import Interlock, Samples, Trip
from wakerail_kit.units import human


class Most(NamedTuple):
    """The most that may be set, and the most power that may come of it."""

    set: Injected
    power_w: float


class Allowance:
    """The most that the run which holds a supply may give; None: what the bench allows. Any thread may read it."""

    def __init__(self) -> None:
        self.most: Most | None = None


class WithinAllowance(Interlock):
    """Refuses settings above the allowance, and an output whose settings are not known; trips on a reading above it."""

    def __init__(self, allowance: Allowance) -> None:
        self._allowance = allowance
        self._set: dict[str, float | bool | None] = {}

    def refusal(self, setting: str, value: float | bool, now_s: float) -> str | None:  # noqa: ARG002
        most = self._allowance.most
        if most is None:
            return None
        allowed = {"volts": (most.set.volts_v, "V"), "limit": (most.set.limit_a, "A")}
        if setting in allowed and not value <= allowed[setting][0]:
            limit, unit = allowed[setting]
            return f"{setting} {human(value, unit)} is above the {human(limit, unit)} that this run may give"
        if setting == "output" and value:
            for name, (limit, _) in allowed.items():
                known = self._set.get(name)
                if known is None or not known <= limit:
                    return f"{name} is not known to be within what this run may give; set it first"
        return None

    def commanded(self, setting: str, value: float | bool | None, now_s: float) -> None:  # noqa: ARG002
        self._set[setting] = value

    def lost(self, now_s: float, why: str) -> Trip | None:  # noqa: ARG002
        self._set.clear()  # it may have been off at the mains, or set by another hand
        return None

    def judge(self, samples: Samples) -> Trip | None:
        most = self._allowance.most
        if most is None or self._set.get("output") is False:
            return None
        voltages, currents = samples.signals.get("voltage", ()), samples.signals.get("current", ())
        for voltage_v, current_a in zip_longest(voltages, currents):  # one that was not read hides nothing of the other
            if beyond := most.set.beyond(voltage_v or 0.0, current_a or 0.0, most.power_w):
                return Trip("allowance", beyond.says, beyond.value, beyond.limit, beyond.unit)
        return None
