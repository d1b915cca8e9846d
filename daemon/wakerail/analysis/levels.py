"""What the meter and the device are like, learnt from the ticks: noise, resolution, how much is drawn standing and up."""

from __future__ import annotations

import math
from collections import deque

from wakerail.analysis.opening import Scale

_BLOCK = 8
_SAME_A = 1e-9  # two readings that differ by less are one reading
_FEWEST_STEPS = 8  # fewer may all be the device's own
_WOBBLES = 50
_WOBBLE_STEP = 0.04


class Levels:
    """Learns levels from one tick after another. Currents in amperes.

    ``standing_a`` is what the device draws when off, ``known`` tells whether that was told or seen; ``noise_a`` the
    usual step from tick to tick where it is quietest; ``resolution_a`` the smallest step seen; ``top_a`` the highest
    level that lasted.
    """

    def __init__(self, standing_a: float | None) -> None:
        self.standing_a = standing_a or 0.0
        self.known = standing_a is not None
        self.standing_noise_a = 0.0
        self.noise_a = math.inf
        self.resolution_a = math.inf
        self.top_a = 0.0
        self._steps, self.least_step_a = 0, math.inf
        self._block: list[float] = []
        self._recent: deque[float] = deque(maxlen=3)
        self._wobble = [0] * (_WOBBLES + 1)
        self._wobbles = 0
        self._before: float | None = None
        self.relative_noise = 0.1
        self.floor_a = _SAME_A
        self.lowest_a = math.inf  # of the dips so far; stands in for the standing level where that is not known

    @property
    def tolerance_a(self) -> float:
        """How near to the standing level counts as standing: noise, resolution, and a little drift."""
        noise_a = max(0.0 if math.isinf(self.noise_a) else self.noise_a, self.standing_noise_a)
        resolution_a = 0.0 if math.isinf(self.resolution_a) else self.resolution_a
        return max(3 * noise_a, resolution_a, 0.003 * self.top_a)

    @property
    def fineness_a(self) -> float:
        """How finely levels near standing can be told apart: by noise and by resolution."""
        noise_a = max(0.0 if math.isinf(self.noise_a) else self.noise_a, self.standing_noise_a)
        return max(noise_a, 0.0 if math.isinf(self.resolution_a) else self.resolution_a)

    @property
    def scale(self) -> Scale:
        """The scale on which to compare levels now."""
        return Scale(self.standing_a, self.floor_a, self.top_a)

    def above(self, level_a: float) -> float:
        """Return a level above standing, at least the floor: what ratios are taken of."""
        return max(level_a - self.standing_a, 0.0) + self.floor_a

    def take(self, level_a: float, before_a: float | None) -> None:
        """Take a tick's mean, and that of the tick before it."""
        if before_a is not None:
            step_a = abs(level_a - before_a)
            if step_a > _SAME_A:
                self._steps += 1
                self.least_step_a = min(self.least_step_a, step_a)
                if self._steps >= _FEWEST_STEPS:
                    self.resolution_a = self.least_step_a
            self._block.append(step_a)
            if len(self._block) == _BLOCK:
                self.noise_a = min(self.noise_a, sorted(self._block)[_BLOCK // 2])
                self._block.clear()
        self._recent.append(level_a)
        if len(self._recent) == 3:
            self.top_a = max(self.top_a, sorted(self._recent)[1])
        noise_a = max(0.0 if math.isinf(self.noise_a) else self.noise_a, 0.5 * self.standing_noise_a)
        resolution_a = 0.0 if math.isinf(self.resolution_a) else self.resolution_a
        self.floor_a = max(2 * resolution_a, 6 * noise_a, 0.01 * (self.top_a - self.standing_a), _SAME_A)

    def take_up(self, level_a: float) -> None:
        """Take the same tick as one of a device that is up: how much it wobbles there."""
        above = self.above(level_a)
        if above < 3 * self.floor_a:
            self._before = None
            return
        place = math.log(above)
        if self._before is not None:
            self._wobble[min(int(abs(place - self._before) / _WOBBLE_STEP), _WOBBLES)] += 1
            self._wobbles += 1
            if self._wobbles % 16 == 8:
                self.relative_noise = self._median_wobble()
        self._before = place

    def _median_wobble(self) -> float:
        seen = 0
        for index, count in enumerate(self._wobble):
            seen += count
            if 2 * seen >= self._wobbles:
                return (index + 0.5) * _WOBBLE_STEP / 0.954  # the median step of normal noise is 0.954 deviations
        return _WOBBLES * _WOBBLE_STEP
