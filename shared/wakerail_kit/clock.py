"""The one clock. Whatever needs the time is handed a Clock; nothing else reads the time."""

from __future__ import annotations

import asyncio
import heapq
import itertools
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """Time as the whole bench sees it, for coroutines and for I/O threads."""

    def monotonic_s(self) -> float:
        """Return seconds on a scale that never goes back; its zero has no meaning."""
        ...

    def now(self) -> datetime:
        """Return the civil time, aware, in UTC."""
        ...

    async def sleep(self, delay_s: float) -> None:
        """Suspend the calling coroutine for ``delay_s`` seconds."""
        ...

    def wait(self, event: threading.Event, delay_s: float) -> bool:
        """Block the calling thread until ``event`` is set (True) or ``delay_s`` seconds went by (False)."""
        ...


def rfc3339(at: datetime) -> str:
    """Return ``at`` as RFC 3339 text in UTC with microseconds and a ``Z``."""
    return at.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


class RealClock:
    """The machine's own clocks."""

    def monotonic_s(self) -> float:
        return time.monotonic()

    def now(self) -> datetime:
        return datetime.now(UTC)

    async def sleep(self, delay_s: float) -> None:
        await asyncio.sleep(delay_s)

    def wait(self, event: threading.Event, delay_s: float) -> bool:
        return event.wait(max(0.0, delay_s))


class SimulatedClock:
    """A clock that stands still until ``advance`` moves it; sleepers wake in the order they are due.

    Safe to use from several threads. ``start`` is the civil time at monotonic zero.
    """

    def __init__(self, start: datetime = datetime(2026, 1, 1, tzinfo=UTC)) -> None:
        self._start = start
        self._now_s = 0.0
        self._due: list[tuple[float, int, Callable[[], None]]] = []
        self._order = itertools.count()
        self._lock = threading.Lock()

    def monotonic_s(self) -> float:
        return self._now_s

    def now(self) -> datetime:
        return self._start + timedelta(seconds=self._now_s)

    async def sleep(self, delay_s: float) -> None:
        if delay_s <= 0:
            await asyncio.sleep(0)
            return
        loop = asyncio.get_running_loop()
        woken = loop.create_future()

        def finish() -> None:
            if not woken.done():
                woken.set_result(None)

        def wake() -> None:
            loop.call_soon_threadsafe(finish)

        self._call_at(self._now_s + delay_s, wake)
        await woken

    def wait(self, event: threading.Event, delay_s: float) -> bool:
        # The waiter polls its event in short real naps, so that a set() made by any
        # thread ends the wait although this clock is standing still.
        due = threading.Event()
        self._call_at(self._now_s + max(0.0, delay_s), due.set)
        while not due.is_set():
            if event.wait(0.001):
                return True
        return event.is_set()

    def advance(self, delay_s: float) -> None:
        """Move the time on by ``delay_s`` seconds, waking each sleeper at its own moment."""
        target_s = self._now_s + delay_s
        while True:
            with self._lock:
                if not self._due or self._due[0][0] > target_s:
                    self._now_s = target_s
                    return
                at_s, _, wake = heapq.heappop(self._due)
                self._now_s = max(self._now_s, at_s)
            wake()

    def next_due_s(self) -> float | None:
        """Return the monotonic time of the next sleeper, or None when nobody sleeps."""
        with self._lock:
            return self._due[0][0] if self._due else None

    async def run_for(self, delay_s: float) -> None:
        """Advance by ``delay_s`` seconds, letting coroutines run after each waking."""
        end_s = self._now_s + delay_s
        while True:
            for _ in range(10):  # let whatever was woken run on to its next wait
                await asyncio.sleep(0)
            due_s = self.next_due_s()
            if due_s is None or due_s > end_s:
                self.advance(end_s - self._now_s)
                return
            self.advance(due_s - self._now_s)

    def _call_at(self, at_s: float, wake: Callable[[], None]) -> None:
        with self._lock:
            if at_s > self._now_s:
                heapq.heappush(self._due, (at_s, next(self._order), wake))
                return
        wake()
