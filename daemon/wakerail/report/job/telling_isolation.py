"""The isolation as a report tells it: each step with what it showed, and what the opposite would have meant."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from wakerail.jobs import Job
from wakerail.jobs.isolation import isolation_of
from wakerail.planning.belief import prior
from wakerail.planning.branches import Branch, branches
from wakerail.planning.model import FamilyPlan
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.job_events import IsolationAdvised
from wakerail_kit.job_report import IsolationReported, StepReported


@dataclass(frozen=True, slots=True)
class _Reckoned:
    """What the family's plan says of the observations today."""

    before: Mapping[str, float]
    branches: tuple[Branch, ...]


def isolation_told(job: Job, plan: FamilyPlan | None, others: Iterable[Job]) -> IsolationReported | None:
    """Return the isolation of a job, None if there was none.

    Likelihoods are those that were told at the time, as the journal has them; what it does not have is reckoned by the
    family's ``plan`` as it is today, and left out where that cannot be (any more).
    """
    if not job.observations and not job.advice and job.ended is None:
        return None
    reckoned = _reckoned(job, plan, others)
    last = _advised(job, len(job.observations))
    return IsolationReported(
        titles={} if plan is None else {cause.name: cause.title for cause in plan.causes},
        before=_shares(_advised(job, 0), {} if reckoned is None else reckoned.before),
        steps=_steps(job, reckoned),
        next=last.says if last is not None and job.ended is None else "",
        ended=job.ended,
    )


def _reckoned(job: Job, plan: FamilyPlan | None, others: Iterable[Job]) -> _Reckoned | None:
    if plan is None:
        return None
    try:
        isolation = isolation_of(job, plan, others)
        return _Reckoned(prior(isolation.plan).share, branches(isolation.course))
    except ConfigInvalid:  # the plan has been changed since
        return None


def _steps(job: Job, reckoned: _Reckoned | None) -> list[StepReported]:
    steps = []
    for place, seen in enumerate(job.observations):
        branch = None if reckoned is None else reckoned.branches[place]
        advised = _advised(job, place)
        step = StepReported(
            number=seen.number,
            advised="" if advised is None else advised.says,
            says=seen.says,
            run=seen.run,
            shares=_shares(_advised(job, place + 1), {} if branch is None else branch.shares),
            other_says="" if branch is None else branch.other_says or "",
            other_shares=None if branch is None or branch.other is None else _rounded(branch.other),
        )
        steps.append(step)
    return steps


def _advised(job: Job, after: int) -> IsolationAdvised | None:
    """Return the newest advice after so many observations."""
    return next((one for one in reversed(job.advice) if one.after == after), None)


def _shares(advised: IsolationAdvised | None, reckoned: Mapping[str, float]) -> dict[str, float]:
    return dict(advised.shares) if advised is not None else _rounded(reckoned)


def _rounded(shares: Mapping[str, float]) -> dict[str, float]:
    return {cause: round(share, 6) for cause, share in shares.items()}
