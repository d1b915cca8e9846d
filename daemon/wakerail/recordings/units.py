"""The units that recordings are written in, as exact steps to the SI unit: a division for what is smaller than it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as it is shown, the SI unit that it belongs to, and the step there: ``times``, then ``over``."""

    name: str
    si: str
    times: float = 1.0
    over: float = 1.0

    def to_si(self, values: Floats) -> Floats:
        """Return values in the SI unit; 0.3 mA becomes the very float 0.0003, as a division rounds once."""
        if self.over != 1.0:
            return values / self.over
        return values if self.times == 1.0 else values * self.times


_UNITS = (
    Unit("A", "A"),
    Unit("mA", "A", over=1e3),
    Unit("µA", "A", over=1e6),
    Unit("nA", "A", over=1e9),
    Unit("W", "W"),
    Unit("kW", "W", times=1e3),
    Unit("mW", "W", over=1e3),
    Unit("µW", "W", over=1e6),
    Unit("V", "V"),
    Unit("mV", "V", over=1e3),
    Unit("s", "s"),
    Unit("ms", "s", over=1e3),
    Unit("µs", "s", over=1e6),
    Unit("ns", "s", over=1e9),
    Unit("min", "s", times=60.0),
    Unit("h", "s", times=3600.0),
)
_SPELLINGS = {
    "sec": "s",
    "secs": "s",
    "second": "s",
    "seconds": "s",
    "sekunden": "s",
    "msec": "ms",
    "millis": "ms",
    "milliseconds": "ms",
    "usec": "µs",
    "micros": "µs",
    "microseconds": "µs",
    "nanoseconds": "ns",
    "minute": "min",
    "minutes": "min",
    "hour": "h",
    "hours": "h",
    "hr": "h",
    "amp": "A",
    "amps": "A",
    "ampere": "A",
    "amperes": "A",
    "milliamps": "mA",
    "microamps": "µA",
    "watt": "W",
    "watts": "W",
    "milliwatts": "mW",
    "volt": "V",
    "volts": "V",
    "millivolts": "mV",
}
_BY_NAME = {unit.name: unit for unit in _UNITS}


def find_unit(text: str) -> Unit | None:
    """Return the unit that a text names, whatever its case and its sort of µ; None if it is none of ours."""
    text = text.strip().replace("\N{GREEK SMALL LETTER MU}", "µ")
    if text in _BY_NAME:
        return _BY_NAME[text]
    word = text.lower()
    if word in _SPELLINGS:
        return _BY_NAME[_SPELLINGS[word]]
    if len(word) > 1 and word[0] == "u":
        word = f"µ{word[1:]}"
    # case tells nothing apart here: nobody records a bench in megaamperes
    return next((unit for unit in _UNITS if unit.name.lower() == word), None)


def units_of(*si: str) -> list[str]:
    """Return the names of the units that belong to these SI units."""
    return [unit.name for unit in _UNITS if unit.si in si]
