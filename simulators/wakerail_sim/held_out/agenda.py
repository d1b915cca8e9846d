"""A discrete-event clock: what is to happen, and when."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Generator

Process = Generator[float, None, None]
"""Something that goes on for a while: it yields how long (s) it waits before it goes on."""


class Agenda:
    """Calls what is due, in order of time, and of asking for what is due at once."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self._asked = 0
        self._due: list[tuple[float, int, Callable[[], None]]] = []

    def at(self, at_s: float, call: Callable[[], None]) -> None:
        """Ask for a call at a time."""
        self._asked += 1
        heapq.heappush(self._due, (at_s, self._asked, call))

    def run(self, until_s: float) -> None:
        """Call all that is due until a time, which then is now."""
        while self._due and self._due[0][0] <= until_s:
            self.now_s, _, call = heapq.heappop(self._due)
            call()
        self.now_s = until_s
