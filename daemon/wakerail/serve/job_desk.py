"""Jobs opened, noted and closed by request. What happens to a job is durable before the request is answered."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Generic, NamedTuple, TypeVar

import msgspec

from wakerail.bench import Bench
from wakerail.bus import Requests
from wakerail.family_plans import load_family_plans
from wakerail.jobs import Job, JobBook, JobState
from wakerail.jobs.names import name_of, next_name
from wakerail.jobs.telling import short, whole
from wakerail.journal import JournalReader
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.event_data import EventData
from wakerail_kit.hints import nearest
from wakerail_kit.job_events import (
    Intake,
    JobClosed,
    JobNoted,
    JobOpened,
    JobPartUsed,
    JobPaused,
    JobResumed,
    JobStageEntered,
    Resolution,
)
from wakerail_kit.job_requests import (
    CloseJob,
    EnterStage,
    ListJobs,
    NoteJob,
    OpenJob,
    PauseJob,
    ResumeJob,
    ShowJob,
)

_T = TypeVar("_T")
_MOST_CAUSES = 2


class Decided(NamedTuple, Generic[_T]):
    """What is to be kept of a job, decided by what the journal holds, and what is answered then."""

    job: str
    events: Sequence[EventData]
    answer: _T


def workable(book: JobBook, which: str) -> Job:
    """Return a job that may be worked on. Raises ConfigInvalid, in one line, if it is unknown or closed."""
    job = book.job(which)
    if job.state is JobState.CLOSED:
        raise ConfigInvalid(f"job {job.name} is closed; `wakerail job resume {job.name}` opens it again")
    return job


class JobDesk:
    """Answers the requests about jobs. ``devices`` is the folder of device families with their plans.

    Who writes to a job holds ``turn``: within this daemon one waits for the other. Between the benches of a journal
    nobody waits; see ``keep``.
    """

    def __init__(self, bench: Bench, journal: str, devices: Path) -> None:
        self._bench = bench
        self._journal = journal
        self._devices = devices
        self.turn = asyncio.Lock()

    def handle(self, requests: Requests) -> None:
        """Answer the bench's requests."""
        requests.handle("job-open", self._open)
        requests.handle("job-note", self._note)
        requests.handle("job-stage", self._stage)
        requests.handle("job-pause", self._pause)
        requests.handle("job-resume", self._resume)
        requests.handle("job-close", self._close)
        requests.handle("job-list", self._list)
        requests.handle("job-show", self._show)

    async def workable(self, which: str) -> Job:
        """Return a job that may be worked on. Raises ConfigInvalid, in one line, if it is unknown or closed."""
        return await self.read(lambda reader: workable(JobBook(reader), which))

    # --- opening and closing ---

    async def _open(self, args: OpenJob) -> dict[str, Any]:
        if args.family not in self._bench.families:
            raise ConfigInvalid(f"no device family {args.family!r}; {nearest(args.family, self._bench.families)}")
        if not args.symptom.strip():
            raise ConfigInvalid("symptom: is empty; say what the device does, in words of your own")
        intake = msgspec.convert(args, Intake, from_attributes=True)
        async with self.turn:
            while True:
                name = (
                    name_of(args.ticket)
                    if args.ticket.strip()
                    else next_name(await self.read(lambda reader: JobBook(reader).names()))
                )
                data = JobOpened(job=name, family=args.family, intake=intake, operator=args.operator)
                if await self._bench.record_opening(data) is not None:
                    return {"job": name}
                if args.ticket.strip():
                    says = f"there is a job {name} already; `wakerail job show {name}` tells of it"
                    raise ConfigInvalid(f"{says}, and `wakerail job resume {name}` opens a closed one again")

    async def _close(self, args: CloseJob) -> dict[str, Any]:
        def closed(job: Job) -> list[EventData]:
            if args.causes:
                self._check_causes(job, args)
            says, operator = args.says.strip(), args.operator
            return [
                JobClosed(job=job.name, resolution=args.resolution, causes=args.causes, says=says, operator=operator)
            ]

        return await self._kept(args.job, closed)

    def _check_causes(self, job: Job, args: CloseJob) -> None:
        if args.resolution is Resolution.NO_FAULT_FOUND:
            raise ConfigInvalid(f"{args.resolution} names no cause; leave the causes out, or close it otherwise")
        plan = load_family_plans(self._devices).get(job.family)
        if plan is None:
            raise ConfigInvalid(f"family {job.family} has no plan, so no causes to name; say it in words (`says`)")
        for cause in args.causes:
            if cause not in plan.cause:
                raise ConfigInvalid(f"{cause!r} is no cause of {job.family}; {nearest(cause, plan.cause)}")
        if len(set(args.causes)) < len(args.causes):
            raise ConfigInvalid("causes: one is named twice; name each once")
        if len(args.causes) > _MOST_CAUSES:
            raise ConfigInvalid(
                f"causes: {len(args.causes)} are named, and plans learn from one or two; name the two that count, "
                "and the others in words (`says`)"
            )

    async def _pause(self, args: PauseJob) -> dict[str, Any]:
        def paused(job: Job) -> list[EventData]:
            if job.state is JobState.PAUSED:
                raise ConfigInvalid(f"job {job.name} is paused already; `wakerail job resume {job.name}` goes on")
            return [JobPaused(job=job.name, why=args.why.strip(), operator=args.operator)]

        return await self._kept(args.job, paused)

    async def _resume(self, args: ResumeJob) -> dict[str, Any]:
        def resumed(reader: JournalReader) -> Decided[str]:
            job = JobBook(reader).job(args.job)
            if job.state is JobState.OPEN and job.bench == self._bench.name:
                raise ConfigInvalid(f"job {job.name} is open on {job.bench} already; nothing is to be resumed")
            return Decided(job.name, [JobResumed(job=job.name, operator=args.operator)], job.name)

        return _answer(*await self.keep(resumed))

    # --- while it is worked on ---

    async def _stage(self, args: EnterStage) -> dict[str, Any]:
        return await self._kept(
            args.job, lambda job: [JobStageEntered(job=job.name, stage=args.stage, operator=args.operator)]
        )

    async def _note(self, args: NoteJob) -> dict[str, Any]:
        text, part = args.text.strip(), args.part.strip()
        if not text and not part and args.spent_s is None:
            raise ConfigInvalid("nothing to note; give a text, the time that it took, or a part that was used")

        def noted(job: Job) -> list[EventData]:
            common: dict[str, Any] = {"job": job.name, "stage": args.stage or job.stage, "operator": args.operator}
            events: list[EventData] = [JobPartUsed(part=part, count=args.count, **common)] if part else []
            if text or args.spent_s is not None:
                events.append(JobNoted(text=text, spent_s=args.spent_s, **common))
            return events

        return await self._kept(args.job, noted)

    # --- looking ---

    async def _list(self, args: ListJobs) -> list[dict[str, Any]]:
        states = [state.value for state in JobState]
        if args.state and args.state not in states:
            raise ConfigInvalid(f"no job is {args.state!r}; {nearest(args.state, states, 'states: ')}")
        state = JobState(args.state) if args.state else None
        return [short(job) for job in await self.read(lambda reader: JobBook(reader).jobs(state=state))]

    async def _show(self, args: ShowJob) -> dict[str, Any]:
        def read(reader: JournalReader) -> dict[str, Any]:
            book = JobBook(reader)
            job = book.job(args.job)
            return whole(job, book.runs_of(job.name))

        return await self.read(read)

    # --- how it is done ---

    async def keep(self, decide: Callable[[JournalReader], Decided[_T]]) -> tuple[list[int], _T]:
        """Keep and announce what is decided to have happened to a job; return its rows and the answer.

        It is decided in a thread by what the journal holds, and anew if another bench of the same journal wrote of the
        job meanwhile: no job is closed twice, and nothing is numbered alike.
        """
        async with self.turn:
            while True:
                seen, decided = await self.read(lambda reader: (reader.last_row(), decide(reader)))
                kept = await self._bench.record_job(decided.job, decided.events, after=seen)
                if kept is not None:
                    return [one.row for one in kept], decided.answer

    async def _kept(self, which: str, happened: Callable[[Job], list[EventData]]) -> dict[str, Any]:
        """Keep what happens to a job that may be worked on; return the answer."""

        def decide(reader: JournalReader) -> Decided[str]:
            job = workable(JobBook(reader), which)
            return Decided(job.name, happened(job), job.name)

        return _answer(*await self.keep(decide))

    async def read(self, what: Callable[[JournalReader], _T]) -> _T:
        """Ask the journal something, in a thread, so that the event loop never waits for it."""

        def read() -> _T:
            with JournalReader(self._journal) as reader:
                return what(reader)

        return await asyncio.to_thread(read)


def _answer(rows: list[int], job: str) -> dict[str, Any]:
    return {"job": job, "row": rows[-1]}
