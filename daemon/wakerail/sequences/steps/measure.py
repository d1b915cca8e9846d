"""``measure: {signal: supply.current, over: 2 s, stat: mean, max: 5 mA}``: one number against its limits."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from wakerail.sequences.arrivals import StillOn
from wakerail.sequences.steps.action import Amount, StepContext, StepOutput
from wakerail.sequences.steps.scope import Scope
from wakerail_kit.messages import Frame, Measurement
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.units import human
from wakerail_kit.yamldoc import Section

#: Less than this share of the samples that the poll rate promises is too little to conclude from.
ENOUGH = 0.5

_STATS: dict[str, Callable[[Sequence[float]], float]] = {
    "mean": statistics.fmean,
    "min": min,
    "max": max,
    "median": statistics.median,
    "p2p": lambda samples: max(samples) - min(samples),
}
_WORDS = {
    "mean": "averaged",
    "min": "was at least",
    "max": "was at most",
    "median": "had a median of",
    "p2p": "varied by",
}


def uncertainty_of(stat: str, samples: Sequence[float]) -> float | None:
    """Return the standard uncertainty of a statistic from the scatter of its samples, or None.

    The mean's is s / sqrt(n) (JCGM 100:2008, 4.2.3); the median's is sqrt(pi / 2) times that, which holds for
    many normally scattered samples. Extremes have none that the scatter alone could give.
    """
    if len(samples) < 2 or stat not in {"mean", "median"}:
        return None
    of_mean = statistics.stdev(samples) / math.sqrt(len(samples))
    return of_mean if stat == "mean" else of_mean * math.sqrt(math.pi / 2)


@dataclass(frozen=True, slots=True)
class Measure:
    """A statistic of a signal over a time, against limits.

    ``while_signal`` names an on/off signal of the same instrument: a value outside the limits speaks of the device
    only if that signal was on for most of the time (a voltage far below its setting is a short if the supply is
    limiting, and a fault of the bench if it is not).
    """

    role: str
    signal: str
    unit: str
    over: Amount
    stat: str
    low: Amount | None
    high: Amount | None
    while_signal: str
    failed: Finding
    verb: str = "measure"
    checks: bool = True
    known_as: str = ""

    @property
    def roles(self) -> frozenset[str]:
        return frozenset({self.role})

    def words(self, values: Mapping[str, float]) -> str:
        return f"Measure {self.role}.{self.signal} for {self.over.words(values)}"

    def duration_s(self, values: Mapping[str, float]) -> float | None:
        return self.over.value(values)

    async def run(self, context: StepContext) -> StepOutput:
        instrument = context.instrument(self.role)
        start_s = context.bench.clock.monotonic_s()
        end_s = start_s + self.over.value(context.values)
        samples: list[float] = []
        conditions: list[float] = []
        still_on = StillOn(instrument, context.on_since_s.get(instrument.name))
        with context.arrivals.listen(instrument) as listener:
            at_s = start_s
            while at_s < end_s:
                frame = await listener.next()
                if isinstance(frame, Frame):
                    still_on.take(frame)
                    samples += _between(frame, self.signal, start_s, end_s)
                    conditions += _between(frame, self.while_signal, start_s, end_s)
                    at_s = frame.t_s[-1]
        still_on.finish()
        output = self.judge(samples, conditions, instrument.rate_hz, context.values)
        if self.stat in {"mean", "median"}:
            context.levels[instrument.name, self.signal] = output.measurements[0]
        return output

    def judge(
        self, samples: Sequence[float], conditions: Sequence[float], rate_hz: float, values: Mapping[str, float]
    ) -> StepOutput:
        """Conclude from the samples of the signal, and those of the condition where there is one."""
        low = self.low.value(values) if self.low is not None else None
        high = self.high.value(values) if self.high is not None else None
        over = self.over.words(values)
        expected = self.over.value(values) * rate_hz
        name = f"{self.role}.{self.signal} {self.stat}"
        if len(samples) < max(1.0, ENOUGH * expected):
            missing = Measurement(
                name=name, value=None, unit=self.unit, low=low, high=high, outcome=Outcome.INCONCLUSIVE
            )
            says = f"Only {len(samples)} of about {expected:.0f} samples of {self.role}.{self.signal} came in {over}."
            return StepOutput(Outcome.INCONCLUSIVE, Finding.TOO_LITTLE_DATA, says, (missing,))
        value = _STATS[self.stat](samples)
        outside = (low is not None and value < low) or (high is not None and value > high)
        excused = outside and bool(self.while_signal) and not (conditions and statistics.fmean(conditions) >= 0.5)
        outcome = Outcome.PASSED if not outside else Outcome.INCONCLUSIVE if excused else Outcome.FAILED
        measurement = Measurement(
            name=name,
            value=value,
            unit=self.unit,
            low=low,
            high=high,
            uncertainty=uncertainty_of(self.stat, samples),
            outcome=outcome,
        )
        says = f"The {self.role}'s {self.signal} {_WORDS[self.stat]} {human(value, self.unit)} over {over}"
        says += _against(value, low, high, self.unit)
        if excused:
            says += f", yet {self.role}.{self.while_signal} was not on; look at the leads and the {self.role}"
            return StepOutput(outcome, Finding.BENCH_FAULT, says + ".", (measurement,))
        return StepOutput(outcome, self.failed if outside else None, says + ".", (measurement,))


def _between(frame: Frame, signal: str, start_s: float, end_s: float) -> list[float]:
    """Return a frame's samples that were surely taken within a time, without those that are no data."""
    return [
        value
        for t_s, half_s, value in zip(frame.t_s, frame.half_width_s, frame.signals.get(signal, ()), strict=False)
        if value is not None and start_s <= t_s - half_s and t_s <= end_s
    ]


def _against(value: float, low: float | None, high: float | None, unit: str) -> str:
    if high is not None and value > high:
        return f", more than the {human(high, unit)} allowed"
    if low is not None and value < low:
        return f", less than the {human(low, unit)} wanted"
    if low is not None and high is not None:
        return f", between {human(low, unit)} and {human(high, unit)} as wanted"
    if high is not None:
        return f", within the {human(high, unit)} allowed"
    return f", above the {human(low, unit)} wanted" if low is not None else ""


def read(section: Section, failed: Finding | None, scope: Scope) -> Measure:
    """Read a measure step."""
    given = section.section("measure")
    role = signal = unit = ""
    text = given.text("signal", "")
    if "signal" in given:
        role, signal, unit = scope.signal(given, "signal", text)
    else:
        given.note("signal", "is missing; write it like 'supply.current'")
    while_signal = ""
    if while_text := given.text("while", ""):
        while_role, while_signal, while_unit = scope.signal(given, "while", while_text)
        if while_role != role and while_role in scope.roles:
            given.note("while", f"must be a signal of {role!r}, like the signal that is measured")
        elif while_role == role and while_unit not in {"1", ""}:
            given.note("while", f"{while_text!r} is not an on/off signal")
    low = scope.optional_amount(given, "min", unit)
    high = scope.optional_amount(given, "max", unit)
    if low is None and high is None and failed is not None:
        given.note_here("cannot fail without a limit; give min, max or both")
    over = scope.amount(given, "over", "s", above_zero=True)
    stat = given.text("stat", "mean", one_of=list(_STATS))
    finding = failed or Finding.CHECK_FAILED
    return Measure(role, signal, unit, over, stat, low, high, while_signal, finding)
