"""Output off when the measured voltage is above the bench's limit (a knob turned by hand, a sense lead lost)."""

from __future__ import annotations

from wakerail.bench.interlocks.trip import Interlock, Samples, Trip
from wakerail_kit.units import human

#: A measured voltage may pass the configured limit by this much before the output is cut: overshoot and ripple of an
#: ordinary supply (common practice, no source).
VOLTAGE_GRACE = 1.05


class OverVoltage(Interlock):
    """Trips on any sample above the limit and its grace."""

    def __init__(self, limit_v: float) -> None:
        self._limit_v = limit_v

    def judge(self, samples: Samples) -> Trip | None:
        values = samples.signals.get("voltage", ())
        highest_v = max((value for value in values if value is not None), default=0.0)
        if highest_v <= self._limit_v * VOLTAGE_GRACE:
            return None
        says = f"{human(highest_v, 'V')} at the output, above the limit of {human(self._limit_v, 'V')}"
        return Trip("over-voltage", says, highest_v, self._limit_v, "V")
