"""What is concluded from a heat: its figures, each against its limit, and one sentence."""

from __future__ import annotations

from dataclasses import dataclass

from wakerail.analysis.thermal.figures import Figure, Figures
from wakerail.sequences.heating.figures import figures_of
from wakerail.sequences.heating.reckoning import Reckoning
from wakerail.sequences.heating.trace import HeatTrace
from wakerail.sequences.steps.action import StepOutput
from wakerail_kit.events import HeatStarted
from wakerail_kit.messages import Evidence, Measurement
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.units import human

#: So many digits behind the point are told of a figure; most have one.
_DIGITS = {"K/s": 2}


@dataclass(frozen=True, slots=True)
class Halt:
    """Why the heater went off before the hold was over: a person saw that it is done, or the plate cannot do it."""

    by_person: bool
    says: str


def measured(
    heat: HeatStarted, trace: HeatTrace, reckoning: Reckoning, *, cooled_early: bool
) -> tuple[Measurement, ...]:
    """Return the figures of a heat, each with its limit and that limit's source."""
    figures = figures_of(heat, trace, cooled_early=cooled_early)
    return (*(_measurement(figure) for figure in figures if figure.value is not None), *reckoning.measurements())


def judge(
    heat: HeatStarted, trace: HeatTrace, reckoning: Reckoning, halt: Halt | None, evidence: tuple[Evidence, ...]
) -> StepOutput:
    """Conclude from a heat that is cool again.

    A plate that could not do what was asked of it is a fault of the bench. A heat that a person cut short before
    the solder was liquid is stopped; afterwards it is done when they say so.
    """
    early = halt is not None
    figures = figures_of(heat, trace, cooled_early=early)
    measurements = measured(heat, trace, reckoning, cooled_early=early)
    if halt is not None and not halt.by_person:
        return StepOutput(Outcome.INCONCLUSIVE, Finding.BENCH_FAULT, halt.says, measurements, evidence)
    peak = "" if figures.peak.value is None else f" the plate came to {human(round(figures.peak.value, 1), 'Cel')}."
    if halt is not None and not figures.above_liquidus.value:
        says = f"{halt.says} {heat.alloy} was not liquid yet:{peak}"
        return StepOutput(Outcome.ABORTED, Finding.STOPPED, says, measurements, evidence)
    missed = [figure for figure in figures if figure.passed is False]
    if missed:
        says = "The heat left its profile: " + "; ".join(_missed(figure) for figure in missed) + "."
        return StepOutput(Outcome.FAILED, Finding.PROFILE_MISSED, says, measurements, evidence)
    if figures.passed is None:
        unread = ", ".join(figure.name for figure in figures if figure.limit is not None and figure.passed is None)
        says = f"Too little was measured to judge the heat; it leaves open: {unread}."
        return StepOutput(Outcome.INCONCLUSIVE, Finding.TOO_LITTLE_DATA, says, measurements, evidence)
    says = " ".join(filter(None, ("" if halt is None else halt.says, _kept(heat, figures))))
    return StepOutput(Outcome.PASSED, Finding.PROFILE_KEPT, says, measurements, evidence)


def _measurement(figure: Figure) -> Measurement:
    outcome = {True: Outcome.PASSED, False: Outcome.FAILED, None: Outcome.INCONCLUSIVE}[figure.passed]
    limit = figure.limit
    return Measurement(
        name=figure.name,
        value=None if figure.value is None else round(figure.value, _DIGITS.get(figure.unit, 1)),
        unit=figure.unit,
        low=None if limit is None else limit.low,
        high=None if limit is None else limit.high,
        source="" if limit is None else limit.source,
        outcome=Outcome.PASSED if limit is None else outcome,
    )


def _missed(figure: Figure) -> str:
    limit, value = figure.limit, figure.value
    if limit is None or value is None:
        return figure.name
    if limit.high is not None and value > limit.high:
        return f"{figure.name} {figure.words}, at most {human(limit.high, figure.unit)}"
    return f"{figure.name} {figure.words}, at least {human(limit.low or 0.0, figure.unit)}"


def _kept(heat: HeatStarted, figures: Figures) -> str:
    above, peak = figures.above_liquidus, figures.peak
    return (
        f"The plate kept to the profile {heat.profile!r}: {peak.words} at most, "
        f"{above.words} above the liquidus of {heat.alloy}, and it is cool again."
    )
