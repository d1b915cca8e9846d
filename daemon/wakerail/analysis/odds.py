"""How sure it is that a candidate is a restart: what it shows, on top of its prior."""

from __future__ import annotations

from wakerail.analysis.candidate import Candidate
from wakerail.analysis.priors import Prior
from wakerail.analysis.sorts import BLINK, DIP, JUMP, LIKELY, SURE, SURE_OF_A_JUMP, Sort
from wakerail.analysis.switching import PENDING
from wakerail.analysis.trail import Trail

_SEEN_OF_A_JUMP = 24  # windows; a change of levels or two that the opening has, too, is chance


class Odds:
    """The log odds of candidates by now."""

    def __init__(self, trail: Trail, prior: Prior) -> None:
        self._trail, self._prior = trail, prior

    def of_sort(self, sort: Sort) -> float:
        """Return the prior log odds of all candidates of a sort."""
        return self._prior.of_sort(sort)

    def learn(self, sort: Sort, probability: float) -> None:
        """Take note of what became of a candidate."""
        self._prior.learn(sort, probability)

    def of(self, candidate: Candidate) -> float:
        """Return the log odds of a candidate."""
        odds = candidate.evidence + self._prior.of(candidate)
        # a dip need not be the boot's doing: the one before it may have been low when it broke off
        return max(odds, self._as_jump(candidate)) if candidate.sort is DIP else odds

    def is_sure(self, candidate: Candidate) -> bool:
        """Tell whether a candidate may be told at once: what a meter does to a short dip's surroundings shows later."""
        if candidate.window < (_SEEN_OF_A_JUMP if candidate.sort is JUMP else 2) or (
            candidate.sort is BLINK and len(self._trail) - candidate.place <= PENDING
        ):
            return False
        return self._reaches(candidate, SURE_OF_A_JUMP if candidate.sort is JUMP else SURE, candidate.evidence)

    def is_likely(self, candidate: Candidate) -> bool:
        """Tell whether a candidate is a restart if there is no more to see."""
        evidence = candidate.evidence if candidate.at_fall is None else max(candidate.at_fall, candidate.evidence)
        return self._reaches(candidate, LIKELY[candidate.sort], evidence)

    def _as_jump(self, candidate: Candidate) -> float:
        return candidate.as_jump + self._prior.of(candidate, as_sort=JUMP)

    def _reaches(self, candidate: Candidate, log_odds: float, evidence: float) -> bool:
        least = log_odds - evidence
        if self._prior.of(candidate, least) >= least:
            return True
        return candidate.sort is DIP and self._as_jump(candidate) >= log_odds
