"""A job as a terminal shows it: the intake, where it stands, what happened, the isolation so far."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from wakerail.cli.looks import STYLES, grid_of, local, took
from wakerail.jobs import Job, JobState
from wakerail.journal import RunSummary, Tone
from wakerail.journal.job_words import time_spent
from wakerail.journal.words import describe_data, printable, tone_of
from wakerail_kit.events import EventData
from wakerail_kit.job_events import IsolationAdvised

_STATES = {JobState.OPEN: Tone.GOOD, JobState.PAUSED: Tone.CAUTION, JobState.CLOSED: Tone.QUIET}
_FORGOTTEN = "what was personal in it was forgotten"
_SHORT_ID = 8
_BAR = 24
#: Causes less likely than this are not drawn.
_FAINT = 0.01


def job_screen(job: Job, runs: Sequence[RunSummary]) -> RenderableType:
    """Return all of a job."""
    parts: list[RenderableType] = [_heading(job), _facts(job), "", _title("What happened"), grid_of(_story(job, runs))]
    if job.observations or job.advice:
        parts += ["", _title("Isolation so far"), _isolation(job)]
    return Group(*parts)


def jobs_table(jobs: Sequence[Job]) -> RenderableType:
    """Return jobs as a table, one a line."""
    table = Table(box=None, header_style="bold", pad_edge=False, padding=(0, 2, 0, 0))
    for title in ("job", "state", "stage", "family", "symptom", "opened", "bench"):
        table.add_column(title, no_wrap=title != "symptom", overflow="fold")
    for job in jobs:
        closed = f"{job.state}: {job.closed.resolution}" if job.closed else str(job.state)
        table.add_row(
            job.name,
            Text(closed, STYLES[_STATES[job.state]]),
            str(job.stage),
            job.family,
            Text(printable(job.intake.symptom)),
            local(job.opened)[:16],
            job.bench,
        )
    return table


def _title(text: str) -> Text:
    return Text(text, style="bold")


def _heading(job: Job) -> Text:
    heading = Text.assemble((job.name, "bold"), f"  {job.family}  ", (str(job.state), STYLES[_STATES[job.state]]))
    return heading if job.state is JobState.CLOSED else heading.append(f", {job.stage}")


def _facts(job: Job) -> Table:
    facts = Table.grid(padding=(0, 2, 0, 0))
    facts.add_column(style="dim", no_wrap=True)
    facts.add_column()
    intake = job.intake
    for name, says in (
        ("symptom", intake.symptom),
        ("exposure", intake.exposure),
        ("condition", intake.condition),
        ("not to be lost", intake.keep),
        ("serial", intake.serial),
        ("customer", intake.customer),
        ("in their words", intake.words),
        ("opened", local(job.opened) + (f" by {job.operator}" if job.operator else "")),
        ("on", job.bench),
        ("time noted", time_spent(job.spent_s) if job.spent_s else ""),
        ("forgotten", _FORGOTTEN if job.forgotten else ""),
    ):
        if says:
            facts.add_row(name, Text(printable(says)))
    return facts


def _story(job: Job, runs: Sequence[RunSummary]) -> list[tuple[str, str, Text]]:
    """Return what was noted and kept and the runs, in the order of their times."""
    lines = [(note.time, str(getattr(note.what, "stage", "")), _said(note.what)) for note in job.kept]
    lines += [(run.started, f"run {run.run[-_SHORT_ID:]}", _run(run)) for run in runs]
    if job.closed is not None and job.closed_at is not None:
        lines.append((job.closed_at, "", _said(job.closed)))
    lines.append((job.opened, "", Text("opened")))
    lines.sort(key=lambda line: line[0])
    return [(local(time)[:16], who, says) for time, who, says in lines]


def _said(data: EventData) -> Text:
    line = describe_data(data)
    return Text(line.says, STYLES[line.tone])


def _run(run: RunSummary) -> Text:
    outcome = run.outcome or ("cut off" if run.cut_off else "under way")
    says = Text(f"{run.sequence}: ").append(outcome, STYLES[tone_of(run.outcome)])
    says.append(f", {run.finding}" if run.finding else "", STYLES[tone_of(run.outcome)])
    return says.append(f", {took(run.started, run.ended)}" if run.ended else "", "dim")


def _isolation(job: Job) -> RenderableType:
    seen = Table.grid(padding=(0, 2, 0, 0))
    seen.add_column(style="dim", justify="right")
    seen.add_column()
    for one in job.observations:
        seen.add_row(str(one.number), Text(printable(one.says)))
    parts: list[RenderableType] = [seen]
    if job.advice:
        parts += ["", _shares(job.advice[-1]), ""]
    if job.ended is not None:
        parts.append(_said(job.ended))
    elif job.advice:
        parts.append(Text.assemble(("Next: ", "bold"), printable(job.advice[-1].says)))
    return Group(*parts)


def _shares(advice: IsolationAdvised) -> Table:
    """Return the likeliest causes with bars."""

    def rows() -> Iterator[tuple[str, str, str]]:
        for cause, share in sorted(advice.shares.items(), key=lambda pair: -pair[1]):
            if share >= _FAINT:
                yield printable(cause), f"{100 * share:.0f} %", "█" * round(_BAR * share) or "▏"

    table = Table.grid(padding=(0, 2, 0, 0))
    for justify in ("left", "right", "left"):
        table.add_column(justify=justify)
    for row in rows():
        table.add_row(*map(Text, row))
    return table
