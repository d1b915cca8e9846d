"""Heater off at the first reading that cannot be believed, and no heat until the sensor can be believed again."""

from __future__ import annotations

from wakerail.analysis.thermal.sensor import Doubt, SensorWatch
from wakerail.bench.interlocks.trip import Trip


class Sensor:
    """Judges the plate's sensor. It goes before the other interlocks, which see what it believes."""

    def __init__(self) -> None:
        self._watch = SensorWatch()

    @property
    def believed_c(self) -> float | None:
        """The newest temperature that is believed; None while none is."""
        return self._watch.believed_c

    def refusal(self) -> str | None:
        """Return why there must be no heat, or None."""
        if self._watch.settled:
            return None
        return "the plate's temperature sensor gives no reading that can be believed; heat without it is not allowed"

    def doubts(self, t_s: float, temperature_c: float | None, *, heating: bool) -> list[Doubt]:
        """Take a reading; return what speaks against going on with heat."""
        return [doubt for doubt in self._watch.add(t_s, temperature_c, heating=heating) if doubt.cuts]

    def reset(self) -> None:
        """Begin anew: a person has looked at the sensor."""
        self._watch = SensorWatch()


def trip_on(doubt: Doubt) -> Trip:
    """Return the trip that a doubt is while the plate is heated."""
    return Trip(f"sensor-{doubt.sort}", f"the heater was on and {doubt.says}", doubt.value_c, None, "Cel")
