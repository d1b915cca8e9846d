"""What the device draws standing, as each dip shows it: where that is by now, and how finely a dip is told from it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wakerail.analysis.levels import NOTHING_A, Levels
from wakerail.analysis.trail import Trail
from wakerail.analysis.turns import Dip

MOST_LOOKED_AT = 64  # ticks of a dip
_SPREADS, _FEWEST = 2.0, 5  # deviations of the ticks of a low within which it is standing; ticks to know them
_MOST_SPREAD = 0.1  # of what was drawn before: what scatters further is no standing level
_APART = 4.0  # as often as it may be off is a low clearly another level
_FOLLOWS = 0.3  # of the way from the standing level to a new low
_DRIFTS_SHARE = 0.01  # of what is drawn when up: so far may the meter's zero have wandered since the last low
_MOST_DRIFT_SHARE, _MOST_DRIFT_A = 0.02, 0.005  # and so far in all
_FEWEST_LOWER, _SLEPT_SHARE = 3, 0.4  # ticks; of the standing level


@dataclass(frozen=True, slots=True)
class Low:
    """A dip beside the standing level ``standing_a``.

    Up to ``tolerance_a`` above it a dip counts as one to it; ``within_a`` is how far the dip's level may be from what
    the meter shows. ``apart``: it is clearly above a level that is known.
    """

    standing_a: float
    tolerance_a: float
    within_a: float
    apart: bool


class Standing:
    """Follows the standing level from dip to dip."""

    def __init__(self, trail: Trail, levels: Levels) -> None:
        self._trail, self._levels = trail, levels
        self._drift_a = 0.0  # since the onset, as the collapses show it

    def look(self, dip: Dip) -> Low:
        """Return what can be said of a dip; one far below what was taken for the standing level ends that."""
        levels, spread_a = self._levels, self._spread_a(dip)
        within_a = self._within_a(dip, spread_a)
        if self._is_lower(dip, within_a):
            levels.forget_standing(max(dip.low_a, 0.0))
            self._drift_a = 0.0
        standing_a = levels.standing_a + self._drift_a
        drift_a = min(_DRIFTS_SHARE * (dip.before_a - standing_a), NOTHING_A) if levels.measured else 0.0
        tolerance_a = max(levels.tolerance_a, min(_SPREADS * spread_a, _MOST_SPREAD * dip.before_a), drift_a)
        within_a += drift_a
        above = dip.low_a > standing_a + tolerance_a + _APART * within_a
        return Low(standing_a, tolerance_a, within_a, apart=above and levels.known and levels.measured)

    def follow(self, low_a: float) -> None:
        """Take note of a dip to the standing level: the meter's zero may have wandered."""
        most_a = min(_MOST_DRIFT_SHARE * self._levels.top_a, _MOST_DRIFT_A)
        drifted_a = self._drift_a + _FOLLOWS * (low_a - self._levels.standing_a - self._drift_a)
        self._drift_a = min(max(drifted_a, -most_a), most_a)

    def _is_lower(self, dip: Dip, within_a: float) -> bool:
        """Tell whether a dip went clearly below the standing level: what was drawn before the onset was a sleep's."""
        levels = self._levels
        if levels.told or not levels.measured or dip.rose - dip.fell < _FEWEST_LOWER:
            return False
        below_a = levels.standing_a - abs(dip.low_a)  # nobody draws less than nothing: so far is the meter's zero off
        drifts_a = max(_MOST_DRIFT_SHARE * levels.top_a, NOTHING_A)
        return below_a > max(_SLEPT_SHARE * levels.standing_a, _APART * within_a, drifts_a)

    def _within_a(self, dip: Dip, spread_a: float) -> float:
        """Return how far the level of a dip may be from what the meter shows: the longer it lasts, the less."""
        levels = self._levels
        noise_a = max(levels.noise_a, levels.standing_noise_a, spread_a)
        if not levels.measured or noise_a < levels.resolution_a / 2:  # no noise that averages the meter's steps
            return max(levels.fineness_a, spread_a)
        return _SPREADS * noise_a / math.sqrt(max(min(dip.rose - dip.fell, MOST_LOOKED_AT), 1))

    def _spread_a(self, dip: Dip) -> float:
        """Return how much the ticks of a dip scatter about their median, 0 for a short one."""
        levels_a = sorted(self._trail.level_a[dip.fell : dip.rose][:MOST_LOOKED_AT])
        if len(levels_a) < _FEWEST:
            return 0.0
        middle_a = levels_a[len(levels_a) // 2]
        apart_a = sorted([abs(level_a - middle_a) for level_a in levels_a])
        return 1.5 * apart_a[len(apart_a) // 2]
