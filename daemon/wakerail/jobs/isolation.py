"""The isolation of a job's cause: its observations as a course of planning, and what closed jobs teach its plan.

Pure: a job and a family's plan go in. The journal is the state; whoever has the job's events goes on where it stood.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import msgspec

from wakerail.jobs.job import Job
from wakerail.planning.course import Course, check, words
from wakerail.planning.learning import learned
from wakerail.planning.model import FamilyPlan
from wakerail.planning.observations import BootWatched, CheckSeen, Observation, SignSeen
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.job_events import IsolationObserved, Resolution

BOOT, CHECK, SIGN = "boot", "check", "sign"
_AS_IS_FEARED = 0.5


@dataclass(frozen=True, slots=True)
class Isolation:
    """A job's isolation as far as it has come. ``seen`` are the events behind the course's observations, in order."""

    job: Job
    course: Course
    seen: tuple[IsolationObserved, ...] = ()

    @property
    def plan(self) -> FamilyPlan:
        """The family's plan as the shop has learned it."""
        return self.course.plan

    def with_seen(self, observation: Observation, *, operator: str = "") -> Isolation:
        """Return it with one more observation, as an event in the plan's words.

        Raises ConfigInvalid, in one line, for one that cannot be.
        """
        if (kept := self._counts_once(observation)) is not None:
            raise ConfigInvalid(f"the {kept.name} counts already, as observation {kept.number}; undo that one first")
        course = self.course.seen(observation)
        number = max([self.job.last_number, *(one.number for one in self.seen)]) + 1
        event = observed(self.job.name, number, observation, operator=operator)
        said = told(course.plan, event)
        event = msgspec.structs.replace(event, says=f"{said[:1].upper()}{said[1:]}.")
        return Isolation(self.job, course, (*self.seen, event))

    def _counts_once(self, observation: Observation) -> IsolationObserved | None:
        """Return the event that tells the same check or sign already: the same evidence does not count twice."""
        kind, name = _told_once(observation)
        return next((one for one in self.seen if name and (one.kind, one.name) == (kind, name)), None)


def _told_once(observation: Observation) -> tuple[str, str]:
    if isinstance(observation, CheckSeen):
        return CHECK, observation.check
    return (SIGN, observation.sign) if isinstance(observation, SignSeen) else (BOOT, "")


def to_undo(job: Job, number: int | None) -> IsolationObserved:
    """Return the observation of a job that has this number and counts, the newest if none is named.

    It needs no plan: what the plan no longer knows, or what contradicts the rest, can be undone. Raises ConfigInvalid.
    """
    if not job.observations:
        raise ConfigInvalid(f"job {job.name} has no observation that counts; there is nothing to undo")
    if number is None:
        return job.observations[-1]
    there = {one.number: one for one in job.observations}
    if number not in there:
        raise ConfigInvalid(
            f"job {job.name} has no observation {number} that counts; there are {', '.join(map(str, there))}"
        )
    return there[number]


def isolation_of(job: Job, plan: FamilyPlan, jobs: Iterable[Job], *, boots: int = 1) -> Isolation:
    """Return the isolation of a job by its family's plan, as learned from the other ``jobs``.

    ``boots``: how many boots each try shall have; every one that was watched counts by itself. Raises ConfigInvalid for
    an observation that the plan does not know (any more), or that contradicts the others; its number is said.
    """
    known = learned_plan(plan, (other for other in jobs if other.name != job.name)).watched_in_boots(boots)
    if boots > 1:  # whoever asks for that knows that it comes and goes, or fears it
        watching = replace(known.watching, comes_and_goes=max(known.watching.comes_and_goes, _AS_IS_FEARED))
        known = replace(known, watching=watching)
    for event in job.observations:
        try:
            check(known, observation_of(event))
        except ConfigInvalid as wrong:
            raise ConfigInvalid(f"job {job.name}, observation {event.number}: {'; '.join(wrong.problems)}") from None
    course = Course(
        known,
        tuple(observation_of(event) for event in job.observations),
        tuple(event.number for event in job.observations),
    )
    _ = course.belief
    return Isolation(job, course, job.observations)


def observation_of(event: IsolationObserved) -> Observation:
    """Return what an event says was seen."""
    if event.kind == SIGN:
        return SignSeen(event.name)
    if event.kind == CHECK:
        return CheckSeen(event.name, event.certainty)
    return BootWatched(frozenset(event.done), event.certainty, event.interval_s, boots=1)


def observed(
    job: str, number: int, observation: Observation, *, says: str = "", operator: str = ""
) -> IsolationObserved:
    """Return an observation as an event."""
    kind, name, done, certainty, interval_s = BOOT, "", frozenset[str](), 1.0, None
    if isinstance(observation, SignSeen):
        kind, name = SIGN, observation.sign
    elif isinstance(observation, CheckSeen):
        kind, name, certainty = CHECK, observation.check, observation.failed
    else:
        done, certainty, interval_s = observation.done, observation.shown, observation.interval_s
    return IsolationObserved(
        job=job,
        number=number,
        kind=kind,
        name=name,
        done=sorted(done),
        certainty=round(certainty, 4),
        interval_s=interval_s,
        says=says,
        operator=operator,
    )


def told(plan: FamilyPlan, event: IsolationObserved) -> str:
    """Return an observation in the words of the plan, with its time from boot to boot and how sure it is."""
    observation = observation_of(event)
    says = words(plan, observation)
    if isinstance(observation, BootWatched):
        if observation.interval_s is not None:
            says += f", every {observation.interval_s:.3g} s"
        sure = max(observation.shown, 1.0 - observation.shown)
        if sure < 0.995:
            says += f", {round(100 * sure)} % sure"
    return says


def learned_plan(plan: FamilyPlan, jobs: Iterable[Job]) -> FamilyPlan:
    """Return the plan as the closed jobs of its family among ``jobs`` have taught it."""
    return learned(plan, teaching(plan, jobs))


def teaching(plan: FamilyPlan, jobs: Iterable[Job]) -> Sequence[frozenset[str]]:
    """Return the causes of each job that teaches: closed, with one cause or two found that the plan (still) knows.

    A job that was forgotten teaches as before; causes are nothing personal. One that found no fault teaches nothing,
    and neither does one that named none.
    """
    found = []
    for job in jobs:
        if job.family != plan.family or job.closed is None or job.closed.resolution is Resolution.NO_FAULT_FOUND:
            continue
        causes = frozenset(job.closed.causes)
        if 1 <= len(causes) <= 2 and causes <= plan.cause.keys():
            found.append(causes)
    return found
