"""What a dip says by itself: how low it went, for how long, and whether the device is that low by habit."""

from __future__ import annotations

import math
from collections import deque
from itertools import pairwise

from wakerail.analysis.levels import NOTHING_A, Levels
from wakerail.analysis.repertoire import Repertoire
from wakerail.analysis.sorts import Sort
from wakerail.analysis.standing import Low, Standing
from wakerail.analysis.switching import blank_ticks
from wakerail.analysis.trail import Trail
from wakerail.analysis.turns import Dip

_LONG_DIP = 64  # ticks; a device that drew so long without being off was up, at a lower level
_LONG_APART = 8  # ticks; the same where it is known what it draws when off
_HOME_SHARE = 0.6  # of all the time
_BRIEF_S = 0.1  # a device that idles or sleeps does so for longer
_OFF_SHARE = 0.2  # of what it drew before: where the standing level is not known, what is lower may be it
_ASLEEP_S = 4.0  # who is low for so long sleeps
_APART = 4.0  # finenesses above standing from which on a low can be told from it
_SAME_SLEEP, _SLEPT_SO = 0.35, 2.5
_NOTHING_SHARE = 0.002  # of what was drawn before; a device asleep draws more (common practice, no source)
_MOST_OFF, _MOST_TO_BASE = 1.5, 0.5
_AS_LOW = 1.3  # times the lowest counts as the same
_AT_HOME = -2.0  # what a low says where the device is mostly
_NOT_OFF = -1.0  # the most that a low says that is more than any device draws when off
_RESETS = 0.7  # of the resets draw the standing current (common practice, no source)
_LEAST_SLEEPS = 0.03  # of the sleeps may be taken for the standing level, however fine the meter
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
        self._standing = Standing(trail, levels)

    def take(self, level_a: float, lasted_s: float) -> None:
        """Take note of a level, while it is not known what the device draws standing."""
        self._everything.add(math.log(self._levels.above(level_a)), lasted_s)

    def judge(self, dip: Dip, lasted_s: float, spacing_s: float, most_s: float) -> tuple[Sort, float]:
        """Return what sort of a candidate a dip is, and the log-likelihood ratio of a restart by it alone.

        ``most_s``: two ticks further apart have a gap between them.
        """
        levels, low = self._levels, self._standing.look(dip)
        sort, odds = _depth_evidence(dip, low, sure=levels.measured and levels.known)
        to_base = sort is Sort.COLLAPSE and levels.measured
        if to_base:
            self._standing.follow(dip.low_a)
        off = levels.may_be_off(dip.low_a)
        if not levels.known and off and dip.low_a < _OFF_SHARE * dip.before_a:
            levels.lowest_a = min(levels.lowest_a, dip.low_a)
            if to_base:  # what was drawn before the onset, which may have been a sleep's
                odds = min(odds, _MOST_TO_BASE)
            elif lasted_s > _BRIEF_S and self._is_home(dip, lasted_s):
                sort, odds = Sort.COLLAPSE, _AT_HOME
            elif self.reads_nothing(dip.low_a):
                sort, odds = Sort.COLLAPSE, _MOST_OFF
            elif dip.low_a <= _AS_LOW * levels.lowest_a + levels.tolerance_a:
                # as low as it ever went, but that may be a sleep
                sort, odds = Sort.COLLAPSE, min(odds, 0.0)
        elif not levels.perhaps_off and not off and sort is Sort.COLLAPSE:
            sort, odds = Sort.DIP, min(odds, _NOT_OFF)
        short = self._is_short(dip, blank_ticks(spacing_s), most_s)
        draws = not self.reads_nothing(dip.low_a, max(NOTHING_A, _NOTHING_SHARE * dip.before_a))
        odds = _dip_evidence(odds, max(lasted_s, 1e-6), short=short, told=levels.told, draws=draws)
        odds -= self._sleeps(dip.low_a, lasted_s)
        if sort is Sort.COLLAPSE:
            return (Sort.BLINK if short else sort), odds
        ticks = dip.rose - dip.fell
        if ticks > (_LONG_APART if low.apart else _LONG_DIP):
            return Sort.JUMP, 0.0
        return sort, odds - math.log1p(ticks / 16)

    def reads_nothing(self, low_a: float, nothing_a: float = NOTHING_A) -> bool:
        """Tell whether a low is so little, as far as the meter can tell, that hardly any device draws it asleep."""
        levels = self._levels
        return max(low_a, levels.noise_a, levels.standing_noise_a, levels.resolution_a / 2) < nothing_a

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


def _depth_evidence(dip: Dip, low: Low, *, sure: bool) -> tuple[Sort, float]:
    """Return what sort of a dip it is by how low it went, and what that says.

    A device held in reset draws its standing current in seven cases of ten; one that sleeps draws anything from a
    thousandth to a fifth of what it draws when up (even on the logarithm). So the nearer a dip comes to the standing
    level, as far as the meter can tell, the less likely it was a sleep. Where it is ``sure`` what is drawn standing,
    hardly any device draws as little asleep.
    """
    before_a, above_a = max(dip.before_a - low.standing_a, 1e-12), dip.low_a - low.standing_a
    collapsed = above_a <= low.tolerance_a
    if collapsed and sure and abs(above_a) + low.within_a < NOTHING_A:
        return Sort.COLLAPSE, math.log(_RESETS / _LEAST_SLEEPS)
    reach_a = max(abs(above_a), low.within_a) if collapsed else low.tolerance_a
    sleeps_within = math.log(max(reach_a / before_a, 1e-9) / 0.001) / math.log(200.0)
    sleeps_within = min(max(sleeps_within, _LEAST_SLEEPS), 1.0 - _LEAST_SLEEPS)
    if collapsed:
        return Sort.COLLAPSE, math.log(_RESETS / sleeps_within)
    shallow = 1.5 if above_a / before_a > 0.25 else 0.0
    return Sort.DIP, math.log((1.0 - _RESETS) / (1.0 - sleeps_within)) - shallow


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
