"""``wakerail log``: look into the journal, follow it, export it. A daemon may be writing meanwhile."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import msgspec
import typer
from rich.console import Console, Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from wakerail.cli.looks import STYLES, grid_of, local, took
from wakerail.cli.options import AsJson, Config, place
from wakerail.journal import Entry, JournalReader, RunSummary, describe, export, form_of
from wakerail.journal.exports import entry_line
from wakerail.journal.records import Message, time_of
from wakerail.journal.words import tone_of
from wakerail.report.words import difference, sources_of
from wakerail_kit.clock import RealClock
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import HeatEstimated, type_of
from wakerail_kit.messages import Event, Identity, Measurement, Prompt, Verdict
from wakerail_kit.units import human

if TYPE_CHECKING:
    from wakerail.journal.chunks import Chunk

_LOOK_AGAIN_S = 0.25
_SHORT_ID = 8
log = typer.Typer(help="Look into the journal: what happened on the bench.", no_args_is_help=True)

JournalPath = Annotated[
    str | None, typer.Option("--journal", metavar="PATH", help="The journal, if not the one of the configuration.")
]


@log.command()
def tail(
    journal: JournalPath = None,
    config: Config = None,
    lines: Annotated[int, typer.Option("-n", "--lines", min=0, help="How many of the last lines to show first.")] = 10,
    as_json: AsJson = False,
) -> None:
    """Follow the journal: every event, prompt and verdict as it comes, until Ctrl-C."""
    console = Console()

    def put(entries: Iterable[Entry]) -> int:
        """Print entries and return the row of the last one, or 0."""
        row = 0
        for entry in entries:
            row = entry.row
            if as_json:
                typer.echo(entry_line(entry))
            else:
                _print_line(console, local(time_of(entry.message)), *_words(entry))
        return row

    with _open(journal, config) as reader:
        try:
            last = reader.newest(max(lines, 1))
            seen = put(last) if lines else max((entry.row for entry in last), default=0)
            never = threading.Event()
            while not RealClock().wait(never, _LOOK_AGAIN_S):
                seen = put(reader.messages(since_row=seen)) or seen
        except KeyboardInterrupt:
            return  # how a person ends it


@log.command()
def show(
    run: Annotated[
        str, typer.Argument(metavar="RUN|last", help="A run's id, the last few characters of it, or 'last'.")
    ],
    out: Annotated[
        Path | None, typer.Option("--out", help="Write the verdict and its picture into this folder, too.")
    ] = None,
    journal: JournalPath = None,
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Tell a run's story: steps, prompts, restarts, heat, and the verdict with its evidence."""
    with _open(journal, config) as reader:
        summary = reader.run(run)
        entries = list(reader.messages(run=summary.run))
        chunks = list(reader.frames(run=summary.run)) if out is not None else []
    verdict = next((entry.message for entry in entries if isinstance(entry.message, Verdict)), None)
    if as_json:
        story = {"run": summary, "verdict": verdict, "messages": [entry._asdict() for entry in entries]}
        typer.echo(msgspec.json.encode(story))
    else:
        console = Console()
        console.print(_heading(summary, verdict), _story(entries), sep="\n")
        died = "No verdict: the daemon's worker died meanwhile."
        none = Text(died if summary.cut_off else "No verdict yet.", style="yellow")
        console.print(none if verdict is None else _verdict(verdict))
    if out is not None and verdict is not None:
        _write(out, verdict, entries, chunks, told=not as_json)


def _write(out: Path, verdict: Verdict, entries: Iterable[Entry], chunks: Iterable[Chunk], *, told: bool) -> None:
    """Write what a run that is followed to its end would have written."""
    from wakerail.report.run_trace import RunTrace  # noqa: PLC0415

    trace = RunTrace()
    try:
        for entry in entries:
            trace.take(entry.message)
    except msgspec.ValidationError as wrong:
        why = f"run {verdict.run} was written by another version of Wakerail and cannot be drawn: {wrong}"
        raise ConfigInvalid(why) from None
    for chunk in chunks:
        trace.take(chunk.frame())
    for file in trace.write(verdict, out):
        if told:
            typer.echo(f"written: {file}")


@log.command()
def runs(
    journal: JournalPath = None,
    config: Config = None,
    count: Annotated[int, typer.Option("-n", "--count", min=1, help="How many of the newest runs to list.")] = 20,
    as_json: AsJson = False,
) -> None:
    """List the newest runs."""
    with _open(journal, config) as reader:
        summaries = list(reader.runs(limit=count))
    if as_json:
        for summary in summaries:
            typer.echo(msgspec.json.encode(summary))
        return
    if not summaries:
        typer.echo("No run yet.")
        return
    table = Table(box=None, header_style="bold", pad_edge=False, padding=(0, 2, 0, 0))
    for title in ("started", "sequence", "outcome", "finding", "took", "job", "run ends in"):
        table.add_column(title, no_wrap=title != "job", justify="right" if title == "took" else "left")
    for summary in summaries:
        style = STYLES[tone_of(summary.outcome)]
        table.add_row(
            local(summary.started),
            summary.sequence,
            Text(summary.outcome or ("cut off" if summary.cut_off else "under way"), style=style),
            Text(summary.finding or "", style=style),
            took(summary.started, summary.ended),
            summary.job or "",
            summary.run[-_SHORT_ID:],
        )
    Console().print(table)


