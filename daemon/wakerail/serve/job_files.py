"""Files kept with jobs, and jobs forgotten: the requests that touch what lies beside the journal."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from wakerail.bench import Bench
from wakerail.bus import Requests
from wakerail.jobs import Job, JobBook
from wakerail.jobs.forgetting import Files, files_of, forgotten
from wakerail.journal import FileStore, JournalReader, rewrite
from wakerail.serve.job_desk import Decided, JobDesk, workable
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.job_events import JobFileKept, JobForgotten
from wakerail_kit.job_requests import MAX_FILE_BYTES, ForgetJob, KeepFile

_MEDIA_TYPE = re.compile(r"^[\w.+-]+/[\w.+-]+$")
_FILE_NAME = re.compile(r"^[^/\\\x00-\x1f]{1,200}$")


class JobFiles:
    """Answers them. ``files`` is where files are kept; None if the journal is a database and nobody said.

    ``runs_of`` tells the runs of a job that are in progress: what they still write must not be forgotten too early.
    """

    def __init__(
        self, bench: Bench, desk: JobDesk, journal: str, files: Path | None, runs_of: Callable[[str], list[str]]
    ) -> None:
        self._bench = bench
        self._desk = desk
        self._journal = journal
        self._runs_of = runs_of
        self._files = None if files is None else FileStore(files)

    def handle(self, requests: Requests) -> None:
        """Answer the bench's requests."""
        requests.handle("job-keep", self._keep)
        requests.handle("job-forget", self._forget)

    async def _keep(self, args: KeepFile) -> dict[str, Any]:
        files = self._store()
        _check_file(args)

        def kept(reader: JournalReader) -> Decided[JobFileKept]:
            job = workable(JobBook(reader), args.job)
            data = JobFileKept(
                job=job.name,
                stage=args.stage or job.stage,
                sha256=files.keep(args.content),  # durable before its event tells of it
                name=args.name,
                media_type=args.media_type,
                size_bytes=len(args.content),
                says=args.says.strip(),
                operator=args.operator,
            )
            return Decided(job.name, [data], data)

        rows, data = await self._desk.keep(kept)
        return {"job": data.job, "row": rows[-1], "sha256": data.sha256}

    def _store(self) -> FileStore:
        if self._files is None:
            raise ConfigInvalid(
                "no place for files: the journal is a database; name a folder by the key `files` of bench.yaml"
            )
        return self._files

    async def _forget(self, args: ForgetJob) -> dict[str, Any]:
        if not args.confirmed:
            raise ConfigInvalid("to forget cannot be undone; say that you mean it (`confirmed`)")
        async with self._desk.turn:
            job, files = await self._desk.read(lambda reader: self._files_of(JobBook(reader), args.job))
            if runs := self._runs_of(job.name):
                raise ConfigInvalid(f"job {job.name} has a run in progress ({runs[0]}); forget it once that has ended")
            # The files first: until their hashes are emptied they can be found, and all of it may be asked again.
            removed = 0
            for sha256 in files.to_remove:
                removed += await asyncio.to_thread(self._store().remove, sha256)
            topic, event = self._bench.job_event(job.name, JobForgotten(job=job.name, operator=args.operator))
            row, erased = await asyncio.to_thread(
                rewrite,
                self._journal,
                lambda reader: forgotten(reader, job.name, files.elsewhere.keys()),
                topic,
                event,
                bench=self._bench.name,
            )
            self._bench.announce(topic, event, row)
            benches = sorted(set(files.elsewhere.values()))
            return {
                "job": job.name,
                "row": row,
                "files_removed": removed,
                "files_on": benches,
                "erased": erased,
            }

    def _files_of(self, book: JobBook, which: str) -> tuple[Job, Files]:
        job = book.job(which)
        others = (other for other in book.jobs() if other.name != job.name)
        return job, files_of(job, others, self._files, self._bench.name)


def _check_file(args: KeepFile) -> None:
    if not _FILE_NAME.match(args.name) or args.name.startswith("."):
        raise ConfigInvalid("name: is no file's name; without folders, at most 200 characters, like 'board.jpg'")
    if not _MEDIA_TYPE.match(args.media_type):
        raise ConfigInvalid(f"media_type: {args.media_type!r} is none; write it like 'image/jpeg'")
    if not args.content:
        raise ConfigInvalid(f"{args.name}: is empty; nothing to keep")
    if len(args.content) > MAX_FILE_BYTES:
        size, most = f"{len(args.content):,}", f"{MAX_FILE_BYTES:,}"
        raise ConfigInvalid(f"{args.name}: has {size} bytes, and at most {most} are kept (8 MiB); make it smaller")
