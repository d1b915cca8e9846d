"""``wakerail report``: a job told in a page, a PDF and a file for programs, from the journal alone."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from importlib import metadata
from pathlib import Path
from typing import Annotated

import msgspec
import typer
from rich.console import Console

from wakerail.cli.log import JournalPath
from wakerail.cli.options import AsJson, Config, place
from wakerail.config import files_beside
from wakerail.journal import FileStore, JournalReader, JournalUnavailable
from wakerail.report.job.paper import Paper
from wakerail_kit.clock import RealClock
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.job_report import JobReport


def report(
    which: Annotated[str, typer.Argument(metavar="JOB", help="The job's ticket or name, or 'last'.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="The folder to write into (default: out/ and the job's name).")
    ] = None,
    paper: Annotated[Paper, typer.Option(help="The paper that it is printed on.")] = Paper.A4,
    journal: JournalPath = None,
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Write the report of a job: one HTML file, a PDF, and the same as JSON. No daemon is needed.

    With --json it prints the JSON, and writes files only where --out names a folder. A photo that is lost is told, and
    the report is written without it.
    """
    bench = place(config)
    write_report(
        which,
        out=out,
        paper=paper,
        journal=journal if journal is not None else bench.journal,
        files=bench.files if journal is None else files_beside(journal),
        devices=bench.devices,
        made=RealClock().now(),
        as_json=as_json,
    )


def write_report(
    which: str,
    *,
    out: Path | None,
    paper: Paper,
    journal: str,
    files: Path | None,
    devices: Path,
    made: datetime,
    as_json: bool = False,
) -> None:
    """Write the report of a job and say where. ``files`` is where those of jobs are kept, ``devices`` has the
    families' own; ``made`` is the time that it bears.

    Raises what the journal's reader does, and ConfigInvalid if ``out`` cannot be written.
    """
    from wakerail.family_plans import load_family_plans  # noqa: PLC0415  slow to load, all of these
    from wakerail.report.job.charts import charts_of  # noqa: PLC0415
    from wakerail.report.job.document import document_of  # noqa: PLC0415
    from wakerail.report.job.html import html_of  # noqa: PLC0415
    from wakerail.report.job.job_report import report_of  # noqa: PLC0415
    from wakerail.report.job.material import read_material  # noqa: PLC0415
    from wakerail.report.job.pdf import pdf_of  # noqa: PLC0415
    from wakerail_kit.families import load_families  # noqa: PLC0415

    with Console(stderr=True).status("reading the journal") as status:
        with JournalReader(journal) as reader:
            store = None if files is None else FileStore(files)
            material = read_material(reader, which, lambda what: status.update(f"reading {what}"), store)
        titles = {family.name: family.says for family in load_families(devices)}
        charts = charts_of(material)
        told = report_of(
            material,
            plan=load_family_plans(devices).get(material.job.family),
            device=titles.get(material.job.family, ""),
            charts=[chart.told for chart in charts],
            made=made,
            software_version=metadata.version("wakerail"),
        )
        twin = msgspec.json.format(msgspec.json.encode(told), indent=2) + b"\n"
        if as_json:
            typer.echo(twin, nl=False)
            if out is None:
                _tell_lost(told)
                return
        document = document_of(told, photos=material.photos)
        status.update("drawing")
        forms = {"html": html_of(document, charts, paper).encode(), "json": twin}
        status.update("laying out the PDF")
        forms["pdf"] = pdf_of(document, charts, paper, made)
    for file in _written(out or Path("out") / told.job, f"report-{told.job}", forms):
        if not as_json:
            typer.echo(f"written: {file}")
    _tell_lost(told)


def _tell_lost(told: JobReport) -> None:
    """Raise JournalUnavailable, in one line, if photos that were kept are lost: all the rest of the report is there."""
    lost = [f"{file.name}: {file.not_shown}" for file in told.files if file.lost]
    if lost:
        raise JournalUnavailable(f"the report lacks {'a photo' if len(lost) == 1 else 'photos'}: {'; '.join(lost)}")


def _written(folder: Path, name: str, files: Mapping[str, bytes]) -> list[Path]:
    """Write files into a folder and return them. Raises ConfigInvalid if they cannot be written."""
    paths = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for suffix, content in files.items():
            paths.append(folder / f"{name}.{suffix}")
            paths[-1].write_bytes(content)
    except OSError as wrong:
        raise ConfigInvalid(f"--out {folder}: cannot be written: {wrong.strerror or wrong}") from None
    return paths
