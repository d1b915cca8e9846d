"""How likely a candidate is a restart by all but what it shows itself: its sort, the meter, other witnesses."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import ClassVar

from wakerail.analysis.candidate import Candidate
from wakerail.analysis.dips import Dips
from wakerail.analysis.levels import Levels
from wakerail.analysis.sorts import BLINK, JUMP, Sort
from wakerail.analysis.switching import MOST_FOR, Switching

# however often the opening came back, its first level alone is no restart; and one like it in all is, however often not
_MOST_FOR_A_JUMP, _LEAST_FOR_A_JUMP = -3.2, -8.0
_LEAST_FOR_A_DIP = -5.0
_MOST_FALLS_INSTEAD = 4.0  # against a restart without a fall in a device whose others had one
_PULSE = 5.0  # what keeps to one level is a pulse, where nobody knows that the device was off before it
_UNKNOWN_LOW, _MOST_UNKNOWN = 0.8, 0.7

Outside = Callable[[Candidate], float]
"""Say what other witnesses than the current say of a candidate, as a log-likelihood ratio; 0 for nothing."""


class Prior:
    """The log odds of candidates before their shape is looked at."""

    def __init__(self, levels: Levels, dips: Dips, switching: Switching, outside: Outside) -> None:
        self._levels, self._dips, self._switching, self._outside = levels, dips, switching, outside
        self._learnt = _Learnt()
        self._of_sort: dict[Sort, float] = {}  # until more is learnt

    def learn(self, sort: Sort, probability: float) -> None:
        """Take note of what became of a candidate."""
        self._learnt.learn(sort, probability)
        self._of_sort.clear()

    def of_sort(self, sort: Sort) -> float:
        """Return the log odds of all candidates of a sort."""
        odds = self._of_sort.get(sort)
        if odds is None:
            odds = self._of_sort[sort] = self._learnt.log_odds(sort)
        return odds

    def of(self, candidate: Candidate, least: float = -math.inf, as_sort: Sort | None = None) -> float:
        """Return the log odds of one candidate now; where they are below ``least``, perhaps only that they are.

        ``as_sort``: take it for one of that sort.
        """
        sort = as_sort or candidate.sort
        odds = self.of_sort(sort)
        blink = sort is BLINK
        if not self._levels.known:  # how low it goes when off is a guess: what a device does often may be its habit
            unlikely = blink and not self._dips.reads_nothing(candidate.low_a)
            odds = min(odds, 0.0) - _UNKNOWN_LOW if unlikely else min(odds, _MOST_UNKNOWN)
        if sort is not JUMP and not candidate.staged and not self._levels.perhaps_off:
            odds -= _PULSE
        odds += self._outside(candidate)
        if blink and odds + MOST_FOR >= least:
            odds += self._switching.evidence(candidate.place - candidate.dip_ticks, candidate.place, candidate.low_a)
        return odds


class _Learnt:
    """How likely a candidate of each sort is a restart before its shape is looked at, learnt from those before it.

    Each sort begins with odds that count as so many candidates; every candidate that was looked at adds its
    probability to one side and the rest to the other, and one that was set aside as unlikely a part of it. So a
    device that wakes every second teaches that its dips mean nothing, and one whose opening came back twice that the
    third time is no chance.
    """

    _FIRST: ClassVar[dict[Sort, tuple[float, float]]] = {
        Sort.COLLAPSE: (3.0, 1.5),
        Sort.BLINK: (1.0, 1.5),
        Sort.DIP: (0.1, 3.0),
        Sort.JUMP: (0.5, 150.0),
    }

    def __init__(self) -> None:
        self._for = {sort: yes for sort, (yes, _) in self._FIRST.items()}
        self._against = {sort: no for sort, (_, no) in self._FIRST.items()}

    def log_odds(self, sort: Sort) -> float:
        """Return the prior log odds now."""
        odds = math.log(self._for[sort] / self._against[sort])
        if sort is Sort.JUMP:
            return min(max(odds, _LEAST_FOR_A_JUMP), _MOST_FOR_A_JUMP) - self._falls_instead(sort)
        if sort is Sort.BLINK:
            return odds - self._falls_instead(sort)
        return max(odds, _LEAST_FOR_A_DIP) if sort is Sort.DIP else odds

    def _falls_instead(self, sort: Sort) -> float:
        """Return what speaks against a restart of a sort: that the same device's others fell for longer."""
        fell = self._for[Sort.COLLAPSE] - self._FIRST[Sort.COLLAPSE][0]
        others = self._for[sort] - self._FIRST[sort][0]
        return min(math.log1p(fell / (1.0 + others)), _MOST_FALLS_INSTEAD)

    def learn(self, sort: Sort, probability: float) -> None:
        """Take note of what became of a candidate."""
        self._for[sort] += probability
        self._against[sort] += 1.0 - probability
