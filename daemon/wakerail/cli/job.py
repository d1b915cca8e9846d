"""``wakerail job``: open a job with its intake, look at it, note what was done, close it."""

from __future__ import annotations

import asyncio
import getpass
import mimetypes
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, TypeVar

import msgspec
import typer
from rich.console import Console

from wakerail.cli.bench import ask
from wakerail.cli.intake import take_intake
from wakerail.cli.job_files import write_files
from wakerail.cli.log import JournalPath
from wakerail.cli.options import AsJson, Config, place
from wakerail.config import files_beside
from wakerail.jobs import JobBook, JobState
from wakerail.jobs.privacy import refuse_passcodes
from wakerail.jobs.telling import short, whole
from wakerail.journal import JournalReader
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.families import load_families
from wakerail_kit.job_events import JobStage, Resolution
from wakerail_kit.job_requests import (
    MAX_FILE_BYTES,
    CloseJob,
    EnterStage,
    ForgetJob,
    KeepFile,
    NoteJob,
    PauseJob,
    ResumeJob,
)
from wakerail_kit.units import UnitInvalid, parse_quantity

_T = TypeVar("_T")
_LONG_TIMEOUT_S = 60.0
_UNKNOWN_TYPE = "application/octet-stream"

job = typer.Typer(no_args_is_help=True)

Which = Annotated[str, typer.Argument(metavar="JOB", help="The job's ticket or name, or 'last'.")]
Operator = Annotated[str, typer.Option(help="Who does it.")]
Stage = Annotated[JobStage | None, typer.Option(help="The stage that it belongs to, if not the present one.")]


