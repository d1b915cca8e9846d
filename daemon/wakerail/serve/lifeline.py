"""The line between supervisor and worker: signs of life one way, and each hears at once when the other has died."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from wakerail_kit.clock import Clock

#: How often the worker's event loop gives a sign of life.
BEAT_S = 0.25

_BEAT, _READY, _RECORDED = b".", b"R", b"J"
_CHUNK = 4096


class Lifeline:
    """The worker's end."""

    def __init__(self, line: socket.socket) -> None:
        self._line = line
        #: True once the supervisor is gone.
        self.cut = False

    @asynccontextmanager
    async def beating(self, alone: Callable[[], None]) -> AsyncIterator[None]:
        """Give signs of life for as long as the event loop turns; call ``alone`` once if the supervisor dies."""
        loop = asyncio.get_running_loop()

        def heard() -> None:
            with contextlib.suppress(OSError):
                if self._line.recv(_CHUNK):
                    return
            self.cut = True
            loop.remove_reader(self._line)
            alone()

        self._line.setblocking(False)
        loop.add_reader(self._line, heard)
        beats = asyncio.create_task(self._beat(), name="gives signs of life")
        try:
            yield
        finally:
            loop.remove_reader(self._line)
            beats.cancel()

    def ready(self) -> None:
        """Tell the supervisor that the bench is served."""
        self._say(_READY)

    def recorded(self) -> None:
        """Tell the supervisor that what it handed over is in the journal."""
        self._say(_RECORDED)

    async def _beat(self) -> None:
        while True:
            self._say(_BEAT)
            await asyncio.sleep(BEAT_S)

    def _say(self, what: bytes) -> None:
        with contextlib.suppress(OSError):  # gone is heard on its own; full: it is stopped, and will read it later
            self._line.send(what)


class Pulse:
    """The supervisor's end: what it has heard of the worker.

    Silence is counted only while the supervisor itself runs: a machine that slept, or stopped both, is no silence.
    """

    def __init__(self, line: socket.socket, clock: Clock) -> None:
        self._line = line
        self._clock = clock
        self._looked_s = clock.monotonic_s()
        self.silent_s = 0.0
        self.began = False
        self.ready = False
        self.recorded = False
        self.ended = False

    def look(self, within_s: float) -> None:
        """Take what has come. ``within_s`` is how long the supervisor meant to wait since it last looked."""
        now_s = self._clock.monotonic_s()
        self.silent_s += min(now_s - self._looked_s, within_s)
        self._looked_s = now_s
        try:
            said = self._line.recv(_CHUNK)
        except BlockingIOError:
            return
        except OSError:  # it died with something unread
            said = b""
        self.ended = not said
        self.began = self.began or bool(said)
        self.ready = self.ready or _READY in said
        self.recorded = self.recorded or _RECORDED in said
        if said:
            self.silent_s = 0.0
