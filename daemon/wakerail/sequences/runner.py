"""Runs a plan: step by step, ready to be stopped at any moment, and never leaving anything switched on.

A run ends in this order, whatever happened: the step in hand is given up, ``finally`` is done, every instrument that
can be energised is made safe and that is verified, the verdict is made durable, and only then it is told.
"""

from __future__ import annotations

import asyncio
import functools
from collections.abc import Callable
from contextlib import ExitStack
from typing import Any

import structlog

from wakerail.analysis.cadence import CadenceRow
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail.cadence_table import load_cadence_table
from wakerail.config import shipped
from wakerail.sequences.access import Bench, History
from wakerail.sequences.arrivals import Arrivals
from wakerail.sequences.context import RunContext
from wakerail.sequences.endings import Ending, RunEnded, bench_fault, ending_of, interlock, lost, sentence, stopped
from wakerail.sequences.model import Step
from wakerail.sequences.plan import Plan
from wakerail.sequences.prompts import Prompts
from wakerail.sequences.record import RunRecord
from wakerail.sequences.steps.action import Reader, StepOutput, evidence_of
from wakerail.sequences.steps.heat import Heat
from wakerail.sequences.timing import leave_behind, outlast, within
from wakerail.sequences.verdict import assemble, with_safety
from wakerail_kit.clock import rfc3339
from wakerail_kit.errors import ConfigInvalid, DeviceRefused, DeviceUnavailable, OutOfSync
from wakerail_kit.events import (
    EventData,
    InstrumentFaulted,
    InstrumentLost,
    InterlockTripped,
    PortTested,
    RunFinished,
    RunStarted,
)
from wakerail_kit.ids import new_id
from wakerail_kit.messages import Event, InstrumentState, Verdict
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.units import human

#: What each item of ``finally`` gets, above the time that it is meant to take.
FINALLY_LIMIT_S = 10.0
#: What the bench gets to make one instrument safe.
MAKE_SAFE_LIMIT_S = 10.0

log = structlog.get_logger()


@functools.cache
def _cadence_rows() -> tuple[CadenceRow, ...]:
    """Return what the trade reads from a cadence, as shipped."""
    return load_cadence_table(shipped("cadence.yaml"))


