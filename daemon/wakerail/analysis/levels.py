"""What the meter and the device are like, learnt from the ticks: noise, resolution, levels standing and up."""

from __future__ import annotations

import math

from wakerail.analysis.scale import Scale

NOTHING_A = 0.0015  # handheld devices draw more when they sleep (common practice, no source)
MOST_WHEN_OFF_A = 0.006  # 5 mA (common practice, no source) and a little drift
_BLOCK = 8
_SAME_A = 1e-9  # two readings that differ by less are one reading
_NEVER_A = -math.inf  # before the first tick
_COARSEST = 0.12  # of the highest level
_FEWEST_STEPS = 8  # fewer may all be the device's own
_WOBBLES = 50
_WOBBLE_STEP = 0.04
_FIRST_WOBBLES, _WOBBLES_AT_ONCE = 8, 16


class Levels:
    """Learns levels from one tick after another. Currents in amperes.

    ``standing_a`` is what the device draws when off; ``known`` tells whether that was told or seen, ``measured``
    whether it is at least what was drawn before the onset. ``noise_a`` is the usual step from tick to tick where it is
    quietest, ``resolution_a`` the smallest step seen, both 0 until known; ``top_a`` the highest level that lasted.
    ``floor_a`` is the least that means anything, ``tolerance_a`` how near to the standing level counts as standing,
    ``scale`` that on which to compare levels now.
    """

    def __init__(self, standing_a: float | None) -> None:
        self.standing_a = standing_a or 0.0
        self.known = self.told = self.measured = standing_a is not None
        self.standing_noise_a = 0.0
        self.noise_a = 0.0
        self.least_step_a = math.inf
        self.resolution_a = 0.0
        self.top_a = 0.0
        self.lowest_a = math.inf  # of the dips so far; stands in for the standing level where that is not known
        self.relative_noise = 0.1
        self.floor_a = _SAME_A
        self.tolerance_a = 0.0
        self.scale = Scale(self.standing_a, self.floor_a, self.top_a)
        self._steps = 0
        self._block: list[float] = []
        self._blocks = 0
        self._earlier_a = self._before_a = _NEVER_A
        self._wobble = [0] * (_WOBBLES + 1)
        self._wobbles_due = _FIRST_WOBBLES  # so many more, and the median is looked at anew
        self._before: float | None = None
        self._up_a: list[float] = []  # ticks whose wobble is not counted yet

    @property
    def step_known(self) -> bool:
        """Tell whether the meter has changed its reading often enough to show its resolution."""
        return self._steps >= _FEWEST_STEPS

    @property
    def perhaps_off(self) -> bool:
        """Tell whether what was drawn before the onset may be what the device draws when off."""
        return self.known or (self.measured and self.may_be_off(self.standing_a))

    def may_be_off(self, low_a: float) -> bool:
        """Tell whether a device that is off may draw so much, as far as the meter can tell."""
        return low_a < MOST_WHEN_OFF_A + min(self.fineness_a, MOST_WHEN_OFF_A)

    @property
    def fineness_a(self) -> float:
        """How finely levels near standing can be told apart: by noise and by resolution."""
        return max(self.noise_a, self.standing_noise_a, self.resolution_a)

    def above(self, level_a: float) -> float:
        """Return a level above standing, at least the floor: what ratios are taken of."""
        above_a = level_a - self.standing_a
        return above_a + self.floor_a if above_a > 0.0 else self.floor_a

    def know_standing(self, standing_a: float, noise_a: float, *, surely: bool) -> None:
        """Take what was drawn before the onset for the standing level."""
        self._weigh_wobble()
        if not self.known:
            self.standing_a, self.known = standing_a, surely
        self.standing_noise_a, self.measured = noise_a, True
        self._set_bounds()

    def forget_standing(self, lowest_a: float) -> None:
        """Note that what was drawn before the onset was more than the device draws when off."""
        self._weigh_wobble()
        self.standing_a, self.known, self.measured = 0.0, False, False
        self.lowest_a = min(self.lowest_a, lowest_a)
        self._set_bounds()

    def take(self, level_a: float) -> None:
        """Take a tick's mean."""
        earlier_a, before_a = self._earlier_a, self._before_a
        self._earlier_a, self._before_a = before_a, level_a
        if before_a == _NEVER_A:
            return
        changed = False
        step_a = abs(level_a - before_a)
        if step_a > _SAME_A:
            if self._steps < _FEWEST_STEPS:
                self._steps += 1
                changed = self._steps == _FEWEST_STEPS
            if step_a < self.least_step_a:
                self.least_step_a = step_a
                changed = True
        block = self._block
        block.append(step_a)
        if len(block) == _BLOCK:
            noise_a = sorted(block)[_BLOCK // 2]
            if noise_a < self.noise_a or not self._blocks:
                self.noise_a = noise_a
                changed = True
            self._blocks += 1
            block.clear()
        # the median of three: a spike is no level
        if level_a > self.top_a and (before_a > self.top_a or earlier_a > self.top_a):
            self.top_a = sorted((earlier_a, before_a, level_a))[1]
            changed = True
        if changed:
            self._set_bounds()

    def _set_bounds(self) -> None:
        self._weigh_wobble()
        if self._steps >= _FEWEST_STEPS:
            # a trace without any noise steps from level to level only
            self.resolution_a = self.least_step_a if self.least_step_a < _COARSEST * self.top_a else 0.0
        quiet_a = max(self.noise_a, 0.5 * self.standing_noise_a)
        self.floor_a = max(2 * self.resolution_a, 6 * quiet_a, 0.01 * (self.top_a - self.standing_a), _SAME_A)
        noise_a = max(self.noise_a, self.standing_noise_a)
        # a little drift counts as standing, too
        self.tolerance_a = max(3 * noise_a, self.resolution_a, 0.003 * self.top_a)
        self.scale = Scale(self.standing_a, self.floor_a, self.top_a)

    def take_up(self, level_a: float) -> None:
        """Take the same tick as one of a device that is up: how much it wobbles there."""
        self._up_a.append(level_a)
        if len(self._up_a) >= self._wobbles_due:
            self._weigh_wobble()

    def _weigh_wobble(self) -> None:
        """Count how much the ticks wobble that were taken since the last time, by the bounds that held for them."""
        standing_a, floor_a, before = self.standing_a, self.floor_a, self._before
        for level_a in self._up_a:
            above_a = level_a - standing_a
            if above_a < 2 * floor_a:
                before = None
                continue
            place = math.log(above_a + floor_a)
            if before is not None:
                steps = int(abs(place - before) / _WOBBLE_STEP)
                self._wobble[steps if steps < _WOBBLES else _WOBBLES] += 1
                self._wobbles_due -= 1
            before = place
        self._up_a.clear()
        self._before = before
        if not self._wobbles_due:
            self._wobbles_due = _WOBBLES_AT_ONCE
            self.relative_noise = self._median_wobble()

    def _median_wobble(self) -> float:
        seen, half = 0, sum(self._wobble) / 2
        for index, count in enumerate(self._wobble):
            seen += count
            if seen >= half:
                return (index + 0.5) * _WOBBLE_STEP / 0.954  # the median step of normal noise is 0.954 deviations
        return _WOBBLES * _WOBBLE_STEP
