"""What a dip says by itself: how low it went, for how long, and whether the device is that low by habit."""

from __future__ import annotations

import math
from collections import deque
from itertools import pairwise

from wakerail.analysis.levels import Levels
from wakerail.analysis.repertoire import Repertoire
from wakerail.analysis.sorts import Sort
from wakerail.analysis.switching import blank_ticks
from wakerail.analysis.trail import Trail
from wakerail.analysis.turns import Dip

_LONG_DIP = 64  # ticks; a device that drew so long without being off was up, at a lower level
_HOME_SHARE = 0.6  # of all the time
_BRIEF_S = 0.1  # a device that idles or sleeps does so for longer
_OFF_SHARE = 0.2  # of what it drew before: where the standing level is not known, what is lower may be it
_MOST_WHEN_OFF_A = 0.008  # 5 mA (common practice, no source) and what a meter may drift
_ASLEEP_S = 4.0  # who is low for so long sleeps
_APART = 4.0  # finenesses above standing from which on a low can be told from it
_SAME_SLEEP, _SLEPT_SO = 0.35, 2.5
_NOTHING_A = 0.0015  # handheld devices draw more when they sleep (common practice, no source)
_NOTHING_SHARE = 0.002  # of what was drawn before; likewise
_MOST_OFF, _MOST_TO_BASE = 1.5, 0.5
_DRIFTS_SHARE, _MOST_DRIFT_SHARE = 0.01, 0.02  # of what is drawn when up: so far may the meter's zero wander
_FOLLOWS = 0.3  # of the way from the standing level to a new low
_SPREADS, _FEWEST = 2.0, 5  # deviations of the ticks of a low within which it is standing; ticks to know them
_RESET_S = 3.0  # hardly any reset lasts longer
_SHORTER, _LONGER = 0.8, 2.0  # what a length says, on its logarithm
_LEAST_FOR_OFF, _MOST_FOR_SLEEP = -0.7, 6.0
_SHORT_SEEN, _SHORT_TOLD = 0.3, 2.5  # the most that the depth of a dip can say that a meter may have made


