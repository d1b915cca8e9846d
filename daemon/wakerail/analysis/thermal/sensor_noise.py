"""What is usual for a temperature sensor, learnt from its own trace: how much it scatters, how often it turns back."""

from __future__ import annotations

import math
from collections import deque
from statistics import median

_CHANGES = 48  # of the newest changes the scatter is taken
_KEPT_S = 120.0
_FEW = 8
_BLOCK_S = 5.0
_BLOCKS = 6  # half a minute: a hold that is quieter than the ramp before it is learnt in that time
_LEAST_BLOCKS = 3
#: ln of the chance at which silence is called a standstill, doubled: turns come in clusters.
_SURE = 2 * math.log(1e9)


class Scatter:
    """The scatter of the newest readings, whatever their trend, and their resolution."""

    def __init__(self) -> None:
        self._changes: deque[tuple[float, float]] = deque(maxlen=_CHANGES)

    def add(self, t_s: float, change_k: float) -> None:
        """Take the difference of a believed reading from the one before. A repeated value says nothing of scatter."""
        if change_k:
            self._changes.append((t_s, change_k))
        while self._changes and self._changes[0][0] < t_s - _KEPT_S:
            self._changes.popleft()

    def resolution_k(self) -> float:
        """Return the smallest change seen of late; 0 before there was any."""
        return min((abs(change_k) for _, change_k in self._changes), default=0.0)

    def k(self) -> float:
        """Return its standard deviation: 1.4826 times the median absolute deviation of changes, over sqrt 2."""
        changes = [change_k for _, change_k in self._changes]
        if len(changes) < _FEW:
            return 0.0
        middle = median(changes)
        return 1.4826 * median(abs(change_k - middle) for change_k in changes) / math.sqrt(2)


class Restlessness:
    """How long a sensor may show one and the same value before that is a standstill.

    A trend without noise never turns back, so turns tell noise from trend. Of the newest blocks the one with the
    fewest turns counts. A sensor that shows no noise may stand still as long as it likes.
    """

    def __init__(self) -> None:
        self._blocks: deque[int] = deque(maxlen=_BLOCKS)
        self._turns = 0
        self._begun_s = math.inf
        self._direction = 0.0
        self._value_c = math.nan
        self._since_s = math.nan

    def forget(self) -> None:
        """Begin anew."""
        self.__init__()  # type: ignore[misc]

    def add(self, t_s: float, temperature_c: float) -> None:
        """Take a reading made while the plate was heated."""
        if self._begun_s == math.inf:
            self._begun_s = t_s
        if temperature_c != self._value_c:
            direction = math.copysign(1.0, temperature_c - self._value_c)
            self._turns += direction == -self._direction
            self._direction, self._value_c, self._since_s = direction, temperature_c, t_s
        if t_s - self._begun_s >= _BLOCK_S and self._since_s == t_s:  # a standstill is nothing to learn from
            self._blocks.append(self._turns)
            self._turns, self._begun_s = 0, t_s

    def still_s(self, t_s: float) -> float:
        """Return for how long the value has not changed."""
        return t_s - self._since_s if self._since_s == self._since_s else 0.0

    def allowed_s(self) -> float:
        """Return for how long it may; infinity if that has not been learnt, or there is no noise to learn it from."""
        if len(self._blocks) < _LEAST_BLOCKS or not (quietest := min(self._blocks)):
            return math.inf
        return max(3.0, _SURE * _BLOCK_S / quietest)


def slope_k_per_s(times_s: list[float], values_c: list[float]) -> float:
    """Return a robust slope: from the median of the older half to that of the newer one; 0 for fewer than 6."""
    half = len(times_s) // 2
    if half < 3 or (apart_s := median(times_s[-half:]) - median(times_s[:half])) <= 0:
        return 0.0
    return (median(values_c[-half:]) - median(values_c[:half])) / apart_s
