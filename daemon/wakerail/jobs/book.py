"""The jobs of a journal: all, one, and the runs that belong to it."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from wakerail.jobs.job import Happened, Job, JobState, fold
from wakerail.jobs.names import LAST
from wakerail.journal import JournalReader, RunSummary
from wakerail.journal.records import bench_of
from wakerail_kit import job_events
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import EVENT_TYPES, RunStarted, any_data, read_event, type_of
from wakerail_kit.hints import nearest
from wakerail_kit.job_events import JobOpened
from wakerail_kit.messages import Event

#: The types of all events that make a job.
JOB_TYPES = tuple(kind for kind, data in EVENT_TYPES.items() if data.__module__ == job_events.__name__)


class JobBook:
    """Reads jobs from a journal that is open for reading.

    A job goes from bench to bench: give it a reader of all benches. Its methods raise what the reader raises.
    """

    def __init__(self, reader: JournalReader) -> None:
        self._reader = reader

    def jobs(self, *, state: JobState | None = None) -> list[Job]:
        """Return the jobs, or those in one state, the one opened last before the others."""
        found = fold(self.events())
        return [job for job in reversed(found.values()) if state in {None, job.state}]

    def names(self) -> list[str]:
        """Return the names of all jobs, the one opened last before the others; quicker than all that is in them."""
        opened = [one.data.job for one in self.events(types=(type_of(JobOpened),)) if isinstance(one.data, JobOpened)]
        return list(dict.fromkeys(opened))[::-1]

    def find(self, name: str) -> Job | None:
        """Return the job of that name, or None."""
        return fold(self.events(name)).get(name)

    def job(self, which: str) -> Job:
        """Return the job of that name, in letters of any case, or the one opened last (``last``).

        Raises ConfigInvalid with the nearest name if there is none.
        """
        name = which.strip().lower()
        if name == LAST:
            names = self.names()
            if not names:
                raise ConfigInvalid(f"{self._reader.where}: no job yet; `wakerail job open` opens one")
            name = names[0]
        if (job := self.find(name)) is not None:
            return job
        hint = nearest(name, self.names(), "")
        known = f"{hint}, or open it first" if hint.startswith("did") else "open it first"
        taken = "; its earlier runs then belong to it" if self.runs_of(name) else ""
        raise ConfigInvalid(f"no job {name!r}; {known}: `wakerail job open --ticket {name.upper()}`{taken}")

    def runs_of(self, job: str) -> list[RunSummary]:
        """Return the runs of a job with their verdicts, oldest first. The job need not have been opened."""
        named = self._reader.of_types((type_of(RunStarted),), containing=naming(job))
        started = [read_event(entry.message, RunStarted) for entry in named if isinstance(entry.message, Event)]
        return [
            self._reader.run(one.run)
            for one in started
            if one is not None and one.job is not None and one.job.lower() == job.lower()
        ]

    def events(self, job: str | None = None, types: tuple[str, ...] = JOB_TYPES) -> Iterator[Happened]:
        """Yield the events of all jobs, or of one, oldest first."""
        for entry in self._reader.of_types(types, containing="" if job is None else naming(job)):
            if isinstance(entry.message, Event):
                try:
                    data = any_data(entry.message)
                except msgspec.ValidationError:
                    continue  # written by another version; the log shows it as it is
                yield Happened(data, entry.message.time, bench_of(entry.message), entry.row)


def naming(job: str) -> str:
    """Return how the JSON of an event names its job."""
    return f'"job":{msgspec.json.encode(job).decode()}'
