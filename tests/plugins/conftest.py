"""A scripted far end on a real pseudo-terminal, for drivers of serial instruments."""

import contextlib
import os
import select
import threading
import tty
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from wakerail_kit.kinds import Instrument, Kind

#: What a script answers to one question: pieces, each written by itself; none for no answer.
Pieces = Sequence[bytes]


class SerialFarEnd:
    """Cuts what arrives into questions, asks the script for each, and writes what it says, piece by piece.

    ``take`` returns how many bytes of what has arrived are one whole question, or 0. ``address`` is a link to the port
    and keeps its place when the instrument is unplugged and plugged in again.
    """

    def __init__(self, address: Path, take: Callable[[bytes], int], script: Callable[[bytes], Pieces]) -> None:
        self.address = address
        self._take = take
        self._script = script
        self._thread: threading.Thread | None = None
        self._spoil = False
        self.plug()

    def plug(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self._wake_read, self._wake = os.pipe()
        self.address.unlink(missing_ok=True)
        self.address.symlink_to(os.ttyname(self._slave))
        self._thread = threading.Thread(target=self._serve, name="far-end")
        self._thread.start()

    def unplug(self) -> None:
        if self._thread is None:
            return
        os.write(self._wake, b"x")
        self._thread.join(5)
        assert not self._thread.is_alive()
        self._thread = None
        for fd in (self._master, self._slave, self._wake_read, self._wake):
            os.close(fd)

    @property
    def is_plugged(self) -> bool:
        return self._thread is not None

    def spoil_next(self) -> None:
        """Answer the next question with noise; a link that got this must not be used again."""
        self._spoil = True

    def say(self, data: bytes) -> None:
        """Send something unasked and wait until it lies in the port's buffer."""
        os.write(self._master, data)
        select.select([self._slave], [], [], 5)

    def _serve(self) -> None:
        arrived = b""
        while True:
            ready, _, _ = select.select([self._master, self._wake_read], [], [])
            if self._wake_read in ready:
                return
            with contextlib.suppress(OSError):
                arrived += os.read(self._master, 4096)
            while (size := self._take(arrived)) > 0:
                question, arrived = arrived[:size], arrived[size:]
                pieces = self._script(question)
                spoilt, self._spoil = self._spoil, False
                for piece in [b"\xa5\x5a\r\n"] if spoilt else pieces:
                    os.write(self._master, piece)


def one_line(arrived: bytes) -> int:
    """Take a line ended by CR LF."""
    return arrived.find(b"\r\n") + 2 if b"\r\n" in arrived else 0


class SerialRig:
    """A far end as the kit's conformance checks handle one."""

    def __init__(
        self,
        kind: Kind,
        far_end: SerialFarEnd,
        driver: Callable[[], Instrument],
        energised: Callable[[], bool] = lambda: False,
    ) -> None:
        self.kind = kind
        self.driver = driver
        self.energised = energised
        self.garble = far_end.spoil_next
        self.cut = far_end.unplug
        self._far_end = far_end

    def restore(self) -> None:
        if not self._far_end.is_plugged:
            self._far_end.plug()


@contextlib.contextmanager
def serve(
    address: Path, script: Callable[[bytes], Pieces], take: Callable[[bytes], int] = one_line
) -> Iterator[SerialFarEnd]:
    far_end = SerialFarEnd(address, take, script)
    try:
        yield far_end
    finally:
        far_end.unplug()


@pytest.fixture
def serve_serial(tmp_path):
    """Return a function that serves a script on a serial port until the test ends."""
    with contextlib.ExitStack() as stack:

        def start(script, take=one_line) -> SerialFarEnd:
            return stack.enter_context(serve(tmp_path / "port", script, take))

        yield start


@pytest.fixture(scope="session")
def serial_rig():
    """Return the class of a rig for the kit's conformance checks."""
    return SerialRig


@pytest.fixture(scope="session")
def serve_serial_for():
    """Return the same as a context manager, for tests that need many far ends."""
    return serve
