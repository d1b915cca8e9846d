"""The isolation of a job's cause by request. What was advised and seen is durable before the request is answered."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import msgspec

from wakerail.bus import Requests
from wakerail.jobs import JobBook
from wakerail.journal import JournalReader
from wakerail.serve.job_desk import Decided, JobDesk, workable
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

    It keeps what happens through the desk for ``jobs``: none is closed, and nothing numbered, while an observation is.
    """

    def __init__(self, devices: Path, jobs: JobDesk) -> None:
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
        _, answer = await self._jobs.keep(lambda reader: _advised(self._isolations(reader), args))
        return answer

    async def _observe(self, args: PlanObserve) -> PlanObserved:
        if bool(args.said) == bool(args.run):
            raise ConfigInvalid("tell either what was `said` to be seen, or the `run` that saw it")
        _, answer = await self._jobs.keep(lambda reader: _observed(self._isolations(reader), args))
        return answer

    async def _undo(self, args: PlanUndo) -> PlanObserved:
        _, answer = await self._jobs.keep(lambda reader: _undone(reader, args))
        return answer

    async def _what_if(self, args: PlanWhatIf) -> PlanAdvice:
        return (await self._read(lambda isolations: isolations.advice(args.job, args.boots, args.seen)))[0]

    async def _stats(self, args: PlanStats) -> list[FamilyStats]:
        return await self._read(lambda isolations: isolations.stats(args.family))

    async def _read(self, what: Callable[[Isolations], _T]) -> _T:
        """Read and reckon in a thread, so that the event loop waits for neither."""
        return await self._jobs.read(lambda reader: what(self._isolations(reader)))

    def _isolations(self, reader: JournalReader) -> Isolations:
        from wakerail.serve.isolations import Isolations  # noqa: PLC0415

        return Isolations(reader, self._devices)


def _advised(isolations: Isolations, args: PlanAdvise) -> Decided[PlanAdvice]:
    """Return advice, and the events that keep it as far as they are new."""
    from wakerail.jobs.plan_answers import advised, ended  # noqa: PLC0415

    name = workable(JobBook(isolations.reader), args.job).name
    answer, found = isolations.advice(name, args.boots)
    advice, end = advised(answer), ended(answer)
    events: list[EventData] = [] if found.advice and found.advice[-1] == advice else [advice]
    if end is not None and found.ended != end:
        events.append(end)
    return Decided(name, events, answer)


def _observed(isolations: Isolations, args: PlanObserve) -> Decided[PlanObserved]:
    """Return the events of what was seen, each of which can be, and what it is worth."""
    job = workable(JobBook(isolations.reader), args.job)
    seen, says = _seen(isolations, job.name, args)
    events: list[EventData] = [*seen]
    if seen and job.stage in {JobStage.INTAKE, JobStage.TRIAGE}:
        events.insert(0, JobStageEntered(job=job.name, stage=JobStage.ISOLATE, operator=args.operator))
    shown = next((one.certainty >= 0.5 for one in seen if one.kind == "boot"), None)
    return Decided(job.name, events, PlanObserved(numbers=[one.number for one in seen], says=says, shown=shown))


def _seen(isolations: Isolations, job: str, args: PlanObserve) -> tuple[list[IsolationObserved], str]:
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


def _undone(reader: JournalReader, args: PlanUndo) -> Decided[PlanObserved]:
    from wakerail.jobs.isolation import to_undo  # noqa: PLC0415

    job = workable(JobBook(reader), args.job)
    wrong = to_undo(job, args.number)
    says = f"Observation {wrong.number} counts no more: {wrong.says}"
    undone = IsolationUndone(job=job.name, number=wrong.number, operator=args.operator)
    return Decided(job.name, [undone], PlanObserved(numbers=[wrong.number], says=says))
