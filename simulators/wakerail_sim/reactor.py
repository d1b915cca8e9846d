"""A far end's own thread: it blocks in select until there are bytes, something is due, or another thread calls."""

from __future__ import annotations

import contextlib
import heapq
import itertools
import queue
import selectors
import socket
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import TypeVar

from wakerail_kit.clock import Clock
from wakerail_kit.errors import DeviceUnavailable

_T = TypeVar("_T")

_LONGEST_SELECT_S = 0.02  # while something is due, so that a clock that was moved by hand is noticed
_JOIN_S = 5.0


class Reactor:
    """Runs handlers of ready files, actions sent by other threads, and actions due at a time of the clock.

    ``watch``, ``unwatch`` and ``at`` are for use in the thread itself (and before ``start``); ``post`` and ``ask``
    are for all others.
    """

    def __init__(self, name: str, clock: Clock) -> None:
        self._clock = clock
        self._selector = selectors.DefaultSelector()
        self._waker, self._woken = socket.socketpair()
        self._waker.setblocking(False)
        self._woken.setblocking(False)
        self._selector.register(self._woken, selectors.EVENT_READ, self._swallow_wakes)
        self._posted: queue.SimpleQueue[Callable[[], object]] = queue.SimpleQueue()
        self._due: list[tuple[float, int, Callable[[], object]]] = []
        self._order = itertools.count()
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self) -> None:
        """End the thread and wait for it; what was posted before still runs. May be called twice."""
        if self._thread.is_alive():
            self.post(self._stop)
            self._thread.join(_JOIN_S)
        self._selector.close()
        self._waker.close()
        self._woken.close()

    def post(self, action: Callable[[], object]) -> None:
        """Let the thread run an action soon; never blocks. Does nothing once the thread has ended."""
        self._posted.put(action)
        with contextlib.suppress(OSError):  # a full pipe wakes it just as well; a closed one means that it has ended
            self._waker.send(b"w")

    def ask(self, action: Callable[[], _T]) -> _T:
        """Let the thread run an action; return what it returns or raise what it raises.

        Raises DeviceUnavailable if the thread has ended.
        """
        if not self._thread.is_alive():
            raise DeviceUnavailable("the simulated bench has stopped")
        answer: Future[_T] = Future()

        def run() -> None:
            try:
                answer.set_result(action())
            except BaseException as wrong:  # noqa: BLE001  whoever asked gets it
                answer.set_exception(wrong)

        self.post(run)
        return answer.result(_JOIN_S)

    def at(self, at_s: float, action: Callable[[], object]) -> None:
        """Run an action when the clock has come to ``at_s``."""
        heapq.heappush(self._due, (at_s, next(self._order), action))

    def watch(self, file: int, events: int, ready: Callable[[], object]) -> None:
        """Call ``ready`` whenever a file is readable or writable (``selectors.EVENT_READ``, ``EVENT_WRITE``)."""
        if file in self._selector.get_map():
            self._selector.modify(file, events, ready)
        else:
            self._selector.register(file, events, ready)

    def unwatch(self, file: int) -> None:
        """Watch a file no longer."""
        with contextlib.suppress(KeyError):
            self._selector.unregister(file)

    def _stop(self) -> None:
        self._stopping = True

    def _run(self) -> None:
        while not self._stopping:
            posted = self._posted.qsize()  # what is posted later waits for the files that were ready before it
            for key, _ in self._selector.select(0 if posted else self._wait_s()):
                if key.fd in self._selector.get_map():  # an earlier handler may have closed it
                    key.data()
            for _ in range(posted):
                self._posted.get()()
            while self._due and self._due[0][0] <= self._clock.monotonic_s():
                heapq.heappop(self._due)[2]()

    def _wait_s(self) -> float | None:
        if not self._due:
            return None
        return min(max(0.0, self._due[0][0] - self._clock.monotonic_s()), _LONGEST_SELECT_S)

    def _swallow_wakes(self) -> None:
        with contextlib.suppress(BlockingIOError):
            self._woken.recv(4096)
