"""What is personal in a job, emptied where it was kept: its events, the notes of its runs, its files."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass
from typing import Any, TypeVar, get_type_hints

import msgspec
from msgspec import Struct

from wakerail.jobs.book import JOB_TYPES, JobBook, naming
from wakerail.jobs.job import Job
from wakerail.journal import FileStore, JournalReader
from wakerail.journal.records import Message, decode, type_of
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import PromptAnswered, any_data, read_event
from wakerail_kit.job_events import PERSONAL, JobFileKept
from wakerail_kit.messages import Event

_S = TypeVar("_S", bound=Struct)
FORGOTTEN = "forgotten"
#: What stands before a note where evidence, a failed function or the reason of a run that was refused repeats it.
_BEFORE_A_NOTE = r"(?:(?<=Noted: )|(?<=; )|(?<=\())"
#: A note of so many characters is taken for itself wherever it stands; a shorter one could be a word of a reason.
_UNMISTAKABLE = 12


@dataclass(frozen=True, slots=True)
class Files:
    """The files of a job, by their hashes: those that go, and by bench those that only another bench can remove."""

    to_remove: frozenset[str]
    elsewhere: Mapping[str, str]


def files_of(job: Job, others: Iterator[Job], store: FileStore | None, bench: str) -> Files:
    """Return which of a job's files are to be removed on this bench; what another job keeps as well stays."""
    shared = {one.sha256 for other in others for one, _ in _kept(other)}
    here, elsewhere = set(), {}
    for kept, where in _kept(job):
        if kept.sha256 in shared:
            continue
        if where == bench or (store is not None and store.holds(kept.sha256)):
            here.add(kept.sha256)
        else:
            elsewhere[kept.sha256] = where
    return Files(frozenset(here), elsewhere)


def _kept(job: Job) -> Iterator[tuple[JobFileKept, str]]:
    for note in job.kept:
        if isinstance(note.what, JobFileKept) and note.what.sha256:
            yield note.what, note.bench


def forgotten(reader: JournalReader, job: str, elsewhere: Set[str]) -> dict[int, Message]:
    """Return the messages of a job and of its runs that tell something personal, emptied, by their rows.

    A file whose hash is in ``elsewhere`` keeps its hash, by which its own bench removes it. Raises ConfigInvalid for
    an event that another version wrote and this one does not understand.
    """
    emptied: dict[int, Message] = {}
    for entry in reader.of_types(JOB_TYPES, containing=naming(job)):
        if isinstance(entry.message, Event) and entry.message.data.get("job") == job:
            emptied[entry.row] = _event(entry.message, elsewhere)
    for run in JobBook(reader).runs_of(job):
        emptied |= _notes(reader, run.run, emptied)
    return emptied


def _event(event: Event, elsewhere: Set[str]) -> Event:
    try:
        data = any_data(event)
    except msgspec.ValidationError as wrong:
        raise ConfigInvalid(
            f"event {event.id} was written by another version of Wakerail ({wrong}); forget the job with that one"
        ) from None
    bare = empty(data)
    if isinstance(data, JobFileKept) and data.sha256 in elsewhere:
        bare = msgspec.structs.replace(bare, sha256=data.sha256)
    return msgspec.structs.replace(event, data=msgspec.to_builtins(bare))


def empty(data: _S) -> _S:
    """Return a struct with every personal field emptied, those of structs within it too."""
    hints = get_type_hints(type(data), include_extras=True)
    changed: dict[str, Any] = {}
    for field in data.__struct_fields__:
        value = getattr(data, field)
        if PERSONAL in getattr(hints[field], "__metadata__", ()):
            changed[field] = type(value)()
        elif isinstance(value, Struct):
            changed[field] = empty(value)
    return msgspec.structs.replace(data, **changed)


def _notes(reader: JournalReader, run: str, emptied: Mapping[int, Message]) -> dict[int, Message]:
    """Return the messages of a run that repeat what was noted at its prompts, without it; the verdict stays one.

    ``emptied`` are messages, by their rows, as they are by now.
    """
    entries = list(reader.messages(run=run))
    answers = (read_event(entry.message, PromptAnswered) for entry in entries if isinstance(entry.message, Event))
    notes = {answer.note for answer in answers if answer is not None and answer.note}
    if not notes:
        return {}
    told = _repeating(notes)
    changed = {}
    for entry in entries:
        plain = _without(msgspec.to_builtins(emptied.get(entry.row, entry.message)), notes, told)
        message = decode(type_of(entry.message), msgspec.json.encode(plain).decode())
        if message != entry.message:
            changed[entry.row] = message
    return changed


def _repeating(notes: Set[str]) -> re.Pattern[str]:
    """Return the pattern of notes as other texts repeat them, with their blanks as they are or put together."""
    written = {text for note in notes for text in (note, " ".join(note.split()))}
    ways = [
        ("" if len(text) >= _UNMISTAKABLE else _BEFORE_A_NOTE) + re.escape(text) + r"(?!\w)"
        for text in sorted(written, key=len, reverse=True)
    ]
    return re.compile("|".join(ways))


def _without(plain: Any, notes: Set[str], told: re.Pattern[str]) -> Any:
    """Return plain data without notes: as a note's own field, and as other texts repeat them."""
    if isinstance(plain, dict):
        gone = {key: "" for key, value in plain.items() if key == "note" and value in notes}
        return {key: _without(value, notes, told) for key, value in plain.items()} | gone
    if isinstance(plain, list):
        return [_without(one, notes, told) for one in plain]
    return told.sub(FORGOTTEN, plain) if isinstance(plain, str) else plain