class SequenceRun:
    """One run of a plan. ``done`` gives the verdict, or the error that kept it from being made durable.

    Build it on the event loop. ``job`` is the one it belongs to, ``history`` tells of earlier runs, ``make_reader``
    builds the boot reader of a watch.
    """

    def __init__(
        self,
        plan: Plan,
        bench: Bench,
        *,
        job: str | None = None,
        operator: str = "",
        history: History | None = None,
        make_reader: Callable[[ReaderSettings], Reader] = BootReader,
    ) -> None:
        now = bench.clock.now()
        loop = asyncio.get_running_loop()
        self.id = new_id(now)
        self.done: asyncio.Future[Verdict] = loop.create_future()
        self._plan = plan
        self._bench = bench
        self.job = job
        self._operator = operator
        self._started = rfc3339(now)
        self._start_s = bench.clock.monotonic_s()
        self._record = RunRecord(bench, self.id, plan)
        self._prompts = Prompts(bench, self._record, plan.sequence.cautions)
        self._history = history
        self._make_reader = make_reader
        self._trouble: asyncio.Future[Ending] = loop.create_future()
        self._absent = dict(plan.absent)
        self._notes = list(plan.notes)
        self._held = ExitStack()
        self._context: RunContext | None = None

    def start(self) -> asyncio.Task[None]:
        """Claim the instruments and begin. Raises DeviceRefused if another run holds one of them."""
        names = list(self._plan.roles.values())
        self._held.enter_context(self._bench.claim(self.id, names, operator=self._operator))
        arrivals = Arrivals(self._bench, names, self._hear)
        self._held.callback(arrivals.close)
        self._context = context = RunContext(
            run=self.id,
            sequence=self._plan.sequence.name,
            job=self.job,
            bench=self._bench,
            history=self._history,
            values=self._plan.values,
            names=self._plan.names,
            known_family=self._plan.family,
            arrivals=arrivals,
            make_reader=self._make_reader,
            cadence_rows=_cadence_rows(),
            roles=self._plan.roles,
            absent=self._absent,
            record=self._record,
            prompts=self._prompts,
        )
        task = asyncio.get_running_loop().create_task(self._run(context), name=f"run-{self.id}")
        task.add_done_callback(self._let_go)
        return task

    def abort(self, why: str = "stopped by a person") -> None:
        """End the run at once, safely. A run that is ending already goes on ending."""
        self._end(stopped(why))

    @property
    def heats(self) -> bool:
        """Whether it heats now."""
        return self._context is not None and self._context.heat is not None and self._context.heat.heats

    async def cool(self, operator: str = "") -> None:
        """End the heating and go on with cooling down; the heater is off when this returns.

        ``operator`` is who says so, if it is not who started the run. Raises ConfigInvalid if the run does not heat,
        and what the plate's ``apply`` raises.
        """
        if self._context is None or self._context.heat is None:
            raise ConfigInvalid(f"run {self.id} does not heat; there is nothing to cut short")
        await self._context.heat.cool(operator or self._operator)

    def answer(
        self,
        prompt_id: str,
        confirmed: bool,
        operator: str = "",
        *,
        choice: str = "",
        note: str = "",
        person: bool = True,
    ) -> None:
        """Answer the prompt that the run waits on; no ends the run. Raises ConfigInvalid for any other prompt.

        ``operator`` is who answers, if it is not who started the run; ``note`` is kept as evidence; ``choice`` is
        the answer to a question; ``person`` is false where nobody stood there.
        """
        who = operator or self._operator
        self._prompts.answer(prompt_id, confirmed, who, choice=choice, note=note, person=person)

    # --- the steps ---

    async def _run(self, context: RunContext) -> None:
        cancelled = False
        try:
            ending = await self._do_steps(context)
        except asyncio.CancelledError:
            ending, cancelled = self._broken_off(stopped("the daemon was stopped")), True
        except Exception as wrong:  # noqa: BLE001  whatever happened, the run must end safely and say so
            ending = self._broken_off(self._ending_of(wrong, None))
        closing = asyncio.get_running_loop().create_task(self._close(context, ending), name=f"close-{self.id}")
        cancelled |= await outlast(closing)
        self._held.close()
        self._announce(closing)
        if cancelled:
            raise asyncio.CancelledError

    async def _do_steps(self, context: RunContext) -> Ending:
        plan, results = self._plan, self._record.results
        await self._record.event(
            RunStarted(
                run=self.id,
                sequence=plan.sequence.name,
                inputs=plan.input_texts,
                roles=dict(plan.roles),
                cautions=list(plan.sequence.cautions),
                family=plan.family.name if plan.family is not None else "",
                job=self.job,
                operator=self._operator,
                at_s=self._start_s,
            )
        )
        for heat in (step.action for step in plan.sequence.steps if isinstance(step.action, Heat)):
            await heat.require_cool(context)
        asked_for = {step.only_if_failed for step in plan.sequence.steps}
        for number, step in enumerate(plan.sequence.steps, 1):
            output = await self._do_step(context, number, step)
            if output is None:
                continue
            context.prompted_s = self._prompts.raised_s if step.action.verb == "prompt" else None
            if output.outcome is Outcome.PASSED:
                results.passed(step, output)
            elif output.outcome is Outcome.FAILED and step.action.known_as in asked_for:
                results.followed_up[step.action.known_as] = output
            elif step.goes_on:
                results.went_on.append(output)
            else:
                ending = Ending(output.outcome, output.finding or Finding.CHECK_FAILED, output.says)
                return results.with_what_went_on(ending, of_steps=True)
        ending = results.conclude(plan.sequence.passed, tells_all=plan.sequence.tells_all)
        return results.with_what_went_on(ending, of_steps=True)

    async def _do_step(self, context: RunContext, number: int, step: Step) -> StepOutput | None:
        """Do one step; return None if it is not due. Raises RunEnded when it ends the run before its own end."""
        self._check()
        if step.only_if_failed is not None and step.only_if_failed not in self._record.results.followed_up:
            self._record.skip(number, step, f"Not due: '{step.only_if_failed}' did not fail.")
            return None
        for role in step.action.roles & self._absent.keys():
            self._record.skip(number, step, sentence(f"left out: {self._absent[role]}"))
            return None
        await self._record.start(number, step)
        try:
            output = await self._watched(context, step)
        except (DeviceRefused, DeviceUnavailable, OutOfSync) as wrong:
            optional = step.action.roles & self._plan.sequence.uses.keys()
            if not optional or isinstance(wrong, DeviceRefused) or self._trouble.done():
                raise RunEnded(self._ending_of(wrong, step)) from wrong
            self._lose(min(optional), str(wrong))
            left_out = StepOutput(Outcome.INCONCLUSIVE, Finding.BENCH_FAULT, sentence(f"left out: {wrong}"))
            await self._record.finish(left_out)
            return None
        await self._record.finish(output)
        return output

    async def _watched(self, context: RunContext, step: Step) -> StepOutput:
        """Do a step's action until it is done or the run is in trouble, whichever is first."""
        work = asyncio.get_running_loop().create_task(step.action.run(context), name=f"step-{self.id}")
        try:
            either: set[asyncio.Future[Any]] = {work, self._trouble}
            await asyncio.wait(either, return_when=asyncio.FIRST_COMPLETED)
        finally:
            leave_behind(work)
        if self._trouble.done():
            raise RunEnded(self._trouble.result())
        if work.cancelled():
            raise RunEnded(bench_fault("the step was given up from outside"))
        return work.result()

    def _check(self) -> None:
        """Raise RunEnded if the run is in trouble, or an instrument that it needs is not ready any more."""
        if self._trouble.done():
            raise RunEnded(self._trouble.result())
        for role, name in self._plan.roles.items():
            instrument = self._bench.instruments[name]
            if instrument.state is InstrumentState.READY or role in self._absent:
                continue
            if instrument.state is InstrumentState.TRIPPED:
                raise RunEnded(interlock(f"an interlock of {name} has tripped: {instrument.words}"))
            if role in self._plan.sequence.needs:
                raise RunEnded(lost(name, instrument.words))
            self._lose(role, instrument.words)

    # --- what comes from outside ---

    def _hear(self, name: str, event: Event, data: EventData, row: int | None) -> None:
        """Take an instrument's event as it comes over the bus."""
        evidence = self._record.results.evidence
        match data:
            case InterlockTripped():
                evidence.append(evidence_of(event, row, sentence(data.says)))
                self._end(interlock(f"the {data.interlock} interlock of {name} tripped: {data.says}"))
            case InstrumentLost():
                evidence.append(evidence_of(event, row, sentence(data.why)))
                role = next(role for role, bound in self._plan.roles.items() if bound == name)
                if role in self._plan.sequence.needs:
                    self._end(lost(name, data.why))
                else:
                    self._lose(role, data.why)
            case InstrumentFaulted():
                evidence.append(evidence_of(event, row, f"{name} said: {data.code}, {data.text}."))
            case PortTested():
                passed = sum(line.passed for line in data.lines)
                evidence.append(evidence_of(event, row, f"{passed} of {len(data.lines)} lines passed."))
            case _:
                pass

    def _end(self, ending: Ending) -> None:
        if not self._trouble.done():
            self._trouble.set_result(ending)

    def _lose(self, role: str, why: str) -> None:
        if role not in self._absent:
            why = why.removeprefix(f"{self._plan.roles[role]}: ")  # said of the role here
            self._absent[role] = why
            self._notes.append(f"the {role} was lost on the way: {why}")

    def _broken_off(self, ending: Ending) -> Ending:
        return self._record.results.with_what_went_on(ending, of_steps=False)

    def _ending_of(self, wrong: Exception, step: Step | None) -> Ending:
        match wrong:
            case RunEnded():
                return wrong.ending
            case DeviceRefused() | DeviceUnavailable() | OutOfSync():
                roles = step.action.roles if step is not None else frozenset()
                return ending_of(wrong, [self._bench.instruments[self._plan.roles[role]] for role in roles])
        log.error("the run failed", run=self.id, exc_info=wrong)
        return bench_fault(f"Wakerail itself failed: {type(wrong).__name__}: {wrong}")

    # --- the end ---

    async def _close(self, context: RunContext, ending: Ending) -> Verdict:
        record, steps = self._record, self._plan.sequence.steps
        record.begin_closing()
        heat = context.heat
        kept = heat.so_far() if heat is not None else ((), ())
        await record.finish(StepOutput(ending.outcome, ending.finding, ending.reason, *kept))
        if heat is not None:  # what it kept was told before what broke it off
            record.results.put_in_order()
        for number in range(len(record.results.steps) + 1, len(steps) + 1):
            record.skip(number, steps[number - 1], "Not reached.")
        for number, step in enumerate(self._plan.sequence.finally_, len(steps) + 1):
            await self._do_finally(context, number, step)
        if heat is not None and (warning := heat.warning()):
            self._notes.append(warning)
        not_safe = await self._make_safe()
        await self._put_back(context)
        ending = with_safety(ending, not_safe, self._notes)
        verdict = assemble(
            plan=self._plan,
            bench=self._bench,
            run=self.id,
            job=self.job,
            operator=self._operator,
            started=self._started,
            start_s=self._start_s,
            ending=ending,
            results=record.results,
        )
        self._held.close()  # before it is announced: whoever hears the verdict may begin the next run
        await record.verdict(verdict)
        await record.event_while_closing(
            RunFinished(
                run=self.id,
                verdict=verdict.id,
                outcome=verdict.outcome,
                finding=verdict.finding,
                reason=verdict.reason,
            )
        )
        return verdict

    async def _do_finally(self, context: RunContext, number: int, step: Step) -> None:
        """Do an item of ``finally``; whatever becomes of it, the next one is done, too."""
        if missing := step.action.roles - self._plan.roles.keys():
            self._record.skip(number, step, sentence(f"left out: {self._absent[min(missing)]}"))
            return
        await self._record.start(number, step)
        limit_s = FINALLY_LIMIT_S + (step.action.duration_s(self._plan.values) or 0.0)
        try:
            output = await within(self._bench.clock, limit_s, step.action.run(context), step.words(self._plan.values))
        except Exception as wrong:  # noqa: BLE001  an item of finally stops no other
            says = sentence(str(wrong) or type(wrong).__name__)
            output = StepOutput(Outcome.INCONCLUSIVE, Finding.BENCH_FAULT, says)
            log.error("an item of finally was not done", run=self.id, why=says)
        await self._record.finish(output)

    async def _put_back(self, context: RunContext) -> None:
        """Put settings back that would get in the way of the next run; what cannot be is told."""
        for name, settings in context.put_back.items():
            for setting, value in settings.items():
                work = self._bench.instruments[name].apply(setting, value, run=self.id)
                try:
                    await within(self._bench.clock, FINALLY_LIMIT_S, work, f"{name}: setting {setting}")
                except Exception as wrong:  # noqa: BLE001  a setting that stays keeps no verdict back
                    unit = self._bench.instruments[name].kind.settings[setting].unit or "1"
                    said = f"set the {setting} of {name} back to {human(value, unit)} by hand: {wrong}"
                    self._notes.append(said)

    async def _make_safe(self) -> list[str]:
        """Make every claimed instrument safe that can be energised; return those that are not known to be."""
        names = [
            name
            for name in self._plan.roles.values()
            if any(setting.energises for setting in self._bench.instruments[name].kind.settings.values())
        ]
        reached = await asyncio.gather(*(self._make_one_safe(name) for name in names))
        return [name for name, safe in zip(names, reached, strict=True) if not safe]

    async def _make_one_safe(self, name: str) -> bool:
        try:
            work = self._bench.make_safe([name])
            reached = await within(self._bench.clock, MAKE_SAFE_LIMIT_S, work, f"{name}: making it safe")
        except Exception as wrong:  # noqa: BLE001  one instrument keeps no other from being made safe
            log.error("instrument could not be made safe", run=self.id, instrument=name, why=str(wrong))
            return False
        return reached.get(name, False)

    def _announce(self, closing: asyncio.Task[Verdict]) -> None:
        if closing.cancelled():
            self.done.cancel()
        elif (wrong := closing.exception()) is not None:
            log.error("the run has no verdict", run=self.id, exc_info=wrong)
            self.done.set_exception(wrong)
        else:
            self.done.set_result(closing.result())

    def _let_go(self, _task: asyncio.Task[None]) -> None:
        """Release what a task held that was cancelled before it began: nothing was done, so there is no verdict."""
        self._held.close()
        if not self.done.done():
            self.done.cancel()
