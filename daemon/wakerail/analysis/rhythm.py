"""Whether a device restarts at even intervals, so that a candidate comes when the next restart is due."""

from __future__ import annotations

import math
import statistics
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from itertools import pairwise

_FEWEST = 4  # intervals
_NEWEST = 24
_EVEN = 0.6  # of the intervals are the usual one
_WITHIN, _MOST_WITHIN = 0.02, 0.10  # of the interval: so far off is still on time
_WITHIN_TICKS = 2.0
_SPREADS = 4.0  # median deviations
_MOST = 2.5


class Rhythm:
    """Keeps the usual interval between the newest boots, None while they are uneven or too few."""

    def __init__(self) -> None:
        self._starts_s: Sequence[float] = ()
        self._interval_s: float | None = None
        self._within_s = 0.0

    def learn(self, starts_s: Sequence[float], spacing_s: float) -> None:
        """Take the starts of all boots, in the order of time, and the spacing of the ticks."""
        self._starts_s = starts_s
        intervals_s = [after_s - before_s for before_s, after_s in pairwise(starts_s[-_NEWEST - 1 :])]
        self._interval_s = None
        if len(intervals_s) < _FEWEST:
            return
        usual_s = statistics.median(intervals_s)
        off_s = statistics.median(abs(interval_s - usual_s) for interval_s in intervals_s)
        within_s = min(max(_SPREADS * off_s, _WITHIN * usual_s), _MOST_WITHIN * usual_s) + _WITHIN_TICKS * spacing_s
        even = sum(abs(interval_s - usual_s) < within_s for interval_s in intervals_s)
        if even >= _EVEN * len(intervals_s):
            self._interval_s, self._within_s = usual_s, within_s

    def evidence(self, again_s: float) -> float:
        """Return the log-likelihood ratio of a restart for a boot that begins at a moment: on time, or any time."""
        if self._interval_s is None:
            return 0.0
        earlier, later = bisect_left(self._starts_s, again_s), bisect_right(self._starts_s, again_s)
        before_s = self._starts_s[earlier - 1] if earlier else -math.inf
        after_s = self._starts_s[later] if later < len(self._starts_s) else math.inf
        if min(again_s - before_s, after_s - again_s) < self._interval_s - self._within_s:
            return 0.0
        on_time = any(
            abs(off_s - round(off_s / self._interval_s) * self._interval_s) < self._within_s
            for off_s in (again_s - before_s, after_s - again_s)
            if off_s < 3 * self._interval_s
        )
        return min(math.log(self._interval_s / (2 * self._within_s)), _MOST) if on_time else 0.0
