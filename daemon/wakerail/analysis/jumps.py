"""Where the current jumps to the level that the boot began with: places at which another boot may begin warm."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wakerail.analysis.levels import Levels
from wakerail.analysis.opening import Opening
from wakerail.analysis.trail import Trail

_AT_LEVEL = 0.45  # natural log
_FIRST_WINDOWS = range(1, 6)
_FEWEST_TICKS = 8  # of an opening, to know its first level
_ANOTHER = 0.25  # natural log: levels that differ by less are the same


@dataclass(frozen=True, slots=True)
class Jump:
    """At tick ``place`` the current came through ``edge_a`` to the opening's level; ``up``: from below."""

    place: int
    edge_a: float
    up: bool


class Jumps:
    """Looks for jumps to the first level of a template."""

    def __init__(self, trail: Trail, levels: Levels) -> None:
        self._trail, self._levels = trail, levels
        self._for_start_s, self._for_floor_a = -math.inf, 0.0
        self._bounds_a = (math.inf, -math.inf)

    def look(self, template: Opening) -> Jump | None:
        """Return a jump where the newest two ticks are at the level, and the one before was not."""
        levels_a, floor_a = self._trail.level_a, self._levels.floor_a
        if floor_a != self._for_floor_a or template.start_s != self._for_start_s:
            self._set_bounds(template)
        low_a, high_a = self._bounds_a
        if not (low_a < levels_a[-1] < high_a and low_a < levels_a[-2] < high_a):
            return None
        last, scale = len(levels_a) - 1, self._levels.scale
        before, first = scale.of(levels_a[last - 2]), scale.of(levels_a[last - 1])
        if last > 2 and abs(first - before) < _ANOTHER:  # a meter that averages takes two ticks for a step
            earlier = scale.of(levels_a[last - 3])
            before = earlier if (earlier - before) * (before - first) > 0 else before
        wanted = (math.log(low_a - scale.standing_a + scale.floor_a) + scale.of(high_a)) / 2
        if abs(first - before) < _ANOTHER or abs(before - wanted) < abs(first - wanted):
            return None
        edge_a = math.exp((before + first) / 2) - floor_a + self._levels.standing_a
        return Jump(last - 1, edge_a, first > before)

    def _set_bounds(self, template: Opening) -> None:
        first = [template.level_a(index) for index in _FIRST_WINDOWS]
        means_a = sorted(mean_a for mean_a in first if mean_a is not None)
        if not means_a or self._trail.start_s[-2] - template.start_s < _FEWEST_TICKS * template.spacing_s:
            self._bounds_a = (math.inf, -math.inf)
            return
        levels = self._levels
        above = levels.above(means_a[len(means_a) // 2])
        base_a = levels.standing_a - levels.floor_a
        self._bounds_a = (base_a + above * math.exp(-_AT_LEVEL), base_a + above * math.exp(_AT_LEVEL))
        self._for_start_s, self._for_floor_a = template.start_s, levels.floor_a
