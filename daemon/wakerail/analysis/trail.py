"""The current as it was, tick by tick, so that its mean between any two moments can be had at once.

Means are of the current without its bursts: each tick counts with the median of those within 0.06 s of it, five at
least, which leaves steps where they are. Bursts fall elsewhere in every boot, and would hide that two are alike.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from itertools import pairwise

_BESIDE_S, _FEWEST_BESIDE, _MOST_BESIDE = 0.06, 2, 3  # on either side of a tick
_KNOWS_ITS_PACE = 16
_STEADY = 1.2
_NEWEST = 16  # ticks


def mean_between_a(before: tuple[float, float], after: tuple[float, float], least_s: float) -> float | None:
    """Return the mean between two moments, by what ``Trail.until`` says; None if less than ``least_s`` was measured."""
    covered_s = after[1] - before[1]
    return (after[0] - before[0]) / covered_s if covered_s >= least_s and covered_s > 0.0 else None


class Trail:
    """Ticks in the order of time: each holds its level until the next one begins, or for ``most_s`` at a gap.

    Lists, not arrays: it grows tick by tick and is asked for single values.
    """

    def __init__(self) -> None:
        self.start_s: list[float] = []
        self.level_a: list[float] = []
        self._charge_as: list[float] = []  # from the beginning to the start of each tick, up to two ticks ago
        self._covered_s: list[float] = []
        self.smooth_a: list[float] = []
        self.smooth_until_s = -math.inf  # until then the bursts are known
        self._beside = _FEWEST_BESIDE

    def __len__(self) -> int:
        return len(self.start_s)

    def add(self, start_s: float, level_a: float, most_s: float) -> None:
        """Add a tick; the one before it is taken to have lasted until now, but at most ``most_s``."""
        starts_s, covered_s = self.start_s, self._covered_s
        starts_s.append(start_s)
        self.level_a.append(level_a)
        count = len(starts_s)
        if count == 1:
            covered_s.append(0.0)
            self._charge_as.append(0.0)
            self.smooth_until_s = start_s
            return
        if count == _KNOWS_ITS_PACE:
            pace_s = sorted(later - earlier for earlier, later in pairwise(starts_s))[_KNOWS_ITS_PACE // 2]
            self._beside = max(_FEWEST_BESIDE, min(_MOST_BESIDE, round(_BESIDE_S / max(pace_s, 1e-9))))
        held_s = start_s - starts_s[-2]
        covered_s.append(covered_s[-1] + (held_s if held_s < most_s else most_s))
        charge_as, beside = self._charge_as, self._beside
        place = len(charge_as) - 1  # the next tick to have enough of them after it to be smoothed
        if place + beside >= count:
            return
        about = sorted(self.level_a[place - beside if place > beside else 0 : place + beside + 1])
        middle_a = about[len(about) // 2]
        charge_as.append(charge_as[-1] + middle_a * (covered_s[place + 1] - covered_s[place]))
        self.smooth_a.append(middle_a)
        self.smooth_until_s = starts_s[place + 1]

    def place(self, at_s: float) -> int:
        """Return which tick holds at a moment: the last one that began by then, at least 0."""
        return max(bisect_right(self.start_s, at_s) - 1, 0)

    def mean_a(self, from_s: float, to_s: float, least_covered: float = 0.6) -> float | None:
        """Return the mean between two moments that are past; None if less than that share of it was measured."""
        return mean_between_a(self.until(from_s), self.until(to_s), least_covered * (to_s - from_s))

    def until(self, at_s: float) -> tuple[float, float]:
        """Return the charge until a moment (As) and for how long it was measured (s), from the beginning.

        Neither changes any more once the moment is not after ``smooth_until_s``.
        """
        starts_s, covered_s, smooth_a = self.start_s, self._covered_s, self.smooth_a
        # mostly it is asked for a moment just past, and the newest are at hand
        newest = len(starts_s) - _NEWEST
        place = bisect_right(starts_s, at_s, newest if newest > 0 and starts_s[newest] <= at_s else 0) - 1
        if place < 0:
            return 0.0, 0.0
        if place >= len(smooth_a):
            return self._until_newest(place, at_s)
        before_s = covered_s[place]
        held_s, most_s = at_s - starts_s[place], covered_s[place + 1] - before_s
        if held_s > most_s:
            held_s = most_s
        return self._charge_as[place] + smooth_a[place] * held_s, before_s + held_s

    def wobble_a(self, from_s: float, to_s: float, most: int = 48) -> float:
        """Return the noise from tick to tick between two moments, without bursts: the median step, which a change of
        level leaves be.

        As a standard deviation (a median step of normal noise is 0.954 of it); 0 for fewer than four ticks. Only the
        first ``most`` are looked at.
        """
        first = self.place(from_s)
        levels_a = self.smooth_a[first : min(self.place(to_s) + 1, first + most)]
        if len(levels_a) < 4:
            return 0.0
        steps = sorted(abs(after - before) for before, after in pairwise(levels_a))
        return steps[len(steps) // 2] / 0.954

    def unsteady(self, from_s: float, to_s: float, most: int = 96) -> float:
        """Return which share of the ticks between two moments is off their median by more than a fifth."""
        first, last = self.place(from_s), min(self.place(to_s) + 1, len(self.smooth_a))
        levels_a = sorted(self.smooth_a[first : last : max((last - first) // most, 1)])
        if not levels_a:
            return 0.0
        middle_a = levels_a[len(levels_a) // 2]
        inside = bisect_right(levels_a, _STEADY * middle_a) - bisect_left(levels_a, middle_a / _STEADY)
        return 1.0 - inside / len(levels_a)

    def _until_newest(self, place: int, at_s: float) -> tuple[float, float]:
        """Return the same for a moment in one of the newest ticks, which have not enough after them to be smoothed."""
        held_s = at_s - self.start_s[place]
        if place + 1 < len(self.start_s):
            held_s = min(held_s, self._covered_s[place + 1] - self._covered_s[place])
        covered_s = self._covered_s[place] + held_s
        last = len(self._charge_as) - 1
        charge_as = self._charge_as[last]
        for later in range(last, place):
            charge_as += self.level_a[later] * (self._covered_s[later + 1] - self._covered_s[later])
        return charge_as + self.level_a[place] * held_s, covered_s
