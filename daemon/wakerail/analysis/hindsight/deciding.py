"""Decides which moments of a recording count as restarts: by the verdict on each, and by what stood until then."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from wakerail.analysis.hindsight.look import Verdict
from wakerail.analysis.hindsight.together import are_one, is_among

_IN_DOUBT, _MOSTLY = -2.0, 0.95  # log odds: down to these what stood is not taken back, if so much of it holds
_SURE_OF_ONE = 0.8  # log odds


class Span(Protocol):
    """The two times of a restart, or of what may be one: when a boot ended, and when the next began."""

    @property
    def at_s(self) -> float: ...
    @property
    def again_s(self) -> float: ...


def restarts_of(verdicts: Sequence[Verdict], stood: Sequence[Span], spacing_s: float) -> list[Verdict]:
    """Return the verdicts that count: those that are sure, and those in doubt on what ``stood`` if most of it holds.

    Where nothing stood, there has to be more than a likeness.
    """
    sure = [verdict for verdict in verdicts if verdict.counts]
    doubtful = [verdict for verdict in verdicts if _IN_DOUBT < verdict.log_odds <= 0.0]
    did_stand = are_among(doubtful, stood, spacing_s)
    restarts = sure + [verdict for verdict, did in zip(doubtful, did_stand, strict=True) if did]
    if sum(stand_for(stood, restarts, spacing_s)) < _MOSTLY * len(stood):
        restarts = sure
    if not stood and max((verdict.log_odds for verdict in restarts), default=0.0) < _SURE_OF_ONE:
        return []
    return restarts


def are_among(some: Sequence[Span], others: Sequence[Span], spacing_s: float) -> list[bool]:
    """Tell which of some moments stand for the same restart as one of the others does."""
    at_s, again_s = np.array([(other.at_s, other.again_s) for other in others]).reshape(-1, 2).T
    return [is_among(one.at_s, one.again_s, at_s, again_s, spacing_s) for one in some]


def nearest_of(one: Span, others: Sequence[Span], spacing_s: float) -> int | None:
    """Return the number of the nearest of others that stand for the same restart as one; None if none does."""
    at_s, again_s = np.array([(other.at_s, other.again_s) for other in others]).reshape(-1, 2).T
    same = are_one(one.at_s, one.again_s, at_s, again_s, spacing_s)
    return int(np.where(same, np.abs(again_s - one.again_s), np.inf).argmin()) if same.any() else None


def stand_for(some: Sequence[Span], restarts: Sequence[Span], spacing_s: float) -> list[bool]:
    """Tell which of some moments stand for one of the restarts: of those that do for the same, the nearest alone."""
    at_s, again_s = np.array([(one.at_s, one.again_s) for one in some]).reshape(-1, 2).T
    stand = np.zeros(len(some), dtype=np.bool_)
    for restart in restarts:
        free = are_one(restart.at_s, restart.again_s, at_s, again_s, spacing_s) & ~stand
        if free.any():
            stand[np.where(free, np.abs(again_s - restart.again_s), np.inf).argmin()] = True
    return stand.tolist()
