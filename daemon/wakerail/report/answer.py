"""What was read from a recording, as words for a terminal and as JSON for a program.

Where power was recorded in place of a current, all that is amperes in the reading is watts, and is named so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import msgspec
from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.padding import Padding
from rich.segment import Segment
from rich.table import Column, Table
from rich.text import Text

from wakerail.analysis.cadence import Cadence, CadenceRow, Regularity
from wakerail.analysis.known_good import Comparison
from wakerail.analysis.seen import Restart
from wakerail.analysis.stages import Stage
from wakerail.recordings.reading import Analysis
from wakerail.report.signs import Signs, signs_for, style_of
from wakerail.report.sparkline import block_chart
from wakerail_kit.units import human

_MOST_ROWS = 30
_CHART_ROWS = 6
_IN_ASCII = str.maketrans({"µ": "u", "…": "."})


# --- as JSON ---


def answer_json(answer: Analysis, trade: CadenceRow | None = None, known_good: Comparison | None = None) -> bytes:
    """Return the answer as one JSON object. Times are seconds on the recording's own scale; null is not known.

    ``until_s`` of ``known_good`` alone counts from the onset.
    """
    reading, unit = answer.reading, answer.unit.lower()
    return msgspec.json.encode(
        {
            "finding": reading.finding,
            "outcome": reading.outcome,
            "probability": reading.probability,
            "says": reading.says,
            "onset_s": reading.onset_s,
            "restarts": [_restart_fields(restart) for restart in reading.restarts],
            "stages": [_stage_fields(stage, unit) for stage in reading.stages],
            "cadence": None if reading.cadence is None else _cadence_fields(reading.cadence, trade),
            "known_good": None if known_good is None else _known_good_fields(known_good),
            f"standing_{unit}": reading.standing_a,
            f"running_{unit}": reading.running_a,
            f"peak_{unit}": reading.peak_a,
            "samples": answer.samples,
            "start_s": answer.start_s,
            "end_s": answer.end_s,
            "begins": None if answer.begins is None else answer.begins.isoformat(),
            "read_as": answer.read_as,
        }
    )


def _restart_fields(restart: Restart) -> dict[str, Any]:
    return {
        "at_s": restart.at_s,
        "again_s": restart.again_s,
        "probability": restart.probability,
        "evidence": list(restart.evidence),
        "says": restart.says,
        "uncertainty_s": restart.uncertainty_s,
    }


def _stage_fields(stage: Stage, unit: str) -> dict[str, Any]:
    fields: dict[str, Any] = {
        "start_s": stage.start_s,
        "end_s": stage.end_s,
        f"mean_{unit}": stage.mean_a,
        f"spread_{unit}": stage.spread_a,
        f"peak_{unit}": stage.peak_a,
    }
    if unit == "a":
        return fields | {"charge_ma_s": stage.charge_ma_s, "energy_j": stage.energy_j}
    return fields | {"energy_j": stage.charge_ma_s / 1e3}  # a power summed over time is an energy


def _cadence_fields(cadence: Cadence, trade: CadenceRow | None) -> dict[str, Any]:
    regular = {Regularity.REGULAR: True, Regularity.IRREGULAR: False, Regularity.TOO_FEW: None}
    return {
        "median_s": cadence.median_s,
        "low_s": cadence.low_s,
        "high_s": cadence.high_s,
        "confidence": cadence.confidence,
        "regular": regular[cadence.regularity],
        "says": cadence.says,
        "trade": None if trade is None else trade.says,
        "source": None if trade is None else trade.source,
    }


def _known_good_fields(comparison: Comparison) -> dict[str, Any]:
    return {
        "references": comparison.references,
        "like": comparison.like,
        "until_s": comparison.until_s,
        "difference_a": comparison.difference_a,
        "says": comparison.says,
    }


# --- in words ---


def answer_text(
    answer: Analysis, trade: CadenceRow | None = None, known_good: Comparison | None = None
) -> RenderableType:
    """Return the answer to print, with the trace as a small chart.

    ``trade``: what the trade reads from the cadence. ``known_good``: how it compares with boots that passed.
    """
    return _AnswerWords(answer, trade, known_good)


@dataclass(frozen=True, slots=True)
class _AnswerWords:
    answer: Analysis
    trade: CadenceRow | None
    known_good: Comparison | None

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for part in self._parts(options):
            if not options.ascii_only:
                yield part
                continue
            for text, style, control in console.render(part, options):  # µ, and what a sentence may quote
                yield Segment(text.translate(_IN_ASCII).encode("ascii", "replace").decode(), style, control)

    def _parts(self, options: ConsoleOptions) -> Iterator[RenderableType]:
        answer, width = self.answer, options.max_width
        signs = signs_for(ascii_only=options.ascii_only)
        yield from _heading(answer, signs, width)
        if self.known_good is not None:
            yield Padding(Text(self.known_good.told), (0, 2, 0, 2))
        if answer.samples:
            yield from _chart(answer, answer.current.columns(max(width - 8, 10)), signs)
        for title, table, count in (
            ("Restarts", _restarts(answer), len(answer.reading.restarts)),
            ("Stages", _stages(answer), len(answer.reading.stages)),
        ):
            if count:
                yield Text(f"\n  {title}", style="bold")
                yield Padding(table, (0, 0, 0, 4))
            if count > _MOST_ROWS:
                yield Text(f"    ... {count - _MOST_ROWS} more, see --json", style="dim")
        if answer.reading.cadence is not None:
            yield Text("\n  Cadence", style="bold")
            yield Padding(Text(answer.reading.cadence.says), (0, 2, 0, 4))
            if self.trade is not None:
                says = Text(self.trade.says).append(f" ({self.trade.source})", style="dim")
                yield Padding(says, (0, 2, 0, 4))


def _heading(answer: Analysis, signs: Signs, width: int) -> Iterator[RenderableType]:
    reading, style = answer.reading, style_of(answer.reading.outcome)
    yield Text(signs.rule * width, style=style)
    yield Text.assemble(
        (f"  {signs.of(reading.outcome)} {reading.outcome.upper()}", style),
        "   ",
        (reading.finding, "bold"),
        f"   {_sure(reading.probability)}",
    )
    yield Padding(Text(reading.says), (0, 2, 0, 4))
    yield Text(signs.rule * width, style=style)
    moment = _clock(answer)
    facts = [f"{answer.samples} {'sample' if answer.samples == 1 else 'samples'}" if answer.samples else "USB alone"]
    facts.append(f"{moment(answer.start_s)} to {moment(answer.end_s)}")
    if answer.begins is not None:
        facts.append(f"0 s is {answer.begins.isoformat(sep=' ', timespec='milliseconds')}")
    levels = (("standing", reading.standing_a), ("running", reading.running_a), ("peak", reading.peak_a))
    facts += [f"{name} {human(level, answer.unit)}" for name, level in levels if level is not None]
    if reading.onset_s is not None:
        facts.append(f"onset at {moment(reading.onset_s)}")
    yield Padding(Text(_listed(facts, width - 4)), (0, 2, 0, 2))


def _listed(facts: list[str], width: int) -> str:
    """Return facts with commas between, in lines that part no number from its unit."""
    lines = [""]
    for fact in facts:
        if lines[-1] and len(lines[-1]) + len(fact) + 3 > width:
            lines[-1] += ","
            lines.append(fact)
        else:
            lines[-1] += f", {fact}" if lines[-1] else fact
    return "\n".join(lines)


def _chart(answer: Analysis, columns: list[float | None], signs: Signs) -> Iterator[RenderableType]:
    """Draw the trace in blocks, with a mark under each restart."""
    top = max((value for value in columns if value is not None), default=0.0)
    if top <= 0:
        return
    length_s = answer.end_s - answer.start_s or 1.0
    marks = [" "] * len(columns)
    for restart in answer.reading.restarts:
        place = int((restart.at_s - answer.start_s) / length_s * len(columns))
        marks[min(max(place, 0), len(columns) - 1)] = signs.restart
    moment = _clock(answer)
    start, end = moment(answer.start_s), moment(answer.end_s)
    yield Text(f"\n    up to {human(top, answer.unit)}", style="dim")
    for line in block_chart(columns, top, _CHART_ROWS, signs.bars):
        yield Text(f"    {line}", style="cyan", no_wrap=True)
    if answer.reading.restarts:
        yield Text(f"    {''.join(marks)}", style="bold red", no_wrap=True)
    yield Text(f"    {start}{end.rjust(len(columns) - len(start))}", style="dim", no_wrap=True)


def _table(*columns: Column) -> Table:
    return Table(*columns, box=None, padding=(0, 2, 0, 0), header_style="dim", pad_edge=False)


def _restarts(answer: Analysis) -> Table:
    table = _table(
        Column("", justify="right"),
        Column("ended", justify="right", no_wrap=True),
        Column("began again", justify="right", no_wrap=True),
        Column("sure", justify="right", no_wrap=True),
        Column("why"),
    )
    moment = _clock(answer)
    for number, restart in enumerate(answer.reading.restarts[:_MOST_ROWS], 1):
        why = Text(restart.says)
        why.append(f" ({', '.join(restart.evidence)})", style="dim")
        table.add_row(str(number), moment(restart.at_s), moment(restart.again_s), _sure(restart.probability), why)
    return table


def _stages(answer: Analysis) -> Table:
    stages = answer.reading.stages[:_MOST_ROWS]
    in_amperes = answer.unit == "A"
    energies = [stage.energy_j if in_amperes else stage.charge_ma_s / 1e3 for stage in stages]
    names = ["from", "for", "mean", "spread", "peak"]
    names += [*(["charge"] if in_amperes else []), *(["energy"] if any(one is not None for one in energies) else [])]
    table = _table(*(Column(name, justify="right", no_wrap=True) for name in names))
    moment = _clock(answer)
    for stage, energy_j in zip(stages, energies, strict=True):
        cells = [moment(stage.start_s), moment(stage.end_s - stage.start_s)]
        cells += [human(level, answer.unit) for level in (stage.mean_a, stage.spread_a, stage.peak_a)]
        cells += [f"{stage.charge_ma_s:.4g} mA s"] if in_amperes else []
        cells += ["" if energy_j is None else human(energy_j, "J")] if "energy" in names else []
        table.add_row(*cells)
    return table


def _clock(answer: Analysis) -> Callable[[float], str]:
    """Return how moments are written: finely enough to tell two samples apart; of USB alone to a millisecond."""
    spacing_s = (answer.end_s - answer.start_s) / (answer.samples - 1) if answer.samples > 1 else 1e-3
    places = min(max(math.ceil(-math.log10(max(spacing_s, 1e-9)) - 1e-6), 0), 9)
    return lambda at_s: f"{at_s:.{places}f} s"


def _sure(probability: float) -> str:
    """Return a probability in words; nothing measured is wholly sure."""
    if probability >= 0.9995:
        return "> 99.9 %"
    return f"{100 * probability:.3g} %" if probability >= 0.0005 else "< 0.1 %"