class Dips:
    """Judges dips one after another, and remembers at what levels the device idles and sleeps."""

    def __init__(self, trail: Trail, levels: Levels) -> None:
        self._trail, self._levels = trail, levels
        self._everything = Repertoire()
        self._slept_a: deque[float] = deque(maxlen=8)
        self._drift_a = 0.0  # of the standing level since the onset, as the collapses show it

    def take(self, level_a: float, lasted_s: float) -> None:
        """Take note of a level, while it is not known what the device draws standing."""
        self._everything.add(math.log(self._levels.above(level_a)), lasted_s)

    def judge(self, dip: Dip, lasted_s: float, spacing_s: float, most_s: float) -> tuple[Sort, float]:
        """Return what sort of a candidate a dip is, and the log-likelihood ratio of a restart by it alone.

        ``most_s``: two ticks further apart have a gap between them.
        """
        levels = self._levels
        standing_a, spread_a = levels.standing_a + self._drift_a, self._spread_a(dip)
        drift_a = min(_DRIFTS_SHARE * (dip.before_a - standing_a), _NOTHING_A) if levels.measured else 0.0
        tolerance_a = max(levels.tolerance_a, _SPREADS * spread_a, drift_a)
        sort, odds = _depth_evidence(dip.low_a, dip.before_a, standing_a, tolerance_a, max(levels.fineness_a, spread_a))
        to_base = sort is Sort.COLLAPSE and levels.measured
        if to_base:
            most_a = _MOST_DRIFT_SHARE * levels.top_a
            drifted_a = self._drift_a + _FOLLOWS * (dip.low_a - standing_a)
            self._drift_a = min(max(drifted_a, -most_a), most_a)
        off = dip.low_a < _MOST_WHEN_OFF_A + levels.fineness_a
        if not levels.known and off and dip.low_a < _OFF_SHARE * dip.before_a:
            levels.lowest_a = min(levels.lowest_a, dip.low_a)
            if to_base:  # what was drawn before the onset, which may have been a sleep's
                odds = min(odds, _MOST_TO_BASE)
            elif lasted_s > _BRIEF_S and self._is_home(dip, lasted_s):
                sort, odds = Sort.DIP, -2.0
            elif dip.low_a <= levels.lowest_a + levels.tolerance_a:
                # as low as it ever went, but that may be a sleep unless it is hardly anything
                sort, odds = Sort.COLLAPSE, min(odds, _MOST_OFF if self.reads_nothing(dip.low_a) else 0.0)
        short = self._is_short(dip, blank_ticks(spacing_s), most_s)
        draws = not self.reads_nothing(dip.low_a, max(_NOTHING_A, _NOTHING_SHARE * dip.before_a))
        odds = _dip_evidence(odds, max(lasted_s, 1e-6), short=short, told=levels.told, draws=draws)
        odds -= self._sleeps(dip.low_a, lasted_s)
        if sort is Sort.COLLAPSE:
            return (Sort.BLINK if short else sort), odds
        ticks = dip.rose - dip.fell
        return (Sort.JUMP, 0.0) if ticks > _LONG_DIP else (sort, odds - math.log1p(ticks / 16))

    def reads_nothing(self, low_a: float, nothing_a: float = _NOTHING_A) -> bool:
        """Tell whether a low is so little, as far as the meter can tell, that hardly any device draws it asleep."""
        levels = self._levels
        return max(low_a, levels.noise_a, levels.standing_noise_a, levels.resolution_a / 2) < nothing_a

    def _spread_a(self, dip: Dip) -> float:
        """Return how much the ticks of a dip scatter about their median, 0 for a short one."""
        levels_a = sorted(self._trail.level_a[dip.fell : dip.rose][:_LONG_DIP])
        if len(levels_a) < _FEWEST:
            return 0.0
        middle_a = levels_a[len(levels_a) // 2]
        apart_a = sorted([abs(level_a - middle_a) for level_a in levels_a])
        return 1.5 * apart_a[len(apart_a) // 2]

    def _is_home(self, dip: Dip, lasted_s: float) -> bool:
        """Tell whether the device drew so little for much of the time before: then it idles there, and is not off."""
        low_s, all_s = self._everything.below_s(math.log(self._levels.above(dip.edge_a)))
        return low_s - lasted_s > _HOME_SHARE * (all_s - lasted_s)

    def _sleeps(self, low_a: float, lasted_s: float) -> float:
        """Return what speaks against a low because the device was that low for long before: it sleeps there."""
        above_a = low_a - self._levels.standing_a
        if above_a <= _APART * self._levels.fineness_a:
            return 0.0
        known = any(abs(math.log(above_a / slept_a)) < _SAME_SLEEP for slept_a in self._slept_a)
        if lasted_s > _ASLEEP_S and not known:
            self._slept_a.append(above_a)
        return _SLEPT_SO if known else 0.0

    def _is_short(self, dip: Dip, ticks: int, most_s: float) -> bool:
        """Tell whether no more than so many ticks of a dip follow on each other without a gap."""
        seen = 1
        for before_s, after_s in pairwise(self._trail.start_s[dip.fell : dip.rose]):
            seen = seen + 1 if after_s - before_s <= most_s else 1
            if seen > ticks:
                return False
        return True


def _depth_evidence(
    low_a: float, before_a: float, standing_a: float, tolerance_a: float, fineness_a: float
) -> tuple[Sort, float]:
    """Return what sort of a dip it is by how low it went, and what that says.

    A device held in reset draws its standing current in seven cases of ten; one that sleeps draws anything from a
    thousandth to a fifth of what it draws when up (even on the logarithm). So the nearer a dip comes to the standing
    level, as far as the meter can tell (``fineness_a``), the less likely it was a sleep.
    """
    before = max(before_a - standing_a, 1e-12)
    collapsed = low_a <= standing_a + tolerance_a
    reach_a = max(abs(low_a - standing_a), fineness_a) if collapsed else tolerance_a
    sleeps_within = min(max(math.log(max(reach_a / before, 1e-9) / 0.001) / math.log(200.0), 0.03), 0.97)
    if collapsed:
        return Sort.COLLAPSE, math.log(0.7 / sleeps_within)
    shallow = 1.5 if (low_a - standing_a) / before > 0.25 else 0.0
    return Sort.DIP, math.log(0.3 / (1.0 - sleeps_within)) - shallow


def _dip_evidence(depth: float, lasted_s: float, *, short: bool, told: bool, draws: bool) -> float:
    """Return what a dip's depth and length say together.

    ``short``: a meter may have made it; ``told``: the standing level was measured beforehand; ``draws``: it may have
    drawn something meanwhile, as one does that sleeps.

    A reset is over within two seconds or so, a sleep lasts for seconds to hours; supply supervisors commonly hold a
    reset for 0.14 s and longer (common practice, no source).
    """
    if short:
        return min(depth, _SHORT_TOLD if told else _SHORT_SEEN)
    if draws and lasted_s > _RESET_S:
        return depth + max(_LONGER * math.log(_RESET_S / lasted_s), -_MOST_FOR_SLEEP)
    length = min(max(_SHORTER * math.log(_RESET_S / lasted_s), _LEAST_FOR_OFF), 1.5)
    return depth + (length if depth > 0.0 else 0.25 * length)
