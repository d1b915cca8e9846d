"""The record of a run: its own events in the journal, and the results of its steps for the verdict."""

from __future__ import annotations

from collections.abc import Coroutine
from dataclasses import dataclass
from typing import Any, TypeVar

import structlog

from wakerail.sequences.access import Bench, Recorded
from wakerail.sequences.endings import RunEnded, bench_fault
from wakerail.sequences.model import Step
from wakerail.sequences.plan import Plan
from wakerail.sequences.steps.action import StepOutput, evidence_of
from wakerail.sequences.timing import within
from wakerail.sequences.verdict import Results
from wakerail_kit.clock import rfc3339
from wakerail_kit.events import EventData, StepFinished, StepStarted
from wakerail_kit.messages import StepResult, Verdict

#: What the journal gets to take one event; a run without a record is no run.
EVENT_LIMIT_S = 5.0
VERDICT_LIMIT_S = 30.0

_T = TypeVar("_T")
log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class _OpenStep:
    number: int
    step: Step
    title: str
    started: str
    at_s: float


class RunRecord:
    """What is kept of a run while it lasts."""

    def __init__(self, bench: Bench, run: str, plan: Plan) -> None:
        self.run = run
        self.results = Results()
        self._bench = bench
        self._values = plan.values
        self._open: _OpenStep | None = None
        self._closing = False
        self._down = False

    @property
    def number(self) -> int:
        """The number of the step in hand, 0 between steps."""
        return self._open.number if self._open is not None else 0

    def begin_closing(self) -> None:
        """From now on an event that cannot be recorded is logged: it must not keep the bench from being made safe."""
        self._closing = True

    async def event(self, data: EventData) -> Recorded:
        """Record one of the run's own events. Raises RunEnded if that cannot be done."""
        return await self.keep(self._bench.record(data, owner="sequence", run=self.run))

    async def keep(self, work: Coroutine[Any, Any, _T]) -> _T:
        """Do some recording, within its time. Raises RunEnded if that cannot be done."""
        try:
            return await within(self._bench.clock, EVENT_LIMIT_S, work, "the journal")
        except Exception as wrong:
            raise RunEnded(bench_fault(f"the run could not be recorded: {wrong}")) from wrong

    async def event_while_closing(self, data: EventData) -> Recorded | None:
        """Record an event if the journal takes it; after one failure no more are tried."""
        if self._down:
            return None
        try:
            return await self.event(data)
        except RunEnded as wrong:
            self._down = True
            log.error("event is not in the journal", run=self.run, type=type(data).__name__, why=str(wrong))
            return None

    async def verdict(self, verdict: Verdict) -> None:
        """Make the verdict durable. Raises what the journal raised, or DeviceUnavailable if it took too long."""
        work = self._bench.record_verdict(verdict)
        await within(self._bench.clock, VERDICT_LIMIT_S, work, "recording the verdict")

    def skip(self, number: int, step: Step, why: str) -> None:
        """Note a step that is not done."""
        title = step.words(self._values)
        self.results.add(StepResult(number=number, verb=step.action.verb, title=title, outcome=None, says=why))

    async def start(self, number: int, step: Step) -> None:
        """Note that a step begins."""
        clock = self._bench.clock
        self._open = _OpenStep(number, step, step.words(self._values), rfc3339(clock.now()), clock.monotonic_s())
        await self._tell(
            StepStarted(
                run=self.run,
                number=number,
                verb=step.action.verb,
                title=self._open.title,
                at_s=self._open.at_s,
                duration_s=step.action.duration_s(self._values),
            )
        )

    async def finish(self, output: StepOutput) -> None:
        """Note how the step in hand ended; a check that did not pass is itself evidence."""
        opened = self._open
        if opened is None:
            return
        self._open = None
        result = StepResult(
            number=opened.number,
            verb=opened.step.action.verb,
            title=opened.title,
            outcome=output.outcome,
            finding=output.finding,
            says=output.says,
            started=opened.started,
            duration_s=self._bench.clock.monotonic_s() - opened.at_s,
        )
        self.results.add(result, output)
        recorded = await self._tell(
            StepFinished(
                run=self.run,
                number=opened.number,
                verb=opened.step.action.verb,
                title=opened.title,
                outcome=output.outcome,
                finding=output.finding,
                says=output.says,
                measurements=list(output.measurements),
            )
        )
        if recorded is not None and opened.step.action.checks and output.says:
            self.results.evidence.append(evidence_of(recorded.event, recorded.row, output.says))

    async def _tell(self, data: EventData) -> Recorded | None:
        return await (self.event_while_closing(data) if self._closing else self.event(data))
