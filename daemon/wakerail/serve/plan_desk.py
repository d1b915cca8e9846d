"""The isolation of a job's cause by request. What was advised and seen is durable before the request is answered."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import msgspec

from wakerail.bench import Bench
from wakerail.bus import Requests
from wakerail.journal import JournalReader
from wakerail.serve.job_desk import JobDesk
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.event_data import EventData
from wakerail_kit.job_events import IsolationObserved, IsolationUndone, JobStage, JobStageEntered
from wakerail_kit.plan_requests import (
    FamilyStats,
    PlanAdvice,
    PlanAdvise,
    PlanObserve,
    PlanObserved,
    PlanStats,
    PlanUndo,
    PlanWhatIf,
)

if TYPE_CHECKING:  # what reckons is not needed to be ready
    from wakerail.serve.isolations import Isolations

_T = TypeVar("_T")


class PlanDesk:
    """Answers the requests about isolations. ``devices`` is where the families' plans are.

    It shares the turn of the desk for ``jobs``: no job is closed, and nothing else numbered, while an observation is.
    """

    def __init__(self, bench: Bench, journal: str, devices: Path, jobs: JobDesk) -> None:
        self._bench = bench
        self._journal = journal
        self._devices = devices
        self._jobs = jobs

    def handle(self, requests: Requests) -> None:
        """Answer the bench's requests."""
        requests.handle("plan-advise", self._advise)
        requests.handle("plan-observe", self._observe)
        requests.handle("plan-undo", self._undo)
        requests.handle("plan-whatif", self._what_if)
        requests.handle("plan-stats", self._stats)

    async def _advise(self, args: PlanAdvise) -> PlanAdvice:
        async with self._jobs.turn:
            name = (await self._jobs.workable(args.job)).name
            answer, events = await self._read(lambda isolations: _advised(isolations, name, args.boots))
            for event in events:
                await self._bench.record_job(name, event)
            return answer

    async def _observe(self, args: PlanObserve) -> PlanObserved:
        if bool(args.said) == bool(args.run):
            raise ConfigInvalid("tell either what was `said` to be seen, or the `run` that saw it")
        async with self._jobs.turn:
            job = await self._jobs.workable(args.job)
            name = job.name
            events, says = await self._read(lambda isolations: _observed(isolations, name, args))
            if events and job.stage in {JobStage.INTAKE, JobStage.TRIAGE}:
                entered = JobStageEntered(job=name, stage=JobStage.ISOLATE, operator=args.operator)
                await self._bench.record_job(name, entered)
            for event in events:
                await self._bench.record_job(name, event, run=event.run)
            shown = next((one.certainty >= 0.5 for one in events if one.kind == "boot"), None)
            return PlanObserved(numbers=[one.number for one in events], says=says, shown=shown)

    async def _undo(self, args: PlanUndo) -> PlanObserved:
        async with self._jobs.turn:
            name = (await self._jobs.workable(args.job)).name
            event, says = await self._read(lambda isolations: _undone(isolations, name, args))
            await self._bench.record_job(name, event)
            return PlanObserved(numbers=[event.number], says=says)

    async def _what_if(self, args: PlanWhatIf) -> PlanAdvice:
        return (await self._read(lambda isolations: isolations.advice(args.job, args.boots, args.seen)))[0]

    async def _stats(self, args: PlanStats) -> list[FamilyStats]:
        return await self._read(lambda isolations: isolations.stats(args.family))

    async def _read(self, what: Callable[[Isolations], _T]) -> _T:
        """Read and reckon in a thread, so that the event loop waits for neither."""

        def read() -> _T:
            from wakerail.serve.isolations import Isolations  # noqa: PLC0415

            with JournalReader(self._journal) as reader:
                return what(Isolations(reader, self._devices))

        return await asyncio.to_thread(read)


def _advised(isolations: Isolations, job: str, boots: int) -> tuple[PlanAdvice, list[EventData]]:
    """Return advice, and the events that keep it as far as they are new."""
    from wakerail.jobs.plan_answers import advised, ended  # noqa: PLC0415

    answer, found = isolations.advice(job, boots)
    advice, end = advised(answer), ended(answer)
    events: list[EventData] = [] if found.advice and found.advice[-1] == advice else [advice]
    if end is not None and found.ended != end:
        events.append(end)
    return answer, events


def _observed(isolations: Isolations, job: str, args: PlanObserve) -> tuple[list[IsolationObserved], str]:
    """Return the events of what was seen, each of which can be, and what it is worth."""
    from wakerail.jobs.isolation import BOOT  # noqa: PLC0415
    from wakerail.planning.said import read_observation  # noqa: PLC0415

    isolation, _ = isolations.isolation(job)
    if args.said:
        event = isolation.with_seen(read_observation(isolation.plan, args.said), operator=args.operator).seen[-1]
        return [event], event.says
    worth, run = isolations.told(isolation, args.run, args.done)
    events: list[IsolationObserved] = []
    for observation in worth.observations:
        isolation = isolation.with_seen(observation, operator=args.operator)
        event = msgspec.structs.replace(isolation.seen[-1], run=run.verdict.run)
        if event.kind == BOOT:
            says = f"{event.says} {worth.says}".strip()
            event = msgspec.structs.replace(event, name=run.verdict.finding, by_itself=worth.by_itself, says=says)
        events.append(event)
    return events, " ".join(event.says for event in events) or worth.says


def _undone(isolations: Isolations, job: str, args: PlanUndo) -> tuple[IsolationUndone, str]:
    isolation, _ = isolations.isolation(job)
    number = isolation.number_of(args.number)
    (event,) = [one for one in isolation.seen if one.number == number]
    says = f"Observation {number} counts no more: {event.says}"
    return IsolationUndone(job=job, number=number, operator=args.operator), says
