"""The files of a job taken out of where they are kept."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from wakerail.jobs import Job
from wakerail.journal import FileStore, JournalUnavailable
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.job_events import JobFileKept


def write_files(job: Job, store: Path | None, out: Path) -> Iterator[Path]:
    """Write each file of a job into the folder ``out`` and yield it; two of one name get numbers.

    Raises ConfigInvalid if there is no place of files or ``out`` cannot be written; after all that are sound are
    written, JournalUnavailable with a line for those that are not there or are not what was kept.
    """
    kept = [note.what for note in job.kept if isinstance(note.what, JobFileKept) and note.what.name]
    if kept and store is None:
        raise ConfigInvalid("no place of files is known: the journal is a database; `files` of bench.yaml names it")
    wrong = []
    for file in kept:
        try:
            content = FileStore(store or Path()).read(file.sha256)
        except JournalUnavailable as missing:
            wrong.append(f"{file.name}: {missing}")
            continue
        yield _written(out, Path(file.name).name, content)
    if wrong:
        raise JournalUnavailable("; ".join(wrong))


def _written(out: Path, name: str, content: bytes) -> Path:
    """Write a file that is not there yet, under its name or one with a number; return it."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        place, number = out / name, 1
        while place.exists() and place.read_bytes() != content:
            number += 1
            place = out / f"{Path(name).stem}-{number}{Path(name).suffix}"
        place.write_bytes(content)
    except OSError as wrong:
        raise ConfigInvalid(f"{out}: cannot be written: {wrong.strerror or wrong}") from None
    return place
