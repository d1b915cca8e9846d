"""From what the steps came to, to the verdict: one outcome, one finding, one plain sentence, and the evidence."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from importlib import metadata

from msgspec import structs

from wakerail.sequences.access import Bench, InstrumentAccess
from wakerail.sequences.endings import Ending, sentence
from wakerail.sequences.model import Step
from wakerail.sequences.plan import Plan
from wakerail.sequences.steps.action import StepOutput
from wakerail_kit.clock import rfc3339
from wakerail_kit.ids import new_id
from wakerail_kit.messages import Evidence, InstrumentUsed, Measurement, SequenceRef, StepResult, Verdict
from wakerail_kit.outcome import Finding, Outcome

_EXIT_CODES = {Outcome.PASSED: 0, Outcome.FAILED: 1, Outcome.INCONCLUSIVE: 3, Outcome.ABORTED: 4}
BENCH_FAULT_EXIT_CODE = 5


def exit_code_of(verdict: Verdict) -> int:
    """Return the exit code that tells a script the verdict: 0, 1, 3 or 4 by outcome, 5 for a fault of the bench."""
    return BENCH_FAULT_EXIT_CODE if verdict.finding is Finding.BENCH_FAULT else _EXIT_CODES[verdict.outcome]


@dataclass(slots=True)
class Results:
    """What the steps of a run came to so far."""

    steps: list[StepResult] = field(default_factory=list)
    measurements: list[Measurement] = field(default_factory=list)
    evidence: list[Evidence] = field(default_factory=list)
    #: Tests that failed and have steps that depend on it, by name.
    followed_up: dict[str, StepOutput] = field(default_factory=dict)
    #: Checks that did not pass and after which the run went on, in their order.
    went_on: list[StepOutput] = field(default_factory=list)
    _forgiven: set[str] = field(default_factory=set)
    _last: StepOutput = field(default_factory=StepOutput)
    _checked: list[str] = field(default_factory=list)

    def add(self, result: StepResult, output: StepOutput | None = None) -> None:
        """Note the result of a step; ``output`` where it was run to its end."""
        self.steps.append(result)
        if output is not None:
            self.measurements += output.measurements
            self.evidence += output.evidence

    def put_in_order(self) -> None:
        """Put the evidence in the order in which it was recorded; what was not recorded stays behind."""
        self.evidence.sort(key=lambda one: math.inf if one.journal_row is None else one.journal_row)

    def passed(self, step: Step, output: StepOutput) -> None:
        """Note that a step passed: the last to say something speaks for the run."""
        if step.action.checks and step.only_if_failed is not None:
            self._forgiven.add(step.only_if_failed)
        if output.says:
            self._last = output
            if step.action.checks:
                self._checked.append(output.says)

    def conclude(self, passed: Finding, *, tells_all: bool = False) -> Ending:
        """Return the ending of a run whose steps were all done; ``tells_all``: every check speaks for it.

        A failed test that other steps followed up still stands, unless a check among those passed.
        """
        for name, output in self.followed_up.items():
            if name not in self._forgiven and output.finding is not None:
                return Ending(output.outcome, output.finding, output.says)
        reason = self._last.says or "All steps were done."
        if self.followed_up:
            before = " ".join(output.says for output in self.followed_up.values())
            reason = f"{reason} Before that: {before}"
        if tells_all:
            return Ending(Outcome.PASSED, passed, " ".join(self._checked) or reason)
        return Ending(Outcome.PASSED, self._last.finding or passed, reason)

    def with_what_went_on(self, ending: Ending, *, of_steps: bool) -> Ending:
        """Return an ending with the checks that did not pass before it, if the run went on after any.

        ``of_steps``: the steps themselves came to it; the first of the worst outcome gives the finding, and the reason
        tells all that did not pass. What broke the run off stays as it is, and tells them behind.
        """
        if not self.went_on:
            return ending
        before = [_ending_of(output) for output in self.went_on]
        told = " ".join(one.reason for one in before)
        if not of_steps:
            return Ending(ending.outcome, ending.finding, f"{ending.reason} Before that: {told}")
        if ending.outcome is not Outcome.PASSED:
            before.append(ending)
            told = f"{told} {ending.reason}"
        worst = next((one for one in before if one.outcome is Outcome.FAILED), before[0])
        return Ending(worst.outcome, worst.finding, told)


def _ending_of(output: StepOutput) -> Ending:
    return Ending(output.outcome, output.finding or Finding.CHECK_FAILED, output.says)


def with_safety(ending: Ending, not_safe: Iterable[str], notes: Iterable[str]) -> Ending:
    """Return the ending with what came beside it: instruments not known to be safe, and what was left out.

    An output that may still be on is the first thing to know, whatever was found about the device.
    """
    reason = " ".join([ending.reason, *(sentence(note) for note in notes)])
    names = ", ".join(not_safe)
    if not names:
        return Ending(ending.outcome, ending.finding, reason)
    outcome = Outcome.ABORTED if ending.outcome is Outcome.ABORTED else Outcome.INCONCLUSIVE
    warning = f"The bench could not make {names} safe: treat it as switched on and pull its plug."
    return Ending(outcome, Finding.BENCH_FAULT, f"{warning} Before that: {reason}")


def _since(start_s: float, evidence: Evidence) -> Evidence:
    """Count an evidence's time from the run's start: monotonic seconds mean nothing outside the daemon."""
    return evidence if evidence.at_s is None else structs.replace(evidence, at_s=round(evidence.at_s - start_s, 6))


def assemble(
    *,
    plan: Plan,
    bench: Bench,
    run: str,
    job: str | None,
    operator: str,
    started: str,
    start_s: float,
    ending: Ending,
    results: Results,
) -> Verdict:
    """Return the verdict of a run that began at ``started``, monotonic ``start_s``, and has ended now."""
    now = bench.clock.now()
    return Verdict(
        id=new_id(now),
        bench=bench.name,
        run=run,
        job=job,
        sequence=SequenceRef(name=plan.sequence.name, sha256=plan.sequence.sha256),
        inputs=plan.input_texts,
        started=started,
        ended=rfc3339(now),
        outcome=ending.outcome,
        finding=ending.finding,
        reason=ending.reason,
        steps=list(results.steps),
        measurements=list(results.measurements),
        evidence=[_since(start_s, each) for each in results.evidence],
        instruments=[_used(role, bench.instruments[name]) for role, name in plan.roles.items()],
        cautions=list(plan.sequence.cautions),
        operator=operator,
        software_version=metadata.version("wakerail"),
    )


def _used(role: str, instrument: InstrumentAccess) -> InstrumentUsed:
    return InstrumentUsed(
        role=role,
        instrument=instrument.name,
        kind=instrument.kind.name,
        driver=instrument.driver,
        dialect=instrument.dialect,
        identity=instrument.identity,
        calibrated=instrument.calibrated,
    )
