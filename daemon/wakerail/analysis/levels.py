"""Plain tools on samples in time order: a level with hysteresis and a hold, levels second by second, in words."""

from __future__ import annotations

import statistics
from dataclasses import dataclass

from wakerail_kit.units import human

# Sample times are sums of floats: a stretch of exactly the hold time must count.
_SLACK_S = 1e-6


def level_words(level_a: float) -> str:
    """Return a current that a device fell to, in words: below a milliampere much of it is the meter's own noise."""
    if abs(level_a) >= 1e-3:
        return human(level_a, "A")
    return f"near nothing ({round(level_a * 1e3, 2) + 0.0:g} mA)"


@dataclass(frozen=True, slots=True)
class Flip:
    """A change of level that has been sure since its hold time went by.

    ``at_s`` is the first sample on the new side, ``within_s`` how long before it the true change may lie, and
    ``level`` the median of the samples from ``at_s`` until it was sure.
    """

    to: bool
    at_s: float
    within_s: float
    level: float


class HeldLevel:
    """Tells high from low. A change counts once it has lasted ``hold_s`` over at least two samples.

    A change to high begins above ``rise`` and is off again below ``rise_end``; to low, below ``fall`` and above
    ``fall_end``. ``high`` is None as long as neither has been seen. Samples come in the order of time.
    """

    def __init__(self, hold_s: float, *, high: bool | None = False) -> None:
        self.high = high
        self.pulses = 0  # rises that did not last
        self._hold_s = hold_s - _SLACK_S
        self._trying: bool | None = None
        self._since_s = 0.0
        self._within_s = 0.0
        self._samples: list[float] = []
        self.set_thresholds(0.5, 0.5)

    def set_thresholds(
        self, fall: float, rise: float, fall_end: float | None = None, rise_end: float | None = None
    ) -> None:
        """Set the levels; by default each change is off again where the opposite one would begin."""
        self._fall, self._rise = fall, rise
        self._fall_end = rise if fall_end is None else fall_end
        self._rise_end = fall if rise_end is None else rise_end

    @property
    def idle(self) -> bool:
        """Low, and no rise under way."""
        return self.high is False and self._trying is None

    def take(self, at_s: float, value: float, spacing_s: float) -> Flip | None:
        """Take one sample that came ``spacing_s`` after the one before; return the change that it makes sure."""
        if self._trying is not None:
            if value < self._rise_end if self._trying else value > self._fall_end:
                self.pulses += self._trying
                self._trying = None
            else:
                self._samples.append(value)
                if at_s - self._since_s >= self._hold_s:
                    return self._flip()
                return None
        if value > self._rise and self.high is not True:
            self._try(True, at_s, value, spacing_s)
        elif value < self._fall and self.high is not False:
            self._try(False, at_s, value, spacing_s)
        return None

    def interrupt(self) -> None:
        """Samples are missing: a change that was under way must begin anew."""
        self._trying = None

    def _try(self, to: bool, at_s: float, value: float, spacing_s: float) -> None:
        self._trying, self._since_s, self._within_s, self._samples = to, at_s, spacing_s, [value]

    def _flip(self) -> Flip:
        flip = Flip(self._trying is True, self._since_s, self._within_s, statistics.median(self._samples))
        self.high, self._trying = flip.to, None
        return flip


@dataclass(frozen=True, slots=True)
class SecondLevel:
    """One second of samples: its start, median, and its second lowest and second highest sample."""

    start_s: float
    median: float
    low: float
    high: float


class SecondLevels:
    """Sums samples up second by second, from wherever it was last begun. A last part of a second is left out."""

    def __init__(self) -> None:
        self.done: list[SecondLevel] = []
        self._start_s: float | None = None
        self._samples: list[float] = []

    def begin(self) -> None:
        """Forget everything and begin with the next sample."""
        self.done, self._start_s, self._samples = [], None, []

    def take(self, at_s: float, value: float) -> None:
        """Take one sample, in the order of time."""
        if self._start_s is None:
            self._start_s = at_s
        elif at_s - self._start_s >= 1.0 - _SLACK_S:
            ranked = sorted(self._samples)
            # one odd sample either way says nothing, so the extremes are the second ones
            inner = ranked[1:-1] or ranked
            self.done.append(SecondLevel(self._start_s, statistics.median(ranked), inner[0], inner[-1]))
            self._start_s, self._samples = at_s, []
        self._samples.append(value)

    def since(self, start_s: float) -> list[SecondLevel]:
        """Return the whole seconds that began at ``start_s`` or later."""
        return [second for second in self.done if second.start_s >= start_s]
