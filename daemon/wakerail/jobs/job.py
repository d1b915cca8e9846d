"""A job as its events tell it: a fold over them in their order, and nothing else."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import singledispatch
from typing import NamedTuple

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


class Happened(NamedTuple):
    """An event of a job: what it says, when (RFC 3339) and on which bench it was kept, and its row in the journal."""

    data: EventData
    time: str
    bench: str
    row: int


Kept = JobNoted | JobPartUsed | JobFileKept | JobStageEntered | JobPaused | JobResumed


@dataclass(frozen=True, slots=True)
class NoteKept:
    """Something of a job that a person noted or kept, with its time (RFC 3339), bench and row in the journal."""

    time: str
    bench: str
    row: int
    what: Kept


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
    closed_row: int = 0
    forgotten: bool = False
    last_number: int = 0

    @property
    def spent_s(self) -> float:
        """The time that was noted, in all."""
        return sum(note.what.spent_s or 0.0 for note in self.kept if isinstance(note.what, JobNoted))


def fold(events: Iterable[Happened]) -> dict[str, Job]:
    """Return the jobs that these events, oldest first, tell; by name.

    What is no event of a job is passed over, and so is what belongs to a job that was never opened. A job is opened
    once: of two openings with one name the first counts.
    """
    drafts: dict[str, _Draft] = {}
    for happened in events:
        data = happened.data
        if isinstance(data, JobOpened):
            drafts.setdefault(data.job, _Draft(data, happened))
        elif (draft := drafts.get(getattr(data, "job", None) or "")) is not None:
            _take(data, draft, happened)
    return {name: draft.job() for name, draft in drafts.items()}


class _Draft:
    """A job while its events are gone through."""

    def __init__(self, opened: JobOpened, happened: Happened) -> None:
        self.opened = opened
        self.opened_at = happened.time
        self.bench = happened.bench
        self.state = JobState.OPEN
        self.stage = JobStage.INTAKE
        self.kept: list[NoteKept] = []
        self.observations: list[IsolationObserved] = []
        self.advice: list[IsolationAdvised] = []
        self.ended: IsolationEnded | None = None
        self.closed: tuple[JobClosed, Happened] | None = None
        self.forgotten = False
        self.last_number = 0

    def keep(self, what: Kept, happened: Happened) -> None:
        """Take something that a person noted or kept."""
        self.kept.append(NoteKept(happened.time, happened.bench, happened.row, what))

    def job(self) -> Job:
        """Return the job as it is by now."""
        return Job(
            name=self.opened.job,
            family=self.opened.family,
            intake=self.opened.intake,
            opened=self.opened_at,
            bench=self.bench,
            operator=self.opened.operator,
            state=self.state,
            stage=self.stage,
            kept=tuple(self.kept),
            observations=tuple(self.observations),
            advice=tuple(self.advice),
            ended=self.ended,
            closed=self.closed[0] if self.closed else None,
            closed_at=self.closed[1].time if self.closed else None,
            closed_row=self.closed[1].row if self.closed else 0,
            forgotten=self.forgotten,
            last_number=self.last_number,
        )


@singledispatch
def _take(data: EventData, draft: _Draft, happened: Happened) -> None:
    """Let a draft be as it is after an event."""


@_take.register(JobNoted)
@_take.register(JobPartUsed)
@_take.register(JobFileKept)
def _(data: JobNoted | JobPartUsed | JobFileKept, draft: _Draft, happened: Happened) -> None:
    draft.keep(data, happened)


@_take.register
def _(data: JobStageEntered, draft: _Draft, happened: Happened) -> None:
    draft.stage = data.stage
    draft.keep(data, happened)


@_take.register
def _(data: JobPaused, draft: _Draft, happened: Happened) -> None:
    draft.state = JobState.PAUSED
    draft.keep(data, happened)


@_take.register
def _(data: JobResumed, draft: _Draft, happened: Happened) -> None:
    draft.state, draft.bench, draft.closed = JobState.OPEN, happened.bench, None
    draft.keep(data, happened)


@_take.register
def _(data: JobClosed, draft: _Draft, happened: Happened) -> None:
    draft.state, draft.closed = JobState.CLOSED, (data, happened)


@_take.register
def _(data: JobForgotten, draft: _Draft, happened: Happened) -> None:  # noqa: ARG001
    draft.forgotten = True


@_take.register
def _(data: IsolationAdvised, draft: _Draft, happened: Happened) -> None:  # noqa: ARG001
    draft.advice.append(data)


@_take.register
def _(data: IsolationObserved, draft: _Draft, happened: Happened) -> None:  # noqa: ARG001
    draft.observations.append(data)
    draft.last_number, draft.ended = max(draft.last_number, data.number), None


@_take.register
def _(data: IsolationUndone, draft: _Draft, happened: Happened) -> None:  # noqa: ARG001
    draft.observations = [one for one in draft.observations if one.number != data.number]
    draft.ended = None


@_take.register
def _(data: IsolationEnded, draft: _Draft, happened: Happened) -> None:  # noqa: ARG001
    draft.ended = data
