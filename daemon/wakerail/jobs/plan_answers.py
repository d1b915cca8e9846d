"""What is answered of an isolation: where it stands, what is next, and what the shop has seen."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime

from wakerail.jobs.isolation import Isolation, learned_plan, teaching, told
from wakerail.jobs.job import Happened, Job
from wakerail.planning.advice import RunCheck, Try, advise
from wakerail.planning.belief import prior
from wakerail.planning.ending import Ending
from wakerail.planning.model import Action, FamilyPlan
from wakerail_kit.job_events import IsolationAdvised, IsolationEnded, IsolationObserved
from wakerail_kit.plan_requests import CauseShare, CauseStats, Deed, FamilyStats, PlanAdvice, PlanStep, SeenSoFar

TRY, CHECK, END = "try", "check", "end"


def answer_of(isolation: Isolation, jobs: Iterable[Job]) -> PlanAdvice:
    """Return where an isolation stands and what is next, as it is answered. ``jobs`` are those that may have taught.

    Nothing is unplugged before a boot was watched with everything connected: what is the fault is seen there.
    """
    plan, course = isolation.plan, isolation.course
    advice = advise(course)
    if not course.watched:
        why = "Boot with everything connected: to see the fault, and how it shows itself."
        advice = replace(advice, next=Try((), (), frozenset(), plan.watching.try_s, why))
    return PlanAdvice(
        job=isolation.job.name,
        family=plan.family,
        seen=[SeenSoFar(number=one.number, says=told(plan, one)) for one in isolation.seen],
        off=[deed_of(plan.action[name]) for name in sorted(course.done, key=lambda name: len(plan.needs[name]))],
        ranked=[
            CauseShare(cause=cause, says=plan.cause[cause].title, share=round(share, 6))
            for cause, share in advice.ranked
        ],
        next=_step_of(plan, advice.next),
        expected_s=round(advice.expected_s, 1),
        exact=advice.exact,
        usual_s=course.usual_s,
        learned=len(teaching(plan, (job for job in jobs if job.name != isolation.job.name))),
    )


def _step_of(plan: FamilyPlan, step: Try | RunCheck | Ending) -> PlanStep:
    if isinstance(step, Ending):
        return PlanStep(
            kind=END, says=step.says, sort=step.sort.value, causes=list(step.causes), probability=step.probability
        )
    if isinstance(step, RunCheck):
        return PlanStep(kind=CHECK, says=step.why, name=step.check, time_s=step.time_s, notes=list(step.notes))
    return PlanStep(
        kind=TRY,
        says=step.why,
        to_undo=[undeed_of(plan.action[name]) for name in step.to_undo],
        to_do=[deed_of(plan.action[name]) for name in step.to_do],
        done=sorted(step.done),
        time_s=step.time_s,
        notes=[*step.notes, *_how_to_boot(plan, step)],
    )


def _how_to_boot(plan: FamilyPlan, step: Try) -> list[str]:
    """Return how the boot is prompted, where a way is lost."""
    left = plan.boot_ways(step.done)
    return [] if len(left) == len(plan.ways) else [f"Prompt the boot by: {', or '.join(way.name for way in left)}."]


def deed_of(action: Action) -> Deed:
    """Return an action as something to do."""
    return Deed(action=action.name, says=action.title)


def undeed_of(action: Action) -> Deed:
    """Return an action as something to undo."""
    what = action.name.replace("-", " ")
    return Deed(action=action.name, says=f"connect the {what} again" if action.disconnects else f"put back the {what}")


def advised(answer: PlanAdvice) -> IsolationAdvised:
    """Return an answer as the event that keeps it."""
    step = answer.next
    return IsolationAdvised(
        job=answer.job,
        after=len(answer.seen),
        kind=step.kind,
        says=step.says,
        to_do=[deed.action for deed in step.to_do],
        to_undo=[deed.action for deed in step.to_undo],
        name=step.name,
        shares={one.cause: one.share for one in answer.ranked},
        expected_s=answer.expected_s,
    )


def ended(answer: PlanAdvice) -> IsolationEnded | None:
    """Return the end that an answer advises, as an event; None if it is not the end."""
    step = answer.next
    if step.kind != END:
        return None
    return IsolationEnded(
        job=answer.job, sort=step.sort, causes=step.causes, probability=round(step.probability, 6), says=step.says
    )


def stats_of(plan: FamilyPlan, jobs: Mapping[str, Job], events: Iterable[Happened]) -> FamilyStats:
    """Return what the shop has seen of a family: its jobs, and the times of the isolations' events."""
    own = [job for job in jobs.values() if job.family == plan.family]
    found = teaching(plan, own)
    before, after = prior(plan).share, prior(learned_plan(plan, own)).share
    isolations_s = _isolations_s({job.name for job in own}, events)
    finished = [job for job in own if job.ended is not None]
    causes = sorted(plan.causes, key=lambda cause: -after[cause.name])
    return FamilyStats(
        family=plan.family,
        closed=sum(job.closed is not None for job in own),
        taught=len(found),
        two_causes=sum(len(causes) > 1 for causes in found),
        isolation_s=statistics.median(isolations_s) if isolations_s else None,
        observations=statistics.median(len(job.observations) for job in finished) if finished else None,
        causes=[
            CauseStats(
                cause=cause.name,
                says=cause.title,
                jobs=sum(cause.name in causes for causes in found),
                stated=round(before[cause.name], 6),
                learned=round(after[cause.name], 6),
            )
            for cause in causes
        ],
    )


def _isolations_s(jobs: set[str], events: Iterable[Happened]) -> list[float]:
    """Return how long each isolation took from its first observation to its last end."""
    begun: dict[str, datetime] = {}
    took_s: dict[str, float] = {}
    for data, time, _, _ in events:
        if isinstance(data, IsolationObserved) and data.job in jobs:
            begun.setdefault(data.job, datetime.fromisoformat(time))
        elif isinstance(data, IsolationEnded) and data.job in begun:
            took_s[data.job] = (datetime.fromisoformat(time) - begun[data.job]).total_seconds()
    return list(took_s.values())
