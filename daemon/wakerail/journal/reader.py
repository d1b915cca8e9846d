"""The journal's read side: another process may be writing, and neither waits for the other."""

from __future__ import annotations

import heapq
import os
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import TYPE_CHECKING, Any, Self

import msgspec

from wakerail.journal import schema
from wakerail.journal.database import Database, open_database
from wakerail.journal.records import PROMPT, VERDICT, Entry, RunSummary, decode, time_of
from wakerail_kit import topics
from wakerail_kit.clock import rfc3339
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import RunStarted, WorkerDied, read_event, type_of
from wakerail_kit.messages import Event, Verdict

if TYPE_CHECKING:
    from wakerail.journal.chunks import Chunk

_MESSAGES_A_READ = 500
_CHUNKS_A_READ = 16
_SHORTEST_ENDING = 4
_ENTRY = '"row", topic, type, payload'
_RUN_STARTED = type_of(RunStarted)
_WORKER_DIED = type_of(WorkerDied)
_OF_JOBS = f"{topics.ROOT}/%/job/%"  # an observation names the run that saw it, and may come from another bench


class JournalReader:
    """A journal opened for reading only. With ``bench``, only what that bench wrote is seen.

    It may read over a connection to the ``database`` that is open already, and sees what its transaction sees.

    Raises ConfigInvalid if there is no journal, JournalUnavailable if it is away just now; so may all its methods.
    Iterators read a few rows at a time, so that a long walk neither fills the memory nor holds the writer's file back.
    """

    def __init__(
        self, url: str | os.PathLike[str], *, bench: str | None = None, database: Database | None = None
    ) -> None:
        self._bench = bench
        self._database = database or open_database(os.fspath(url), write=False)
        self.where = self._database.where

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the journal."""
        self._database.close()

    # --- messages ---

    def messages(
        self,
        *,
        run: str | None = None,
        type: str | None = None,  # noqa: A002  the standard's word for it
        since_row: int = 0,
        limit: int | None = None,
    ) -> Iterator[Entry]:
        """Yield events, prompts and verdicts after ``since_row``, oldest first, at most ``limit``.

        ``type`` is an event's CloudEvents type, ``prompt`` or ``verdict``.
        """
        return self._walk(_Where(run=run, type=type, bench=self._bench), since_row, limit)

    def events(
        self,
        *,
        run: str | None = None,
        type: str | None = None,  # noqa: A002  the standard's word for it
        since_row: int = 0,
        limit: int | None = None,
    ) -> Iterator[Entry]:
        """Yield events alone, as ``messages`` does."""
        where = _Where(run=run, type=type, bench=self._bench)
        where.add(f"type NOT IN ('{PROMPT}', '{VERDICT}')")
        return self._walk(where, since_row, limit)

    def verdicts(self, *, run: str | None = None, since_row: int = 0, limit: int | None = None) -> Iterator[Entry]:
        """Yield verdicts alone, as ``messages`` does."""
        return self.messages(run=run, type=VERDICT, since_row=since_row, limit=limit)

    def of_types(self, types: Iterable[str], *, containing: str = "") -> Iterator[Entry]:
        """Yield the messages of some types, oldest first, each found by the index of types, not by a walk over all.

        With ``containing``, only those whose JSON has that text in it, in letters of any case.
        """
        walks = []
        for one in types:
            where = _Where(type=one, bench=self._bench)
            if containing:
                where.add(schema.CONTAINING, containing=schema.pattern(containing))
            walks.append(self._walk(where, 0, None))
        return heapq.merge(*walks, key=lambda entry: entry.row)

    def last_row(self) -> int:
        """Return the row of the newest message of all benches, 0 if there is none."""
        return int(self._select('coalesce(max("row"), 0) FROM messages', _Where())[0][0])

    def newest(self, count: int) -> list[Entry]:
        """Return the newest ``count`` messages, the oldest of them first."""
        return self._newest(_Where(bench=self._bench), count)[::-1]

    def verdict(self, which: str = "last") -> Verdict:
        """Return the newest verdict (``last``), the one of that id, or that of a run, named as ``find_run`` takes it.

        Raises ConfigInvalid if there is none.
        """
        found: list[Entry] = []
        if which != "last":
            found = self._newest(_Where(id=which, type=VERDICT, bench=self._bench), 1)
        if not found:
            run = None if which == "last" else self.find_run(which)
            found = self._newest(_Where(run=run, type=VERDICT, bench=self._bench), 1)
        match found:
            case [Entry(message=Verdict() as verdict)]:
                return verdict
        raise ConfigInvalid(f"{self.where}: no verdict yet" + ("" if which == "last" else f" of run {which!r}"))

    # --- runs ---

    def runs(self, *, limit: int | None = None) -> Iterator[RunSummary]:
        """Yield the runs in short, newest first, at most ``limit``."""
        for run, bench, first_row, last_row in self._runs(_Where(bench=self._bench), limit):
            yield self._summary(run, bench, first_row, last_row)

    def run(self, which: str = "last") -> RunSummary:
        """Return one run in short, named as ``find_run`` takes it. Raises ConfigInvalid if there is none such."""
        ((run, bench, first_row, last_row),) = self._runs(_Where(run=self.find_run(which)), 1)
        return self._summary(run, bench, first_row, last_row)

    def find_run(self, which: str = "last") -> str:
        """Return the id of the run that began last (``last``), or of the one whose id is or ends in ``which``.

        An ending has at least four characters. Raises ConfigInvalid if there is none such, or more than one.
        """
        where = _Where(bench=self._bench)
        if which != "last":
            if self._runs(_Where(run=which, bench=self._bench), 1):
                return which
            ending = {"which": which, "size": max(len(which), _SHORTEST_ENDING)}
            where.add("substr(run, length(run) + 1 - :size) = :which", **ending)
        found = [run for run, *_ in self._runs(where, 2)]
        if not found:
            says = "no run yet" if which == "last" else f"no run {which!r}; 'wakerail log runs' lists them"
            raise ConfigInvalid(f"{self.where}: {says}")
        if which != "last" and len(found) > 1:
            raise ConfigInvalid(f"{self.where}: more than one run ends in {which!r}; give more of its id")
        return str(found[0])

    # --- frames ---

    def frames(
        self,
        *,
        instrument: str | None = None,
        run: str | None = None,
        signal: str | None = None,
        start: datetime | None = None,
        end: datetime | None = None,
    ) -> Iterator[Chunk]:
        """Yield the samples as chunks of arrays with their civil times, in the order in which they were written.

        ``start`` (inclusive) and ``end`` (exclusive) are aware times and cut to the sample. With ``signal``, only
        chunks that have it, and only that signal of them.
        """
        from wakerail.journal.chunks import COLUMNS, unpack  # noqa: PLC0415  numpy is not to slow the daemon's start

        where = _Where(instrument=instrument, run=run, bench=self._bench)
        if start is not None:
            where.add("last_time >= :start", start=rfc3339(start))
        if end is not None:
            where.add("first_time < :end", end=rfc3339(end))
        for record in self._pages(f"{COLUMNS} FROM chunks", where, _CHUNKS_A_READ):
            chunk = unpack(record).between(start, end)
            if chunk is not None and (signal is None or signal in chunk.signals):
                yield chunk if signal is None else chunk.only(signal)

    def signals(self, *, run: str | None = None) -> list[tuple[str, str]]:
        """Return every signal there are samples of, with its UCUM unit, sorted; of one run or of all."""
        where = _Where(run=run, bench=self._bench)
        found = self._select("DISTINCT units FROM chunks", where)
        return sorted({pair for (units,) in found for pair in msgspec.json.decode(units, type=dict[str, str]).items()})

    # --- how it is done ---

    def _walk(self, where: _Where, since_row: int, limit: int | None) -> Iterator[Entry]:
        rows = self._pages(f"{_ENTRY} FROM messages", where, _MESSAGES_A_READ, since_row=since_row, limit=limit)
        for row, topic, type_name, payload in rows:
            yield Entry(row, topic, decode(type_name, payload))

    def _newest(self, where: _Where, count: int) -> list[Entry]:
        rows = self._select(f"{_ENTRY} FROM messages", where, 'ORDER BY "row" DESC LIMIT :count', count=count)
        return [Entry(row, topic, decode(type_name, payload)) for row, topic, type_name, payload in rows]

    def _runs(self, where: _Where, limit: int | None) -> list[tuple[Any, ...]]:
        """Return run, bench, first and last row of the newest runs; what happens to a job is no part of a run."""
        where.add("run IS NOT NULL AND topic NOT LIKE :of_jobs", of_jobs=_OF_JOBS)
        newest = 'GROUP BY run, bench ORDER BY min("row") DESC' + ("" if limit is None else " LIMIT :limit")
        return self._select('run, bench, min("row"), max("row") FROM messages', where, newest, limit=limit)

    def _summary(self, run: str, bench: str, first_row: int, last_row: int) -> RunSummary:
        begun = next(self.messages(run=run, type=_RUN_STARTED, limit=1), None)
        started = read_event(begun.message, RunStarted) if begun and isinstance(begun.message, Event) else None
        ended = next(self.verdicts(run=run, limit=1), None)
        verdict = ended.message if ended and isinstance(ended.message, Verdict) else None
        first = next(self.messages(run=run, limit=1)).message
        return RunSummary(
            run=run,
            bench=bench,
            first_row=first_row,
            last_row=last_row,
            sequence=started.sequence if started else verdict.sequence.name if verdict else "",
            started=verdict.started if verdict else time_of(first),
            ended=verdict.ended if verdict else None,
            outcome=verdict.outcome if verdict else None,
            finding=verdict.finding if verdict else None,
            reason=verdict.reason if verdict else "",
            job=started.job if started else verdict.job if verdict else None,
            operator=started.operator if started else verdict.operator if verdict else "",
            verdict=verdict.id if verdict else None,
            cut_off=verdict is None and self._worker_died_after(first_row, bench),
        )

    def _worker_died_after(self, row: int, bench: str) -> bool:
        where = _Where(bench=bench, type=_WORKER_DIED)
        where.add('"row" > :row', row=row)
        return bool(self._select('"row" FROM messages', where, "LIMIT 1"))

    def _pages(
        self, what: str, where: _Where, size: int, *, since_row: int = 0, limit: int | None = None
    ) -> Iterator[tuple[Any, ...]]:
        """Yield the rows after ``since_row`` in their order, read ``size`` at a time."""
        where.add('"row" > :since_row')
        left = limit
        while left is None or left > 0:
            count = size if left is None else min(size, left)
            rows = self._select(what, where, 'ORDER BY "row" LIMIT :count', since_row=since_row, count=count)
            yield from rows
            if len(rows) < count:
                return
            since_row = rows[-1][0]
            left = None if left is None else left - count

    def _select(self, what: str, where: _Where, then: str = "", **parameters: object) -> list[tuple[Any, ...]]:
        sql = f"SELECT {what} {where} {then}"
        return self._database.execute(sql, where.parameters | parameters)


class _Where:
    """Conditions of a statement, with their parameters. Keywords that are None set no condition."""

    def __init__(self, **equal: str | None) -> None:
        self.parameters: dict[str, Any] = {name: value for name, value in equal.items() if value is not None}
        self._conditions = [f"{name} = :{name}" for name in self.parameters]

    def add(self, condition: str, **parameters: object) -> None:
        self._conditions.append(condition)
        self.parameters |= parameters

    def __str__(self) -> str:
        return f"WHERE {' AND '.join(self._conditions)}" if self._conditions else ""
