"""The first onset: when a device that draws its standing current begins to draw."""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass
from enum import Enum, auto
from itertools import pairwise

from wakerail.analysis.levels import MOST_WHEN_OFF_A, Levels
from wakerail.analysis.trail import Trail

_BASE_TICKS = 64
_FEWEST_TICKS = 6
_UNSURE_TICKS = 12
HOLD_S = 0.1  # supply supervisors commonly hold a device in reset for longer; a radio's pulse is shorter
HOLD_TICKS = 3
_EDGE = 4.0  # deviations that a tick just before a clear rise must exceed to belong to it
_CLEARLY = 8.0  # deviations above the noise of the standing level
_FROM_OFF = 6.0  # times the first level: who draws so much more was off before, or asleep
_RISES = 2.5
_NEWEST = 6  # ticks; what pulses is low in most of them before long
_FEW_PULSES = 3  # what pulses more often above a level that can be told from nothing is on, and idle
_MORE_THAN_A_STEP = 2.0  # a reading that lies between two steps goes to and fro by one
_BLANK = 7  # ticks; a meter that switches ranges may read nothing in three of them
_OFF_A = 0.005  # who draws no more than this may well be off (common practice, no source)
_SURELY_OFF = 0.03  # of what it draws when up; what draws more before may be asleep


class First(Enum):
    """What the beginning of a trace has turned out to be."""

    UNCLEAR = auto()
    ONSET = auto()
    RUNNING = auto()


@dataclass(slots=True)
class OnsetWatch:
    """Watches for the first onset, or for signs that the device has been running all the time.

    ``pulses`` counts rises that did not last. After an onset, ``place`` is its tick; its level before stands in
    ``levels`` as the standing level, unless that was told.
    """

    trail: Trail
    levels: Levels
    pulses: int = 0
    place: int | None = None
    base_a: float = 0.0
    _noise_a: float = 0.0
    _spread_a: float = 0.0
    _step_a: float = math.inf

    def take(self) -> First:
        """Look at the newest tick."""
        last = len(self.trail) - 1
        if self._began_high(last):
            return First.RUNNING
        if last < (2 if self.levels.known else _FEWEST_TICKS):
            return First.UNCLEAR
        return self._look_for_rise(last) if self.place is None else self._follow_rise(last, self.place)

    def _look_for_rise(self, last: int) -> First:
        self._learn_base(last)
        level_a = self.trail.level_a[last]
        if level_a > self.base_a + _CLEARLY * self._noise_a and level_a > _RISES * max(self.base_a, self._noise_a):
            self.place = last
        elif self._has_fallen():
            return First.RUNNING
        return First.UNCLEAR

    def _follow_rise(self, last: int, place: int) -> First:
        levels = self.levels
        newest = self.trail.level_a[place:][-_NEWEST:]
        up_a = sorted(newest)[(len(newest) - 1) // 2]
        # a meter that had stood still shows its steps only now
        steps_a = [] if levels.step_known else [abs(b - a) for a, b in pairwise(newest) if a != b]
        if up_a < self.base_a + max(6 * self._noise_a, _MORE_THAN_A_STEP * min(steps_a, default=0.0)):
            self.place = None
            self.pulses += 1
            step_a = 0.0 if math.isinf(levels.least_step_a) else levels.least_step_a
            off = levels.known or self.base_a < max(2.5 * self._noise_a, 1.5 * step_a)
            return First.UNCLEAR if off or self.pulses < _FEW_PULSES else First.RUNNING
        lasted_s = self.trail.start_s[last] - self.trail.start_s[place]
        from_off = levels.known or up_a > (_RISES if self.base_a <= _OFF_A else _FROM_OFF) * max(
            self.base_a, self._noise_a
        )
        if lasted_s < HOLD_S or last - place + 1 < HOLD_TICKS or not from_off:
            return First.RUNNING if self._has_fallen() else First.UNCLEAR
        surely = self.base_a < min(max(_SURELY_OFF * up_a, 3 * self._spread_a), MOST_WHEN_OFF_A)
        levels.know_standing(self.base_a, self._spread_a, surely=surely)
        while place > 1 and self.trail.level_a[place - 1] > self.base_a + _EDGE * self._noise_a:
            place -= 1
        self.place = place
        return First.ONSET

    @property
    def threshold_a(self) -> float:
        """The level that the first sample of the onset is above."""
        top_a = self.trail.level_a[self.place] if self.place is not None else self.base_a
        return self.base_a + max(_EDGE * self._noise_a, 0.3 * (top_a - self.base_a))

    def _learn_base(self, last: int) -> None:
        # the newest ticks are left out: they may be what the base has to be compared with
        recent = sorted(self.trail.level_a[max(0, last - _BASE_TICKS) : max(last - 2, 1)])
        middle_a = statistics.median(recent)
        self.base_a = self.levels.standing_a if self.levels.known else middle_a
        spread_a = 1.5 * statistics.median([abs(level_a - middle_a) for level_a in recent])
        # the newest step is left out: it may be the onset itself, and must not hide it
        resolution_a, self._step_a = self._step_a, self.levels.least_step_a
        self._spread_a = spread_a
        noise_a = max(spread_a, resolution_a / 2 if math.isfinite(resolution_a) else 0.0, 1e-9)
        few = 1 + _UNSURE_TICKS / len(recent)  # few ticks tell little of the noise
        # hum is bounded: it never goes far beyond what it showed already
        low_a, high_a = recent[0], recent[-1]
        beyond_a = high_a + 0.5 * few * (high_a - low_a) - self.base_a
        self._noise_a = max(
            min(noise_a * few, beyond_a / _CLEARLY), resolution_a / 2 if self.levels.step_known else 0.0, 1e-9
        )

    def _began_high(self, last: int) -> bool:
        """Tell whether the first ticks drew much more than the newest."""
        if self.levels.known or not _FEWEST_TICKS <= last < _BASE_TICKS:
            return False
        newest = self.trail.level_a[-5:]
        first, now = statistics.median(self.trail.level_a[:3]), statistics.median(newest)
        step_a = 0.0 if math.isinf(self.levels.least_step_a) else self.levels.least_step_a
        return first > 2.5 * max(now, 0.0) and first - now > _CLEARLY * max(step_a, max(newest) - min(newest), 1e-9)

    def _has_fallen(self) -> bool:
        """Tell whether the newest ticks draw much less than the first level: then that was no standing level."""
        if self.levels.known:
            return False
        # who draws hardly more than nothing may be off, and its meter blank
        newest_a = self.trail.level_a[-(_BLANK if self.base_a <= _OFF_A else 3) :]
        now_a = statistics.median(newest_a)
        if now_a >= self.base_a / 2.5:
            return False
        # the first few ticks may have been alike by chance
        noise_a = max(self._noise_a, 1.5 * statistics.median(abs(level_a - now_a) for level_a in newest_a))
        step_a = 0.0 if math.isinf(self.levels.least_step_a) else self.levels.least_step_a
        return self.base_a - now_a > max(_CLEARLY * noise_a, 2 * step_a)