@job.command("open")
def open_(
    family: Annotated[str | None, typer.Option(help="The device family.")] = None,
    ticket: Annotated[str | None, typer.Option(help="The shop's ticket; it names the job.")] = None,
    serial: Annotated[str | None, typer.Option(help="The device's serial number.")] = None,
    symptom: Annotated[str | None, typer.Option(help="What the device does, or does not do.")] = None,
    exposure: Annotated[str | None, typer.Option(help="Whether it was exposed to liquid; which, and when.")] = None,
    condition: Annotated[str | None, typer.Option(help="Cracks, dents, opened before.")] = None,
    keep: Annotated[str | None, typer.Option(help="What the customer must not lose.")] = None,
    words: Annotated[str | None, typer.Option(help="What happened, in the customer's words.")] = None,
    customer: Annotated[str | None, typer.Option(help="The customer's name; may stay empty.")] = None,
    operator: Operator = "",
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Open a job. At a terminal the questions of the intake are asked that no option answers.

    Never write down a passcode: what looks like one is refused.
    """
    families = [one.name for one in load_families(place(config).devices)]
    given = {
        "family": family,
        "ticket": ticket,
        "serial": serial,
        "symptom": symptom,
        "exposure": exposure,
        "condition": condition,
        "keep": keep,
        "words": words,
        "customer": customer,
    }
    request = take_intake(given, families, operator or getpass.getuser(), _ask_person if _at_terminal() else None)
    _do(config, "job-open", request, as_json=as_json, told=lambda answer: f"job {answer['job']} is open")


def _ask_person(question: str) -> str:
    *before, asks = question.split("\n")
    console = Console(stderr=True, highlight=False, markup=False)
    for line in before:
        console.print(line, style="yellow")
    console.print(asks, style="bold", end=" ")
    try:
        return input()
    except EOFError:
        raise ConfigInvalid("the intake ended before it was complete; no job was opened") from None


@job.command()
def show(
    which: Which,
    files: Annotated[
        Path | None, typer.Option("--files", metavar="FOLDER", help="Write the files kept with it into this folder.")
    ] = None,
    journal: JournalPath = None,
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Tell all of a job: the intake, its runs with their verdicts, notes, parts, files, and the isolation so far."""
    found, runs = _read(journal, config, lambda book: ((one := book.job(which)), book.runs_of(one.name)))
    if as_json:
        _print(whole(found, runs))
    else:
        from wakerail.cli.job_screen import job_screen  # noqa: PLC0415

        Console(highlight=False).print(job_screen(found, runs))
    if files is not None:
        store = place(config).files if journal is None else files_beside(journal)
        for written in write_files(found, store, files):
            typer.echo(f"written: {written}", err=as_json)


@job.command("list")
def list_(
    state: Annotated[JobState | None, typer.Option(help="Only those in this state.")] = None,
    count: Annotated[int, typer.Option("-n", "--count", min=1, help="How many of the newest to list.")] = 20,
    journal: JournalPath = None,
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """List the jobs of all benches that share the journal, newest first."""
    found = _read(journal, config, lambda book: book.jobs(state=state)[:count])
    if as_json:
        _print([short(one) for one in found])
    elif not found:
        typer.echo(f"No job is {state}." if state else "No job yet; `wakerail job open` opens one.")
    else:
        from wakerail.cli.job_screen import jobs_table  # noqa: PLC0415

        Console(highlight=False).print(jobs_table(found))


@job.command()
def note(
    which: Which,
    text: Annotated[str, typer.Argument(help="What was seen or done.")] = "",
    spent: Annotated[str, typer.Option(help="The time that it took, e.g. '25 min'.")] = "",
    part: Annotated[str, typer.Option(help="A part that went into the device.")] = "",
    count: Annotated[int, typer.Option(help="How many of that part.")] = 1,
    stage: Stage = None,
    operator: Operator = "",
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Note what was seen or done, the time that it took, or a part that was used."""
    try:
        spent_s = parse_quantity(spent, "s") if spent else None
    except UnitInvalid as wrong:
        raise ConfigInvalid(f"--spent: {wrong}") from None
    request = NoteJob(
        job=which,
        text=text,
        spent_s=spent_s,
        part=part,
        count=count,
        stage=stage,
        operator=operator or getpass.getuser(),
    )
    _do(config, "job-note", request, as_json=as_json, told=lambda answer: f"noted in job {answer['job']}")


@job.command()
def keep(
    which: Which,
    file: Annotated[Path, typer.Argument(help=f"A photo or another file, at most {MAX_FILE_BYTES // 2**20} MiB.")],
    says: Annotated[str, typer.Option(help="What it shows.")] = "",
    media_type: Annotated[str, typer.Option("--type", help="Its media type, if the name does not tell.")] = "",
    stage: Stage = None,
    operator: Operator = "",
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Keep a photo or another file with a job."""
    refuse_passcodes(name=file.name, says=says)
    try:
        content = file.read_bytes() if file.stat().st_size <= MAX_FILE_BYTES else None
    except OSError as wrong:
        raise ConfigInvalid(f"{file}: cannot be read: {wrong.strerror or wrong}") from None
    if content is None:
        raise ConfigInvalid(f"{file}: is larger than {MAX_FILE_BYTES // 2**20} MiB, the most that is kept")
    guessed = mimetypes.guess_type(file.name)[0] or _UNKNOWN_TYPE
    request = KeepFile(
        job=which,
        name=file.name,
        media_type=media_type or guessed,
        content=content,
        says=says,
        stage=stage,
        operator=operator or getpass.getuser(),
    )
    _do(
        config,
        "job-keep",
        request,
        as_json=as_json,
        told=lambda answer: f"kept with job {answer['job']}: {file.name}",
        timeout_s=_LONG_TIMEOUT_S,
    )


@job.command()
def stage(
    which: Which,
    to: Annotated[JobStage, typer.Argument(help="The stage that the work goes to.")],
    operator: Operator = "",
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Say that the work goes to another stage, in any order."""
    request = EnterStage(job=which, stage=to, operator=operator or getpass.getuser())
    _do(config, "job-stage", request, as_json=as_json, told=lambda answer: f"job {answer['job']} goes to {to}")


@job.command()
def pause(
    which: Which,
    why: Annotated[str, typer.Option(help="What it waits for.")] = "",
    operator: Operator = "",
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Let a job wait, for a part or for another day."""
    request = PauseJob(job=which, why=why, operator=operator or getpass.getuser())
    _do(config, "job-pause", request, as_json=as_json, told=lambda answer: f"job {answer['job']} is paused")


@job.command()
def resume(which: Which, operator: Operator = "", config: Config = None, as_json: AsJson = False) -> None:
    """Go on with a job on this bench, or open a closed one again."""
    request = ResumeJob(job=which, operator=operator or getpass.getuser())
    _do(config, "job-resume", request, as_json=as_json, told=lambda answer: f"job {answer['job']} goes on")


@job.command()
def close(
    which: Which,
    resolution: Annotated[Resolution, typer.Option("--as", help="How it ended.")],
    cause: Annotated[
        list[str] | None, typer.Option(help="What was at fault, by the family's plan; again for a second one.")
    ] = None,
    says: Annotated[str, typer.Option(help="What was wrong and done, in words.")] = "",
    operator: Operator = "",
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Close a job. The causes that are named teach the next plans of the family."""
    request = CloseJob(
        job=which, resolution=resolution, causes=cause or [], says=says, operator=operator or getpass.getuser()
    )
    _do(config, "job-close", request, as_json=as_json, told=lambda answer: f"job {answer['job']} is closed")


@job.command()
def forget(
    which: Which,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask whether it is meant.")] = False,
    operator: Operator = "",
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Empty what is personal in a job, and remove its files. Verdicts and measurements stay; it cannot be undone.

    Emptied are the customer's name and words, the serial number, what must not be lost, every note, and notes at
    prompts. Copies are beyond it: backups, exports, and whoever listened on the bus.
    """
    found, _ = _read(None, config, lambda book: (book.job(which), None))
    if not yes:
        if not _at_terminal():
            raise ConfigInvalid("to forget cannot be undone; say --yes where nobody can be asked")
        typer.confirm(f"Forget what is personal in job {found.name}? It cannot be undone", abort=True, err=True)
    request = ForgetJob(job=found.name, confirmed=True, operator=operator or getpass.getuser())
    _do(config, "job-forget", request, as_json=as_json, told=_forgotten, timeout_s=_LONG_TIMEOUT_S)


def _forgotten(answer: dict[str, Any]) -> str:
    count = answer["files_removed"]
    said = [f"job {answer['job']}: what was personal is forgotten; {count} file{'' if count == 1 else 's'} removed"]
    said += [f"files are kept on {bench}: ask there, too" for bench in answer["files_on"]]
    if not answer["erased"]:
        said.append("somebody was reading the journal, so old texts may still be in its file; ask again")
    return "\n".join(said)


def _at_terminal() -> bool:
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()


def _do(
    config: Path | None,
    verb: str,
    request: msgspec.Struct,
    *,
    as_json: bool,
    told: Callable[[dict[str, Any]], str],
    timeout_s: float = 5.0,
) -> None:
    """Ask the daemon, and print what it did."""
    answer = asyncio.run(ask(config, verb, request, timeout_s)).data
    if as_json:
        _print(answer)
    else:
        typer.echo(told(answer))


def _read(journal: str | None, config: Path | None, what: Callable[[JobBook], _T]) -> _T:
    """Ask the book of the journal that the options name, of all benches in it."""
    with JournalReader(journal if journal is not None else place(config).journal) as reader:
        return what(JobBook(reader))


def _print(told: object) -> None:
    print(msgspec.json.encode(told).decode())  # noqa: T201  this is the command line
