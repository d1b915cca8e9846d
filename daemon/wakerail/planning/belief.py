"""How likely each cause is, after what has been seen: Bayes over single causes and pairs."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from wakerail.planning.model import FamilyPlan
from wakerail.planning.observations import Observation, likelihoods

#: What is less likely than this given all before cannot be; only rates of error of zero come to it.
IMPOSSIBLE = 1e-12


@dataclass(frozen=True)
class Belief:
    """The probability of each hypothesis: one cause, or two at once."""

    probability: Mapping[frozenset[str], float]

    @cached_property
    def of_cause(self) -> Mapping[str, float]:
        """How likely each cause is at fault, alone or with another; the sum exceeds 1 by the pairs' share."""
        found: dict[str, float] = {}
        for causes, share in self.probability.items():
            for cause in causes:
                found[cause] = found.get(cause, 0.0) + share
        return found

    @cached_property
    def share(self) -> Mapping[str, float]:
        """The same with each pair counted half for either, so that the sum is 1: what a plan weighs causes by."""
        found: dict[str, float] = {}
        for causes, share in self.probability.items():
            for cause in causes:
                found[cause] = found.get(cause, 0.0) + share / len(causes)
        return found

    @property
    def ranked(self) -> list[tuple[str, float]]:
        """The causes with their shares, likeliest first; equal ones by name."""
        return sorted(self.share.items(), key=lambda pair: (-pair[1], pair[0]))

    def of_any(self, causes: Iterable[str]) -> float:
        """Return how likely it is that one of these causes is at fault."""
        wanted = frozenset(causes)
        return sum(share for hypothesis, share in self.probability.items() if hypothesis & wanted)


def prior(plan: FamilyPlan) -> Belief:
    """Return the belief before anything was seen: single causes by their weights, pairs by the product of theirs."""
    total = sum(cause.weight for cause in plan.causes)
    single = {frozenset({cause.name}): cause.weight / total for cause in plan.causes}
    product = {
        frozenset({one.name, other.name}): one.weight * other.weight
        for one, other in itertools.combinations(plan.causes, 2)
    }
    pairs_total = math.fsum(product.values())
    pairs = plan.pairs if pairs_total else 0.0
    probability = {causes: share * (1.0 - pairs) for causes, share in single.items()}
    if pairs:
        probability |= {causes: pairs * weight / pairs_total for causes, weight in product.items()}
    return Belief(probability)


class Contradiction(ValueError):
    """An observation that no cause explains after what was seen before."""

    WHY = "no cause that is left could have shown it"


def weigh(
    plan: FamilyPlan, weights: Mapping[frozenset[str], float], observation: Observation, usual_s: float | None
) -> dict[frozenset[str], float]:
    """Return the weight of each hypothesis times how likely it would have shown an observation."""
    chance = likelihoods(plan, observation, usual_s)
    return {causes: weight * chance(causes) for causes, weight in weights.items()}


def update(plan: FamilyPlan, belief: Belief, observation: Observation, usual_s: float | None = None) -> Belief:
    """Return the belief after an observation. Raises Contradiction if nothing that is left could have shown it."""
    weighed = weigh(plan, belief.probability, observation, usual_s)
    total = math.fsum(weighed.values())
    if total <= IMPOSSIBLE:
        raise Contradiction(Contradiction.WHY)
    return Belief({causes: value / total for causes, value in weighed.items()})
