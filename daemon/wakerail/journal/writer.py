"""The one writer: a thread that owns the one write connection, takes work from coroutines and commits it in groups."""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, TypeVar

from wakerail.journal.database import Database
from wakerail.journal.errors import JournalUnavailable
from wakerail_kit.clock import Clock
from wakerail_kit.errors import ConfigInvalid, ContractViolation, WakerailError

_T = TypeVar("_T")
_MAX_WAITING = 1024
_MAX_GROUP = 512
_SLOW_S = 5.0


@dataclass(slots=True, eq=False)
class _Job:
    work: Callable[[Database], Any]
    done: asyncio.Future[Any]
    result: Any = None
    failure: WakerailError | None = None

    def settle(self) -> None:
        if self.done.done():  # whoever asked was cancelled meanwhile
            return
        if self.failure is None:
            self.done.set_result(self.result)
        else:
            self.done.set_exception(self.failure)


class Writer:
    """Runs functions on the write connection, in order, each durable when its ``call`` returns.

    Whatever waits goes into one transaction. When ``_MAX_WAITING`` calls are under way, further callers wait. A
    failure is told to every caller of its group; the next group tries afresh, with a new connection if need be.
    """

    def __init__(self, connect: Callable[[], Database], clock: Clock) -> None:
        self._connect = connect
        self._clock = clock
        self._loop = asyncio.get_running_loop()
        self._places = asyncio.Semaphore(_MAX_WAITING)
        self._queue: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._database: Database | None = None
        self._thread = threading.Thread(target=self._run, name="journal-writer", daemon=True)
        self._stopped = False
        self._was_open = False
        self._busy_since_s: float | None = None
        self.groups_committed = 0
        self.failing: str | None = None

    async def start(self) -> None:
        """Open the journal. Raises what ``open_database`` raises, and then leaves no thread behind."""
        self._thread.start()
        try:
            await self.call(lambda _: None)
        except BaseException:
            await self.stop()
            raise

    async def call(self, work: Callable[[Database], _T]) -> _T:
        """Run ``work`` in a transaction and return its result once that is durable.

        Raises JournalUnavailable if it could not be, ContractViolation if the work itself was wrong. A caller who is
        cancelled does not take the work back.
        """
        async with self._places:
            if self._stopped:
                raise JournalUnavailable("the journal is closed")
            job = _Job(work, self._loop.create_future())
            self._queue.put(job)
            result: _T = await job.done
            return result

    async def stop(self) -> None:
        """Finish what is waiting, close the connection and end the thread."""
        if not self._stopped:
            self._stopped = True
            self._queue.put(None)
        await asyncio.to_thread(self._thread.join)

    @property
    def stuck_for_s(self) -> float | None:
        """How long the write under way has taken, once that is too long; else None."""
        since_s = self._busy_since_s
        if since_s is None or self._clock.monotonic_s() - since_s < _SLOW_S:
            return None
        return self._clock.monotonic_s() - since_s

    def _run(self) -> None:
        going = True
        while going:
            group, going = self._next_group()
            self._busy_since_s = self._clock.monotonic_s()
            self._commit(group)
            self._busy_since_s = None
            self._settle(group)
        if self._database is not None:
            self._database.close()

    def _next_group(self) -> tuple[list[_Job], bool]:
        group: list[_Job] = []
        job = self._queue.get()
        while job is not None:
            group.append(job)
            if len(group) == _MAX_GROUP or self._queue.empty():
                return group, True
            job = self._queue.get()
        return group, False

    def _commit(self, group: list[_Job]) -> None:
        if not group:
            return
        try:
            if self._database is None:
                self._database = self._connect()
            self._database.begin()
            for job in group:
                job.result = job.work(self._database)
            self._database.commit()
        except Exception as wrong:  # noqa: BLE001  nothing may end this thread; every caller is told
            self._recover()
            if len(group) > 1 and not isinstance(wrong, JournalUnavailable):
                for job in group:  # one of them is wrong in itself: it alone is to fail
                    self._commit([job])
                return
            self._fail(group, wrong)
        else:
            self.failing = None
            self._was_open = True
            self.groups_committed += 1

    def _fail(self, group: list[_Job], wrong: Exception) -> None:
        match wrong:
            case ConfigInvalid() if self._was_open:  # what took the journal's place while we ran may be put right again
                failure: WakerailError = JournalUnavailable(str(wrong))
            case WakerailError():
                failure = wrong
            case _:
                failure = ContractViolation(f"journal: {wrong!r}")
        if isinstance(failure, JournalUnavailable):
            self.failing = str(failure)
        for job in group:
            job.failure = failure

    def _recover(self) -> None:
        """Undo what was begun; a connection that cannot even do that is dropped, and the next group opens a new one."""
        if self._database is None:
            return
        try:
            self._database.rollback()
        except Exception:  # noqa: BLE001  whatever it was, this connection is of no more use
            self._database.close()
            self._database = None

    def _settle(self, group: list[_Job]) -> None:
        def settle_all() -> None:
            for job in group:
                job.settle()

        with suppress(RuntimeError):  # the loop ended without closing the journal; what was committed is committed
            self._loop.call_soon_threadsafe(settle_all)
