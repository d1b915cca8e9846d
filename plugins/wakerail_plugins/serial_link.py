"""A text instrument on a serial port: exact framing by terminator, and no use of a link that is out of step.

Shared by the heating plate and the port tester.
"""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from wakerail_kit.clock import Clock
from wakerail_kit.dialect import Dialect, find_dialect
from wakerail_kit.dialect_exchange import Exchange, Link
from wakerail_kit.dialect_talk import Answer, Talk
from wakerail_kit.dialect_wording import Value
from wakerail_kit.errors import ConfigInvalid, DeviceUnavailable, OutOfSync, WakerailError
from wakerail_kit.hooks import BuildContext
from wakerail_kit.messages import Identity
from wakerail_kit.yamldoc import Section

if TYPE_CHECKING:
    import serial
    from serial.serialutil import Timeout

try:
    import termios

    #: What an unplugged port raises; pyserial's SerialException is an OSError, termios.error is not.
    GONE: tuple[type[Exception], ...] = (OSError, termios.error)
except ImportError:  # no termios on this system
    GONE = (OSError,)

#: ValueError: a baud rate that this port cannot do.
_UNOPENABLE: tuple[type[Exception], ...] = (*GONE, ValueError)
_LONGEST_ANSWER = 4096


class SerialWire:
    """A serial port as a Wire of bytes. Every answer must come whole within ``timeout_s``."""

    def __init__(self, address: str, link: Link, timeout_s: float, clock: Clock) -> None:
        self._address = address
        self._link = link
        self._timeout_s = timeout_s
        self._clock = clock
        self._port: serial.Serial | None = None
        self._came = bytearray()  # received and not yet asked for

    def open(self) -> None:
        """Open the port for ourselves alone and forget what it had received. Raises DeviceUnavailable."""
        import serial  # noqa: PLC0415  the daemon starts without it

        try:
            self._port = serial.Serial(
                self._address,
                baudrate=self._link.baud,
                bytesize=self._link.data_bits,
                parity=self._link.parity[0].upper(),
                stopbits=self._link.stop_bits,
                xonxoff=self._link.flow == "xon-xoff",
                rtscts=self._link.flow == "rts-cts",
                timeout=self._timeout_s,
                write_timeout=self._timeout_s,
                exclusive=True,
            )
            self._port.reset_input_buffer()
        except _UNOPENABLE as wrong:
            self.close()
            raise DeviceUnavailable(f"{self._address}: cannot be opened: {_why(wrong)}") from wrong

    def write(self, data: bytes) -> None:
        import serial  # noqa: PLC0415

        with self._using() as port:
            if port.in_waiting:
                self._came += port.read(min(port.in_waiting, _LONGEST_ANSWER))
            if self._came:
                stray = bytes(self._came)
                raise OutOfSync(f"{self._address}: {len(stray)} bytes came unasked: {stray[:80]!r}")
            try:
                port.write(data)
            except serial.SerialTimeoutException as wrong:
                raise OutOfSync(f"{self._address}: took no bytes for {self._timeout_s:g} s") from wrong

    def read_until(self, end: bytes) -> bytes:
        patience = self._patience()
        with self._using() as port:
            while end not in self._came and len(self._came) < _LONGEST_ANSWER:
                if not self._receive(port, patience):
                    break
        at = self._came.find(end)
        if at < 0:
            raise OutOfSync(f"{self._address}: {self._in_time(bytes(self._came))}, not ended by {end!r}")
        return self._take(at + len(end))

    def read_exactly(self, count: int) -> bytes:
        patience = self._patience()
        with self._using() as port:
            while len(self._came) < count:
                if not self._receive(port, patience):
                    break
        if len(self._came) < count:
            raise OutOfSync(f"{self._address}: {self._in_time(bytes(self._came))}, {count} bytes were due")
        return self._take(count)

    def _patience(self) -> Timeout:
        """Return the time that an answer gets, on the port's own clock, which its reads keep as well."""
        from serial.serialutil import Timeout  # noqa: PLC0415

        return Timeout(self._timeout_s)

    def _receive(self, port: serial.Serial, patience: Timeout) -> bool:
        """Take what has come, waiting for the first byte; False when none came in time.

        In whole pieces: asked byte by byte the port costs a system call or two for each of them.
        """
        there = port.in_waiting
        if not there and patience.expired():
            return False
        chunk = port.read(max(1, there))
        self._came += chunk
        return bool(chunk)

    def _take(self, count: int) -> bytes:
        taken = bytes(self._came[:count])
        del self._came[:count]
        return taken

    def pause(self, delay_s: float) -> None:
        self._clock.wait(threading.Event(), delay_s)

    def close(self) -> None:
        """Let go of the port. Never raises; may be called twice."""
        port, self._port = self._port, None
        self._came.clear()
        if port is not None:
            with suppress(*GONE):
                port.close()

    def _in_time(self, data: bytes) -> str:
        came = f"only {data[-80:]!r} came" if data else "no answer"
        return f"{came} within {self._timeout_s:g} s"

    @contextmanager
    def _using(self) -> Iterator[serial.Serial]:
        if self._port is None:
            raise DeviceUnavailable(f"{self._address}: not open")
        try:
            yield self._port
        except GONE as wrong:
            raise DeviceUnavailable(f"{self._address}: the port is gone: {_why(wrong)}") from wrong


