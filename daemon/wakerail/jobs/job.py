"""A job as its events tell it: a fold over them in their order, and nothing else."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import singledispatch

from wakerail_kit.event_data import EventData
from wakerail_kit.job_events import (
    Intake,
    IsolationAdvised,
    IsolationEnded,
    IsolationObserved,
    IsolationUndone,
    JobClosed,
    JobFileKept,
    JobForgotten,
    JobNoted,
    JobOpened,
    JobPartUsed,
    JobPaused,
    JobResumed,
    JobStage,
    JobStageEntered,
)


class JobState(StrEnum):
    """Whether a job is worked on."""

    OPEN = "open"
    PAUSED = "paused"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class NoteKept:
    """Something of a job that a person noted or kept, with the time (RFC 3339) and the bench where they did."""

    time: str
    bench: str
    what: JobNoted | JobPartUsed | JobFileKept | JobStageEntered | JobPaused | JobResumed


@dataclass(frozen=True, slots=True)
class Job:
    """A device on the bench. Times are RFC 3339 in UTC.

    ``kept`` is what persons noted, oldest first. ``observations`` are those of the isolation that count, and ``advice``
    all that was advised; ``ended`` is how the isolation ended, ``closed`` how the job did; None: not yet.
    """

    name: str
    family: str
    intake: Intake
    opened: str
    bench: str
    operator: str = ""
    state: JobState = JobState.OPEN
    stage: JobStage = JobStage.INTAKE
    kept: tuple[NoteKept, ...] = ()
    observations: tuple[IsolationObserved, ...] = ()
    advice: tuple[IsolationAdvised, ...] = ()
    ended: IsolationEnded | None = None
    closed: JobClosed | None = None
    closed_at: str | None = None
    forgotten: bool = False
    last_number: int = 0

    @property
    def spent_s(self) -> float:
        """The time that was noted, in all."""
        return sum(note.what.spent_s or 0.0 for note in self.kept if isinstance(note.what, JobNoted))


def fold(events: Iterable[tuple[EventData, str, str]]) -> dict[str, Job]:
    """Return the jobs that these events tell, by name; each event comes with its time and its bench, oldest first.

    What is no event of a job is passed over, and so is what belongs to a job that was never opened. A job is opened
    once: of two openings with one name the first counts.
    """
    jobs: dict[str, Job] = {}
    for data, time, bench in events:
        if isinstance(data, JobOpened):
            jobs.setdefault(data.job, Job(data.job, data.family, data.intake, time, bench, data.operator))
        elif (job := jobs.get(getattr(data, "job", None) or "")) is not None:
            jobs[job.name] = _after(data, job, time, bench)
    return jobs


@singledispatch
def _after(data: EventData, job: Job, time: str, bench: str) -> Job:  # noqa: ARG001
    """Return the job after an event."""
    return job


@_after.register(JobNoted)
@_after.register(JobPartUsed)
@_after.register(JobFileKept)
def _(data: JobNoted | JobPartUsed | JobFileKept, job: Job, time: str, bench: str) -> Job:
    return replace(job, kept=(*job.kept, NoteKept(time, bench, data)))


@_after.register
def _(data: JobStageEntered, job: Job, time: str, bench: str) -> Job:
    return replace(job, stage=data.stage, kept=(*job.kept, NoteKept(time, bench, data)))


@_after.register
def _(data: JobPaused, job: Job, time: str, bench: str) -> Job:
    return replace(job, state=JobState.PAUSED, kept=(*job.kept, NoteKept(time, bench, data)))


@_after.register
def _(data: JobResumed, job: Job, time: str, bench: str) -> Job:
    kept = (*job.kept, NoteKept(time, bench, data))
    return replace(job, state=JobState.OPEN, kept=kept, bench=bench, closed=None, closed_at=None)


@_after.register
def _(data: JobClosed, job: Job, time: str, bench: str) -> Job:  # noqa: ARG001
    return replace(job, state=JobState.CLOSED, closed=data, closed_at=time)


@_after.register
def _(data: JobForgotten, job: Job, time: str, bench: str) -> Job:  # noqa: ARG001
    return replace(job, forgotten=True)


@_after.register
def _(data: IsolationAdvised, job: Job, time: str, bench: str) -> Job:  # noqa: ARG001
    return replace(job, advice=(*job.advice, data))


@_after.register
def _(data: IsolationObserved, job: Job, time: str, bench: str) -> Job:  # noqa: ARG001
    last = max(job.last_number, data.number)
    return replace(job, observations=(*job.observations, data), last_number=last, ended=None)


@_after.register
def _(data: IsolationUndone, job: Job, time: str, bench: str) -> Job:  # noqa: ARG001
    left = tuple(one for one in job.observations if one.number != data.number)
    return replace(job, observations=left, ended=None)


@_after.register
def _(data: IsolationEnded, job: Job, time: str, bench: str) -> Job:  # noqa: ARG001
    return replace(job, ended=data)
