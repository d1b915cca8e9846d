"""What a shop's closed jobs teach: the weights of the causes as Dirichlet counts."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from wakerail.planning.model import FamilyPlan
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest


def learned(plan: FamilyPlan, closed: Iterable[frozenset[str]]) -> FamilyPlan:
    """Return the plan with weights and share of pairs as they are after closed jobs, each with the causes it found.

    The stated weights count as ``strength`` jobs: cause i begins with strength * weight_i / sum, and a job adds 1 to
    its cause, or half of it to either of two. The weights that come back are the mean of that Dirichlet distribution
    (A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, 3.4), and their strength is what all of them are worth
    then, so that learning twice is the same as learning once from all jobs. Raises ConfigInvalid, in one line, for a
    cause that the family does not have, or a job with none or more than two.
    """
    total = math.fsum(cause.weight for cause in plan.causes)
    counts = {cause.name: plan.strength * cause.weight / total for cause in plan.causes}
    jobs, doubles = 0, 0
    for causes in closed:
        if not 1 <= len(causes) <= 2:
            raise ConfigInvalid(f"a closed job names one cause or two, not {len(causes)}")
        for cause in sorted(causes):
            if cause not in counts:
                raise ConfigInvalid(f"{cause!r} is no cause of {plan.family}; {nearest(cause, counts)}")
            counts[cause] += 1.0 / len(causes)
        jobs += 1
        doubles += len(causes) == 2
    strength = plan.strength + jobs
    return replace(
        plan,
        causes=tuple(replace(cause, weight=counts[cause.name]) for cause in plan.causes),
        pairs=(plan.strength * plan.pairs + doubles) / strength,
        strength=strength,
    )
