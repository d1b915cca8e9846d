"""What is usual for a temperature sensor, learnt from its own trace: how much it scatters, how often it turns back."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from statistics import median

_CHANGES = 48  # of the newest changes the scatter is taken
_KEPT_S = 120.0
_FEW, _ENOUGH = 8, 24
_BLOCK_S = 5.0
_BLOCKS = 6  # half a minute: a hold that is quieter than the ramp before it is learnt in that time
_LEAST_BLOCKS = 3
_RAMP_STEPS = 10.0
_LARGE_COUNT, _LARGE_SHARE = 3, 0.02
_STILL_S = 5.0
#: ln of the chance at which silence is called a standstill, doubled: turns come in clusters.
_SURE = 2 * math.log(1e9)


class Scatter:
    """The scatter of the newest readings, whatever their trend, and their resolution."""

    def __init__(self) -> None:
        self._changes: deque[tuple[float, float]] = deque(maxlen=_CHANGES)
        self._readings = 0

    @property
    def learnt(self) -> bool:
        """Whether there were enough readings to know it, changed or not."""
        return self._readings >= _ENOUGH

    def add(self, t_s: float, change_k: float) -> None:
        """Take the difference of a believed reading from the one before. A repeated value says nothing of scatter."""
        self._readings += 1
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


@dataclass(frozen=True, slots=True)
class _Block:
    """Some seconds of readings: how often they changed, turned back, and turned back by more than one step."""

    changes: int
    turns: int
    large: int


class Restlessness:
    """How long a sensor may show one and the same value before that is a standstill.

    A trend without noise never turns back, so turns tell noise from trend; a ramp on which none turns tells nothing. Of
    the newest blocks the one with the fewest turns counts. Noise below the sensor's own steps shows only between two of
    them, so without larger turns it may stand still as long as it likes.
    """

    def __init__(self) -> None:
        self._blocks: deque[_Block] = deque(maxlen=_BLOCKS)
        self._changes = self._turns = self._large = 0
        self._begun: tuple[float, float] | None = None
        self._step_k = math.inf
        self._direction = 0.0
        self._value_c = math.nan
        self._since_s = math.nan

    def forget(self) -> None:
        """Begin anew."""
        self.__init__()  # type: ignore[misc]

    def add(self, t_s: float, temperature_c: float) -> None:
        """Take a reading that is believed."""
        if self._begun is None:
            self._begun = (t_s, temperature_c)
            self._value_c, self._since_s = temperature_c, t_s
            return
        if temperature_c == self._value_c:
            return
        change_k = temperature_c - self._value_c
        self._step_k = min(self._step_k, abs(change_k))
        direction = math.copysign(1.0, change_k)
        turned = direction == -self._direction
        self._changes += 1
        self._turns += turned
        self._large += turned and abs(change_k) > 1.5 * self._step_k
        self._direction, self._value_c, self._since_s = direction, temperature_c, t_s
        if t_s - self._begun[0] >= _BLOCK_S:  # closed by a change: a standstill is nothing to learn from
            if self._turns or abs(temperature_c - self._begun[1]) < _RAMP_STEPS * self._step_k:
                self._blocks.append(_Block(self._changes, self._turns, self._large))
            self._changes = self._turns = self._large = 0
            self._begun = (t_s, temperature_c)

    def still_s(self, t_s: float) -> float:
        """Return for how long the value has not changed."""
        return t_s - self._since_s

    def allowed_s(self) -> float:
        """Return for how long it may; infinity if that has not been learnt, or there is no noise to learn it from."""
        if len(self._blocks) < _LEAST_BLOCKS or not (quietest := min(block.turns for block in self._blocks)):
            return math.inf
        large, changes = sum(block.large for block in self._blocks), sum(block.changes for block in self._blocks)
        if large < max(_LARGE_COUNT, _LARGE_SHARE * changes):
            return math.inf
        return max(_STILL_S, _SURE * _BLOCK_S / quietest)


def slope_k_per_s(times_s: list[float], values_c: list[float]) -> float:
    """Return a robust slope: from the median of the older half to that of the newer one; 0 for fewer than 6."""
    half = len(times_s) // 2
    if half < 3 or (apart_s := median(times_s[-half:]) - median(times_s[:half])) <= 0:
        return 0.0
    return (median(values_c[-half:]) - median(values_c[:half])) / apart_s
