"""A verdict in words for a terminal, a pipe or a log file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.padding import Padding
from rich.table import Column, Table
from rich.text import Text

from wakerail.report.signs import Signs, signs_for, style_of
from wakerail_kit.messages import Measurement, Verdict
from wakerail_kit.outcome import Outcome
from wakerail_kit.units import human


def verdict_text(verdict: Verdict) -> RenderableType:
    """Return a verdict to print: what was concluded and why, what was measured and seen, and with what."""
    return _VerdictWords(verdict)


@dataclass(frozen=True, slots=True)
class _VerdictWords:
    verdict: Verdict

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        signs = signs_for(ascii_only=options.ascii_only)
        yield from _heading(self.verdict, signs, options.max_width)
        for title, table in (
            ("Measurements", _measurements(self.verdict, signs)),
            ("Who says so of the limits", _limits_by(self.verdict)),
            ("Evidence", _evidence(self.verdict)),
            ("Steps", _steps(self.verdict, signs)),
            ("Cautions", _cautions(self.verdict)),
            ("Instruments", _instruments(self.verdict)),
        ):
            if table.row_count:
                yield Text(f"\n  {title}", style="bold")
                yield Padding(table, (0, 0, 0, 4))
        verdict = self.verdict
        yield Text(f"\n  verdict {verdict.id}, Wakerail {verdict.software_version}\n  run {verdict.run}", style="dim")


def _heading(verdict: Verdict, signs: Signs, width: int) -> Iterator[RenderableType]:
    outcome = verdict.outcome
    yield Text(signs.rule * width, style=style_of(outcome))
    yield Text.assemble(
        (f"  {signs.of(outcome)} {outcome.upper()}", style_of(outcome)), "   ", (verdict.finding, "bold")
    )
    yield Padding(Text(verdict.reason), (0, 2, 0, 4))
    yield Text(signs.rule * width, style=style_of(outcome))
    facts = [f"{verdict.sequence.name} on {verdict.bench}"]
    if verdict.job:
        facts.append(f"job {verdict.job}")
    if verdict.operator:
        facts.append(f"by {verdict.operator}")
    started, ended = datetime.fromisoformat(verdict.started), datetime.fromisoformat(verdict.ended)
    facts.append(f"{started:%Y-%m-%d %H:%M:%S} UTC")
    if ended >= started:  # else somebody set the machine's clock back meanwhile
        facts.append(f"took {human(round((ended - started).total_seconds(), 1), 's')}")
    yield Padding(Text(", ".join(facts)), (0, 2, 0, 2))
    if verdict.inputs:
        inputs = ", ".join(f"{name} {value}" for name, value in verdict.inputs.items())
        yield Padding(Text(f"with {inputs}"), (0, 2, 0, 2))


def _columns(*columns: Column) -> Table:
    return Table(*columns, box=None, padding=(0, 3, 0, 0), show_header=False, pad_edge=False)


def _measurements(verdict: Verdict, signs: Signs) -> Table:
    table = _columns(Column(), Column(justify="right", no_wrap=True), Column(), Column(no_wrap=True))
    numbers = sources_of(verdict.measurements)
    for one in verdict.measurements:
        value = "no value" if one.value is None else human(one.value, one.unit)
        if one.value is not None and one.uncertainty:
            value += f" ± {human(*difference(one.uncertainty, one.unit))}"
        source = f" [{numbers[one.source]}]" if one.source else ""
        table.add_row(one.name, value, Text.assemble(limits(one), (source, "dim")), signs.word(one.outcome))
    return table


def difference(value: float, unit: str) -> tuple[float, str]:
    """Return a difference of two values in a unit, to be shown: between temperatures it is in kelvin."""
    return (float(f"{value:.2g}"), "K") if unit == "Cel" else (value, unit)


def sources_of(measurements: Iterable[Measurement]) -> dict[str, int]:
    """Return who gave the limits of some measurements, each with its number, in the order in which they are met."""
    return {source: number for number, source in enumerate(dict.fromkeys(_named(measurements)), 1)}


def _named(measurements: Iterable[Measurement]) -> Iterator[str]:
    return (one.source for one in measurements if one.source)


def _limits_by(verdict: Verdict) -> Table:
    table = _columns(Column(justify="right", no_wrap=True, style="dim"), Column())
    for source, number in sources_of(verdict.measurements).items():
        table.add_row(f"[{number}]", source)
    return table


def limits(one: Measurement) -> str:
    """Return a measurement's limits in words, empty if it has none."""
    low = None if one.low is None else human(one.low, one.unit)
    high = None if one.high is None else human(one.high, one.unit)
    if low is not None and high is not None:
        return f"{low} to {high}"
    if high is not None:
        return f"at most {high}"
    return "" if low is None else f"at least {low}"


def _evidence(verdict: Verdict) -> Table:
    table = _columns(Column(justify="right", no_wrap=True), Column(), Column(no_wrap=True, style="dim"))
    started = datetime.fromisoformat(verdict.started)
    for one in verdict.evidence:
        noted_s = (datetime.fromisoformat(one.time) - started).total_seconds()
        since_s = noted_s if one.at_s is None else one.at_s
        row = "" if one.journal_row is None else f"journal {one.journal_row}"
        table.add_row(f"{since_s:.1f} s", one.says, row)
    return table


def _steps(verdict: Verdict, signs: Signs) -> Table:
    table = _columns(Column(justify="right"), Column(), Column(justify="right", no_wrap=True), Column(no_wrap=True))
    for step in verdict.steps:
        what = Text(step.title)
        # the reason above has already said what the deciding step says
        if step.says and step.says != verdict.reason and step.outcome is not Outcome.PASSED:
            what.append(f"\n{step.says}", style="italic")
        lasted = "" if step.duration_s is None else human(round(step.duration_s, 1), "s")
        table.add_row(str(step.number), what, lasted, signs.word(step.outcome))
    return table


def _cautions(verdict: Verdict) -> Table:
    table = _columns(Column())
    for caution in verdict.cautions:
        table.add_row(caution)
    return table


def _instruments(verdict: Verdict) -> Table:
    table = _columns(Column(no_wrap=True), Column(no_wrap=True), Column())
    for one in verdict.instruments:
        identity = one.identity
        if identity is None:
            who = "did not say who it is"
        else:
            parts = [f"{identity.maker} {identity.model}".strip() or identity.text]
            parts += [f"serial {identity.serial}"] if identity.serial else []
            parts += [f"firmware {identity.firmware}"] if identity.firmware else []
            who = ", ".join(parts)
        what = one.kind if one.driver == one.kind else f"{one.kind}, {one.driver}"
        what += f"/{one.dialect}" if one.dialect else ""
        table.add_row(one.role, one.instrument if one.instrument != one.role else "", f"{what}: {who}")
    return table
