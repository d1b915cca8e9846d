"""One client's stream of bytes: cut into requests, carried out in order, answered with the instrument's mishaps."""

from __future__ import annotations

import math
import os
import selectors
from collections.abc import Callable

from wakerail_kit.clock import Clock
from wakerail_sim.mishaps import Mishaps
from wakerail_sim.reactor import Reactor

Cut = Callable[[bytearray], bytes | None]
Answer = Callable[[bytes], bytes | None]

MAX_LINE = 4096
_READ_BYTES = 65536
_MAX_WAITING_BYTES = 1 << 20  # of requests while the instrument hangs; what is beyond is lost, as on a real one


def cut_line(received: bytearray) -> bytes | None:
    """Take a line out of what was received, without its end; an overlong one comes as it stands."""
    end = received.find(b"\n")
    if end < 0:
        if len(received) <= MAX_LINE:
            return None
        line = bytes(received)
        received.clear()
        return line
    line = bytes(received[:end])
    del received[: end + 1]
    return line.removesuffix(b"\r")


class Link:
    """Serves one non-blocking file in a reactor's thread. ``gone`` is called when the other side has gone.

    While an answer cannot be written nothing more is read or carried out, so a client that does not read holds up only
    itself.
    """

    def __init__(
        self, reactor: Reactor, clock: Clock, file: int, *, cut: Cut, answer: Answer, mishaps: Mishaps
    ) -> None:
        self._reactor = reactor
        self._clock = clock
        self._file = file
        self._cut = cut
        self._answer = answer
        self._mishaps = mishaps
        self._received = bytearray()
        self._unsent = bytearray()
        self._open = True
        self.gone: Callable[[], None] = lambda: None
        reactor.watch(file, selectors.EVENT_READ, self._read)

    def close(self) -> None:
        """Stop serving; the file is the owner's to close."""
        self._open = False
        self._reactor.unwatch(self._file)

    def serve(self) -> None:
        """Carry out what was received, as long as the instrument does not hang and its answers can be written."""
        while self._open and not self._unsent:
            hung_until_s = self._mishaps.hung_until_s()
            if hung_until_s is not None:
                del self._received[_MAX_WAITING_BYTES:]
                if math.isfinite(hung_until_s):
                    self._reactor.at(hung_until_s, self.serve)
                return
            request = self._cut(self._received)
            if request is None:
                return
            answer = self._answer(request)
            if answer is not None:
                self._send_later(self._mishaps.spoil(answer))

    def _send_later(self, answer: bytes) -> None:
        if self._mishaps.latency_s > 0:
            self._reactor.at(self._clock.monotonic_s() + self._mishaps.latency_s, lambda: self._send(answer))
        else:
            self._send(answer)

    def _send(self, answer: bytes) -> None:
        if self._open:
            self._unsent += answer
            self._write()

    def _read(self) -> None:
        try:
            received = os.read(self._file, _READ_BYTES)
        except BlockingIOError:
            return
        except OSError:
            received = b""
        if not received:
            self.gone()
            return
        self._received += received
        self.serve()

    def _write(self) -> None:
        try:
            del self._unsent[: os.write(self._file, self._unsent)]
        except BlockingIOError:
            pass
        except OSError:
            self.gone()
            return
        if self._unsent:
            self._reactor.watch(self._file, selectors.EVENT_WRITE, self._go_on)
        else:
            self._reactor.watch(self._file, selectors.EVENT_READ, self._read)

    def _go_on(self) -> None:
        self._write()
        self.serve()
