"""What closed jobs teach: the weights of the causes as Dirichlet counts; and what the boots of a job teach."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from wakerail.planning.model import FamilyPlan
from wakerail.planning.observations import BootWatched, Observation
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest

#: The stated chance that a boot misses the fault counts as so many boots with everything connected.
_MISS_STRENGTH = 2.0


def missing_as_seen(plan: FamilyPlan, observations: Iterable[Observation]) -> FamilyPlan:
    """Return the plan with the chance that a boot misses the fault as this job's own boots show it.

    With everything connected the fault is there, whatever its cause, so each clean boot among those is a miss: the
    mean of a beta distribution, never below what is stated. So a clean boot of a fault that comes and goes weighs
    little, and many of them weigh what they should.
    """
    shown = [one.shown for one in observations if isinstance(one, BootWatched) and not plan.off(one.done)]
    stated = plan.watching.miss
    miss = (_MISS_STRENGTH * stated + sum(1.0 - one for one in shown)) / (_MISS_STRENGTH + len(shown))
    return replace(plan, watching=replace(plan.watching, miss=max(stated, miss)))


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
