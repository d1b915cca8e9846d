"""What is going to happen in the world, by step; things due in one step happen in the order they were planned."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(slots=True, eq=False)
class Planned:
    """Something planned. ``cancel`` takes it off again, whether it happened or not."""

    action: Callable[[], None]
    cancelled: bool = False

    def cancel(self) -> None:
        self.cancelled = True


class Agenda:
    """Holds ``now_step``, and what is planned after it."""

    def __init__(self) -> None:
        self.now_step = 0
        self._planned: list[tuple[int, int, Planned]] = []
        self._order = itertools.count()

    def after(self, steps: int, action: Callable[[], None]) -> Planned:
        """Plan an action in ``steps`` steps from now, at least one."""
        planned = Planned(action)
        heapq.heappush(self._planned, (self.now_step + max(1, steps), next(self._order), planned))
        return planned

    def next_step(self) -> int | None:
        """Return the step of the next thing planned, or None."""
        while self._planned and self._planned[0][2].cancelled:
            heapq.heappop(self._planned)
        return self._planned[0][0] if self._planned else None

    def run_due(self) -> None:
        """Let everything happen that is due by now."""
        due_step = self.next_step()
        while due_step is not None and due_step <= self.now_step:
            heapq.heappop(self._planned)[2].action()
            due_step = self.next_step()
