"""What waits for an instrument's I/O thread: in the order it was asked, unless the instrument is to be made safe."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any

from wakerail_kit.errors import DeviceRefused, WakerailError


@dataclass(slots=True)
class Command:
    """Work for the lane. ``safety`` work replaces all that waits and is done whatever state the link is in."""

    work: Callable[[], Any]
    safety: bool = False
    result: Future[Any] = field(default_factory=Future)

    def refuse(self, why: WakerailError) -> None:
        """Answer that it was not done."""
        if self.result.set_running_or_notify_cancel():
            self.result.set_exception(why)


class CommandQueue:
    """Any thread puts commands in, the lane takes them out."""

    def __init__(self) -> None:
        self._waiting: deque[Command] = deque()
        self._lock = threading.Lock()

    def __bool__(self) -> bool:
        return bool(self._waiting)

    def put(self, command: Command) -> None:
        """Take a command; one of safety overtakes and refuses all others, so that nothing is switched on after it."""
        overtaken: list[Command] = []
        with self._lock:
            if command.safety:
                overtaken = [waiting for waiting in self._waiting if not waiting.safety]
                self._waiting = deque(waiting for waiting in self._waiting if waiting.safety)
            self._waiting.append(command)
        for waiting in overtaken:
            waiting.refuse(DeviceRefused("not done, it was made safe first"))

    def next(self) -> Command | None:
        """Take out the next command."""
        with self._lock:
            return self._waiting.popleft() if self._waiting else None

    def next_of_safety(self) -> Command | None:
        """Take out the next command of safety; other commands stay where they are."""
        with self._lock:
            command = next((waiting for waiting in self._waiting if waiting.safety), None)
            if command is not None:
                self._waiting.remove(command)
            return command

    def refuse(self, why: WakerailError, *, safety_too: bool) -> None:
        """Refuse what waits; commands of safety only if there is nobody left to do them."""
        with self._lock:
            refused = [waiting for waiting in self._waiting if safety_too or not waiting.safety]
            self._waiting = deque(waiting for waiting in self._waiting if not safety_too and waiting.safety)
        for waiting in refused:
            waiting.refuse(why)
