"""Whether a meter blanks its reading when it switches its range: then a short dip to nothing is the meter's.

A meter that does so does it at every crossing of its range's border, up as well as down. A device that restarts comes
back to the level that its boot begins with, so that it crosses every border between twice a round, and collapses at
one of the two only. So crossings without a dip speak against the meter, and dips at crossings, all of them, for it.
"""

from __future__ import annotations

import math
import statistics
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, betaln, logsumexp

from wakerail.analysis.levels import Levels
from wakerail.analysis.trail import Trail

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

_LOWEST, _HIGHEST, _STEP = -16.0, 5.0, 0.08  # of the borders looked at: natural log of amperes
_BORDERS = np.arange(_LOWEST, _HIGHEST, _STEP)
_HYSTERESIS = 0.3  # so far below the border has a meter gone back to the finer range (natural log; common practice)
_SAME = 0.1  # levels that differ by less are one
_LOW = 1.6  # floors above standing: what is less is a dip
_REST_TICKS, _REST_S = 6, 0.25  # a meter that has switched stays for so long
_SWITCHES = math.log(0.2 / 0.8)  # what of the meters do, before anything is seen
_DIPS_AT_CROSSING = 0.95  # of the crossings, for a meter that is blank then
_ELSEWHERE = math.log(0.5)  # this dip crossed nothing: the burst that did was over before the meter read again
_LONGEST_S, _LONGEST = 0.3, 3  # for how long, and for how many ticks at most, a meter is blank
PENDING = 8  # ticks; a dip in the newest ones may not have been noted yet
MOST_FOR, _MOST_AGAINST = 3.0, 6.0
_FEW = 3
_ZERO = 3.0  # finenesses from which on a standing level can be told from a reading of zero


@dataclass(frozen=True, slots=True)
class _Dip:
    """A short dip: its ticks, and which borders were crossed meanwhile."""

    fell: int
    rose: int
    crosses: Bools


def blank_ticks(spacing_s: float) -> int:
    """Return for how many ticks a meter may be blank that switches its range."""
    return max(1, min(_LONGEST, int(_LONGEST_S / spacing_s + 0.01))) if spacing_s else _LONGEST


class Switching:
    """Counts, for each border that a range may have, the crossings with and without a dip."""

    def __init__(self, trail: Trail, levels: Levels, spacing_s: Callable[[], float]) -> None:
        self._trail, self._levels, self._spacing_s = trail, levels, spacing_s
        self._dips: list[_Dip] = []
        self._lows_a: deque[float] = deque(maxlen=64)  # what they went down to
        self._seen = 0  # ticks before this one are counted
        self._rested_s, self._rested = -math.inf, 0  # from when on the meter may switch again
        self._level = math.nan  # the newest on the scale
        self._above = np.zeros(len(_BORDERS), dtype=np.int8)  # 1 above a border, -1 below it, 0 not known
        self._plain = np.zeros(len(_BORDERS))
        self._dipped = np.zeros(len(_BORDERS))

    def evidence(self, fell: int, rose: int, low_a: float) -> float:
        """Return the log-likelihood ratio of a restart over the meter for a short dip, from one tick until another."""
        self._count()
        levels = self._levels
        most = MOST_FOR
        if levels.measured:
            low_a, fineness_a = self._usual_low(low_a)
            if low_a - levels.standing_a > max(_ZERO * fineness_a, levels.fineness_a):
                most = 0.0  # a device in reset draws what it draws standing
            elif levels.standing_a > _ZERO * fineness_a:
                if abs(low_a - levels.standing_a) < 0.4 * levels.standing_a:
                    return MOST_FOR
                if abs(low_a) < 0.3 * levels.standing_a:
                    return -_MOST_AGAINST
        dip = next((one for one in reversed(self._dips) if one.fell <= rose and one.rose >= fell), None)
        inside = (self._place(0.0) < _BORDERS) & (self._place(levels.top_a) > _BORDERS)
        if not inside.any():
            return 0.0
        score = self._meter_likelier(self._dipped[inside], self._plain[inside])
        if dip is not None:
            score = score + np.where(dip.crosses[inside], 0.0, _ELSEWHERE)
        switches = _SWITCHES + float(logsumexp(score)) - math.log(len(score))
        return min(max(-switches, -_MOST_AGAINST), most)

    def _usual_low(self, low_a: float) -> tuple[float, float]:
        """Return what lows go down to on average, and how finely that is known."""
        fineness_a = self._levels.fineness_a
        if len(self._lows_a) < _FEW:
            return low_a, fineness_a
        spread_a = max(fineness_a, statistics.stdev(self._lows_a))
        return statistics.fmean(self._lows_a), spread_a / math.sqrt(len(self._lows_a))

    def _meter_likelier(self, dipped: Floats, plain: Floats) -> Floats:
        """Return, for each border, the log-likelihood ratio of a meter that is blank there over none such.

        Crossings are binomial: dipped with a share of 0.95 if it is the meter's, of 0 to 0.5 if not, as each round
        crosses twice.
        """
        meter = dipped * math.log(_DIPS_AT_CROSSING) + plain * math.log(1 - _DIPS_AT_CROSSING)
        half = np.log(np.maximum(betainc(dipped + 1, plain + 1, 0.5), 1e-300))
        return meter - (math.log(2) + half + betaln(dipped + 1, plain + 1))

    def _count(self) -> None:
        """Count what the ticks not looked at yet show, up to where a dip may still be going on."""
        levels_a, starts_s = self._trail.level_a, self._trail.start_s
        end = len(levels_a) - PENDING
        low_a = self._levels.standing_a + _LOW * self._levels.floor_a
        place = self._seen
        while place < end:
            if levels_a[place] <= low_a:
                rose = place + 1
                while rose < end and levels_a[rose] <= low_a:
                    rose += 1
                if rose >= end:
                    break
                self._pass_low(place, rose)
                place = rose + 2
                continue
            level = self._place(levels_a[place])
            if not abs(level - self._level) < _SAME:
                crossed = self._move(level)
                if place >= self._rested and starts_s[place] >= self._rested_s:
                    self._plain += crossed
            place += 1
        self._seen = max(place, self._seen)

    def _pass_low(self, fell: int, rose: int) -> None:
        """Count a low; the tick with which it ended is on the way, the one after that tells where to."""
        after = self._place(self._trail.level_a[rose + 1])
        if rose - fell > blank_ticks(self._spacing_s()) or math.isnan(self._level):
            self._above[:] = 0
            self._move(after)
            return
        crossed = self._move(after)
        self._dips.append(_Dip(fell, rose, crossed))
        self._lows_a.append(statistics.median(self._trail.level_a[fell:rose]))
        self._dipped += crossed
        self._rested, self._rested_s = rose + _REST_TICKS, self._trail.start_s[rose] + _REST_S

    def _move(self, level: float) -> Bools:
        """Go to a level; return the borders that this crossed."""
        above = np.where(level > _BORDERS, 1, np.where(level < _BORDERS - _HYSTERESIS, -1, 0)).astype(np.int8)
        crossed = above * self._above < 0
        self._above = np.where(above == 0, self._above, above)
        self._level = level
        return crossed

    def _place(self, level_a: float) -> float:
        return math.log(max(level_a - self._levels.standing_a, self._levels.floor_a))