def _why(wrong: Exception) -> str:
    code = getattr(wrong, "errno", None)
    if code in {errno.EAGAIN, errno.EBUSY}:
        return "another program uses it"
    return os.strerror(code) if isinstance(code, int) else str(wrong)


class TextLink:
    """An instrument that speaks a dialect on a serial port.

    After a time-out, a garbled answer or a lost port the link is closed and refuses all use, raising OutOfSync,
    until ``connect`` opens it anew: its next answer may belong to the last question.
    """

    def __init__(self, address: str, dialect: Dialect, timeout_s: float, clock: Clock) -> None:
        self.dialect = dialect
        self._address = address
        self._wire = SerialWire(address, dialect.link, timeout_s, clock)
        self._talk: Talk | None = None
        self._lost = ""

    def connect(self) -> None:
        """Open the port anew and say what the dialect says first. Raises DeviceUnavailable or OutOfSync."""
        self._wire.close()
        self._lost = ""
        self._wire.open()
        self._talk = Talk(self.dialect, self._wire)
        for exchange in self.dialect.open:
            self.run(exchange, bare=True)

    def identify(self) -> Identity:
        """Ask who it is. Raises DeviceUnavailable or OutOfSync."""
        said: dict[str, Value] = {}
        texts = []
        for exchange in self.dialect.identify:
            answer = self.run(exchange, bare=True)
            said |= answer.values
            texts.append(answer.text)
        return Identity(
            text=" ".join(text for text in texts if text),
            maker=str(said.get("maker", "")),
            model=str(said.get("model", "")),
            serial=str(said.get("serial", "")),
            firmware=str(said.get("firmware", "")),
        )

    def command(self, name: str, values: Mapping[str, Value] | None = None) -> None:
        """Run one of the dialect's commands. Raises DeviceRefused, DeviceUnavailable or OutOfSync."""
        for exchange in self.dialect.commands[name]:
            self.run(exchange, values)

    def run(self, exchange: Exchange, values: Mapping[str, Value] | None = None, *, bare: bool = False) -> Answer:
        """Run one exchange. Raises DeviceRefused, DeviceUnavailable or OutOfSync."""
        if self._talk is None:
            if self._lost:
                raise OutOfSync(self._lost)
            raise DeviceUnavailable(f"{self._address}: not open")
        try:
            return self._talk.bare(exchange, values) if bare else self._talk.run(exchange, values)
        except (OutOfSync, DeviceUnavailable) as lost:
            self._lost = f"{self._address}: out of step, must be reopened first; it began with: {lost}"
            self._talk = None
            self._wire.close()
            raise

    def close(self) -> None:
        """Say good-bye if the link is in step, and let go of the port. Never raises; may be called twice."""
        with suppress(WakerailError):
            for exchange in self.dialect.close if self._talk is not None else ():
                self.run(exchange, bare=True)
        self._talk = None
        self._lost = ""
        self._wire.close()


def dialect_for(section: Section, context: BuildContext, kind: str, default: str) -> Dialect:
    """Return the dialect that an instrument's section names, with its variables put in; mistakes are noted there."""
    name = section.text("dialect", default)
    try:
        return find_dialect(context.dialects, name, kind).for_instrument(section)
    except ConfigInvalid as wrong:
        for problem in wrong.problems:
            section.note("dialect", problem)
        section.leave_open()  # the variables that the dialect would have taken are not known
        return Dialect(name=name, says="", kind=kind, link=Link(), variables={}, commands={}, identify=())
