"""What became of a candidate for a restart: what is kept of it once it is decided."""

from __future__ import annotations

from dataclasses import dataclass

from wakerail.analysis.candidate import Candidate
from wakerail.analysis.sorts import Sort

ENDED = -30.0  # the log odds of what ended too soon to be weighed


@dataclass(frozen=True, slots=True)
class Considered:
    """A candidate that was decided live.

    ``at_s`` is when the device stopped being up, ``again_s`` when it began again, ``place`` the tick of that,
    ``low_ticks`` for how many ticks it was low, at ``low_a``. ``depth`` is what the dip says by itself, ``alike`` what
    the opening known says, ``novel`` what speaks for one not seen yet, and ``log_odds`` all together (NaN for one that
    gave way to another). ``staged``: it showed a second level.
    """

    sort: Sort
    place: int
    at_s: float
    again_s: float
    low_a: float
    low_ticks: int
    depth: float
    alike: float
    novel: float
    staged: bool
    log_odds: float

    @classmethod
    def of(cls, candidate: Candidate, log_odds: float) -> Considered:
        """Return what is kept of a candidate."""
        return cls(
            candidate.sort,
            candidate.place,
            candidate.at_s,
            candidate.again_s,
            candidate.low_a,
            candidate.dip_ticks,
            candidate.odds,
            candidate.alike,
            candidate.novel,
            candidate.staged,
            log_odds,
        )