@log.command("export")
def export_command(
    out: Annotated[Path, typer.Argument(metavar="OUT", help="The file to write: .jsonl, .csv or .parquet.")],
    journal: JournalPath = None,
    config: Config = None,
    run: Annotated[str | None, typer.Option("--run", metavar="RUN|last", help="Only what belongs to this run.")] = None,
    frames: Annotated[
        bool, typer.Option("--frames", help="The samples, instead of events, prompts and verdicts.")
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Replace the file if it is there already.")] = False,
) -> None:
    """Write the journal to a file for other programs."""
    form = form_of(out)
    with _open(journal, config) as reader:
        which = reader.find_run(run) if run is not None else None
        count = export(reader, out, form, run=which, frames=frames, force=force)
    typer.echo(f"{out}: {count} {'line' if count == 1 else 'lines'} of {'samples' if frames else 'messages'} written")


def _open(journal: str | None, config: Path | None) -> JournalReader:
    """Open the journal that the options name, or the one of the bench's configuration and there only that bench."""
    if journal is not None:
        return JournalReader(journal)
    bench = place(config)
    return JournalReader(bench.journal, bench=bench.name)


# --- how it looks ---


def _words(entry: Entry) -> tuple[str, Text]:
    line = describe(entry.message)
    return line.who, Text(line.says, style=STYLES[line.tone])


def _print_line(console: Console, time: str, who: str, says: Text) -> None:
    if not console.is_terminal:  # one message stays one line, for grep
        console.print(Text(f"{time}  {who:<12}  ").append(says), soft_wrap=True)
        return
    console.print(grid_of([(time, who, says)]))


def _heading(summary: RunSummary, verdict: Verdict | None) -> RenderableType:
    facts = Table.grid(padding=(0, 2, 0, 0))
    facts.add_column(style="dim", no_wrap=True)
    facts.add_column()
    facts.add_row("run", summary.run)
    facts.add_row("bench", summary.bench)
    duration = f", took {took(summary.started, summary.ended)}" if summary.ended else ""
    facts.add_row("started", local(summary.started) + duration)
    if summary.job:
        facts.add_row("job", summary.job)
    if summary.operator:
        facts.add_row("operator", summary.operator)
    if verdict is not None:
        if verdict.inputs:
            facts.add_row("inputs", Text(", ".join(f"{name} {value}" for name, value in verdict.inputs.items())))
        for used in verdict.instruments:
            facts.add_row(used.role, Text(f"{used.instrument} ({_known_as(used.identity) or used.kind})"))
    return Group(Text(summary.sequence, style="bold"), facts, "")


def _known_as(identity: Identity | None) -> str:
    if identity is None:
        return ""
    serial = f"serial {identity.serial}" if identity.serial else ""
    return ", ".join(filter(None, (f"{identity.maker} {identity.model}".strip(), serial)))


def _story(entries: list[Entry]) -> RenderableType:
    """Every message but the verdict and what says it twice, with the seconds since the run began."""
    begun = datetime.fromisoformat(time_of(entries[0].message))
    lines = []
    for entry in entries:
        if isinstance(entry.message, Verdict | Prompt) or _is_detail(entry.message):
            continue  # a prompt has its event; the verdict has its own place
        since = datetime.fromisoformat(time_of(entry.message)) - begun
        lines.append((f"{since.total_seconds():8.1f} s", *_words(entry)))
    return Group(grid_of(lines), "")


def _is_detail(message: Message) -> bool:
    """Tell whether a message belongs to a picture rather than to a story: the estimates of a heat come by the dozen."""
    return isinstance(message, Event) and message.type == type_of(HeatEstimated)


def _verdict(verdict: Verdict) -> RenderableType:
    style = STYLES[tone_of(verdict.outcome)]
    parts: list[RenderableType] = [Text(verdict.reason)]
    if verdict.measurements:
        parts += ["", _measurements(verdict.measurements)]
        parts += [Text(f"[{number}] {by}", "dim") for by, number in sources_of(verdict.measurements).items()]
    if verdict.evidence:
        evidence = Table.grid(padding=(0, 2, 0, 0))
        evidence.add_column(style="dim", no_wrap=True)
        evidence.add_column()
        for seen in verdict.evidence:
            place_in_journal = f"row {seen.journal_row}" if seen.journal_row is not None else ""
            evidence.add_row(place_in_journal, Text(seen.says))
        parts += ["", Text("Evidence", style="bold"), evidence]
    title = Text(f" {verdict.outcome}: {verdict.finding} ", style=style)
    return Panel(Group(*parts), title=title, title_align="left", border_style=style, padding=(0, 1))


def _measurements(measurements: list[Measurement]) -> Table:
    table = Table(box=None, header_style="bold", pad_edge=False, padding=(0, 2, 0, 0))
    numbers = sources_of(measurements)
    for title in ("measured", "value", "limits", ""):
        table.add_column(title, justify="right" if title == "value" else "left")
    for one in measurements:
        value = human(one.value, one.unit) if one.value is not None else "none"
        if one.uncertainty is not None:
            value += f" \N{PLUS-MINUS SIGN} {human(*difference(one.uncertainty, one.unit))}"
        low = f"from {human(one.low, one.unit)}" if one.low is not None else ""
        high = f"to {human(one.high, one.unit)}" if one.high is not None else ""
        source = f"[{numbers[one.source]}]" if one.source else ""
        limits = Text(" ".join(filter(None, (low, high, source))))
        table.add_row(Text(one.name), value, limits, Text(one.outcome, STYLES[tone_of(one.outcome)]))
    return table
