"""Whether a meter blanks its reading when it switches its range: then a short dip to nothing is the meter's.

A meter that does so does it at every crossing of its range's border, up as well as down. A device that restarts comes
back to the level that its boot begins with, so that it crosses every border between twice a round, and collapses at
one of the two only. So crossings without a dip speak against the meter, and dips at crossings, all of them, for it.
"""

from __future__ import annotations

import math
from bisect import bisect_left
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
_SURELY, _PERHAPS = 0.35, 0.15  # how far below the border a level is for a meter to have gone back to the finer range
_REST_TICKS, _REST_S = 6, 0.25  # a meter that has switched stays for so long
_SWITCHES = math.log(0.2 / 0.8)  # what of the meters do, before anything is seen
_DIPS_AT_CROSSING = 0.95  # of the crossings, for a meter that is blank then
_ELSEWHERE = math.log(0.5)  # this dip crossed nothing: the burst that did was over before the meter read again
_LONGEST = 3  # ticks that a meter is blank
_BESIDE = 2  # ticks beside a low are on the way there
PENDING = 8  # ticks; a dip in the newest ones may not have been noted yet
_MOST_FOR, _MOST_AGAINST = 3.0, 6.0
_ZERO = 3.0  # finenesses from which on a standing level can be told from a reading of zero


@dataclass(frozen=True, slots=True)
class _Dip:
    fell: int
    rose: int
    low: float
    high: float

    @property
    def crosses(self) -> Bools:
        return _between(self.low, self.high, _PERHAPS)


def _between(low: float, high: float, margin: float) -> Bools:
    """Return which borders are crossed from the one level to the other."""
    return (_BORDERS > low + margin) & (_BORDERS < high)


class Switching:
    """Counts, for each border that a range may have, the crossings with and without a dip."""

    def __init__(self, trail: Trail, levels: Levels) -> None:
        self._trail, self._levels = trail, levels
        self._dips: list[_Dip] = []
        self._seen = 0  # transitions between ticks before this one are counted
        self._plain = np.zeros(len(_BORDERS))
        self._dipped = np.zeros(len(_BORDERS))

    def evidence(self, fell: int, rose: int, low_a: float) -> float:
        """Return the log-likelihood ratio of a restart over the meter for a short dip, from one tick until another."""
        levels = self._levels
        if levels.known and levels.standing_a > _ZERO * levels.fineness_a:
            if abs(low_a - levels.standing_a) < 0.4 * levels.standing_a:
                return _MOST_FOR
            if abs(low_a) < 0.3 * levels.standing_a:
                return -_MOST_AGAINST
        self._count()
        dip = next((one for one in reversed(self._dips) if one.fell <= rose and one.rose >= fell), None)
        inside = (_BORDERS > self._place(0.0)) & (self._place(levels.top_a) > _BORDERS)
        if not inside.any():
            return 0.0
        score = self._meter_likelier(self._dipped[inside], self._plain[inside])
        if dip is not None:
            score = score + np.where(dip.crosses[inside], 0.0, _ELSEWHERE)
        switches = _SWITCHES + float(logsumexp(score)) - math.log(len(score))
        return min(max(-switches, -_MOST_AGAINST), _MOST_FOR)

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
        first, end = self._seen, len(self._trail) - PENDING
        if end <= first:
            return
        self._seen = end
        begin = max(first - _REST_TICKS - _LONGEST, 0)
        above = np.array(self._trail.level_a[begin : end + 1]) - self._levels.standing_a
        low = above <= 1.6 * self._levels.floor_a
        edges = np.flatnonzero(np.diff(low.astype(np.int8))) + 1
        place = np.log(np.maximum(above, self._levels.floor_a))
        usable = np.ones(len(above), dtype=np.bool_)
        for fell, rose in zip(*self._runs(low, edges), strict=True):
            usable[max(fell - _BESIDE, 0) : rose + _BESIDE] = False
            if rose - fell > _LONGEST or fell < 2 or rose + 1 >= len(above):
                continue
            if begin + rose >= first:
                before, after = float(place[fell - 2]), float(place[rose + 1])
                self._note(_Dip(begin + fell, begin + rose, min(before, after), max(before, after)))
            starts_s = self._trail.start_s
            rested = bisect_left(starts_s, starts_s[begin + rose] + _REST_S) - begin
            usable[rose : max(rose + _REST_TICKS, rested)] = False
        lower, higher = np.minimum(place[:-1], place[1:]), np.maximum(place[:-1], place[1:])
        crossing = usable[:-1] & usable[1:] & (higher - lower > _SURELY)
        crossing[: first - begin] = False
        for one, other in zip(lower[crossing].tolist(), higher[crossing].tolist(), strict=True):
            self._plain += _between(one, other, _SURELY)

    @staticmethod
    def _runs(low: Bools, edges: npt.NDArray[np.int64]) -> tuple[list[int], list[int]]:
        """Return where stretches of low ticks begin and end."""
        falls, rises = edges[low[edges]].tolist(), edges[~low[edges]].tolist()
        if low[0]:
            falls.insert(0, 0)
        if low[-1]:
            rises.append(len(low))
        return falls, rises

    def _note(self, dip: _Dip) -> None:
        self._dips.append(dip)
        self._dipped += dip.crosses

    def _place(self, level_a: float) -> float:
        return math.log(max(level_a - self._levels.standing_a, self._levels.floor_a))
