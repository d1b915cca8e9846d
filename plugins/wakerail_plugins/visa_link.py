"""The wire to a supply or a meter: a VISA resource as a Wire of the kit's dialects, with PyVISA's traps kept inside.

PyVISA is imported when the first link is opened, for it takes long to load. Terminators are handled here, on bytes,
so that no setting of VISA's own can lose or add one.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import threading
from typing import TYPE_CHECKING, Any, cast

from wakerail_kit.clock import Clock
from wakerail_kit.dialect_exchange import Link
from wakerail_kit.errors import DeviceUnavailable, OutOfSync, WakerailError

if TYPE_CHECKING:
    import pyvisa
    from pyvisa.resources import MessageBasedResource

_LONGEST_LINE = 65_536
_CHUNK = 65_536
#: What one more second of waiting is worth when a long block comes over a network.
_SLOWEST_BYTES_PER_S = 1_000_000
_managers: dict[str, pyvisa.ResourceManager] = {}
_managers_lock = threading.Lock()


def address_problem(address: str) -> str | None:
    """Return what is wrong with the syntax of a VISA address, or None if nothing is."""
    from pyvisa import rname  # noqa: PLC0415  slow to load

    try:
        parsed = rname.parse_resource_name(address)
    except rname.InvalidResourceName:
        parsed = None
    if parsed is None or parsed.resource_class not in {"INSTR", "SOCKET", "RAW"}:
        return (
            f"{address!r} is no VISA address of an instrument; like TCPIP::192.0.2.7::5025::SOCKET, "
            "ASRL/dev/ttyUSB0::INSTR or USB::0x1209::0x0001::123::INSTR"
        )
    return None


class VisaLink:
    """An open link. Every method raises DeviceUnavailable (gone) or OutOfSync (nothing came in time)."""

    def __init__(self, address: str, library: str, timeout_s: float, line: Link, clock: Clock) -> None:
        """Connect to ``address`` within ``timeout_s``. Raises DeviceUnavailable."""
        self._address = address
        self._timeout_s = timeout_s
        self._clock = clock
        self._came = bytearray()
        self._quiet = contextlib.ExitStack()
        self._resource = _open_resource(address, library, timeout_s)
        try:
            self._serial = address.upper().startswith("ASRL")
            #: The bus itself marks the end of a message (USB, GPIB, VXI-11, HiSLIP), with or without a terminator.
            self._messages = self._resource.resource_class == "INSTR" and not self._serial
            self._socket = self._own_socket() if self._resource.resource_class == "SOCKET" else None
            self._set_up(line)
        except Exception as wrong:
            self.close()
            raise self._translated(wrong) from wrong

    def write(self, data: bytes) -> None:
        try:
            if self._socket is not None:
                self._check_takes(self._socket)
            count, status = self._resource.visalib.write(self._resource.session, data)
            _check(status)
        except Exception as wrong:
            raise self._translated(wrong) from wrong
        if count != len(data):
            raise OutOfSync(f"{self._address} took only {count} of {len(data)} bytes of a command")

    def read_until(self, end: bytes) -> bytes:
        deadline_s = self._clock.monotonic_s() + self._timeout_s
        while (at := self._came.find(end)) < 0:
            if len(self._came) > _LONGEST_LINE:
                raise OutOfSync(f"{self._address} sends without end")
            if self._receive(_CHUNK, deadline_s) and self._messages and end not in self._came:
                self._came += end  # the message ended by the bus's own END, without the terminator
        return self._take(at + len(end))

    def read_exactly(self, count: int) -> bytes:
        deadline_s = self._clock.monotonic_s() + self._timeout_s + count / _SLOWEST_BYTES_PER_S
        while len(self._came) < count:
            ended = self._receive(count - len(self._came), deadline_s)
            if ended and self._messages and len(self._came) < count:
                raise OutOfSync(f"{self._address} sent {len(self._came)} bytes where {count} were due")
        return self._take(count)

    def pause(self, delay_s: float) -> None:
        self._clock.wait(threading.Event(), delay_s)

    def close(self) -> None:
        """Let go of the resource. Never raises."""
        with contextlib.suppress(Exception):
            self._quiet.close()
            self._resource.close()

    def _take(self, count: int) -> bytes:
        taken = bytes(self._came[:count])
        del self._came[:count]
        return taken

    def _receive(self, wanted: int, deadline_s: float) -> bool:
        """Append what has come to the buffer, waiting for the first byte. Return True at the end of a message."""
        try:
            if self._socket is not None:
                self._came += self._arrived(self._socket, deadline_s)
                return False  # a stream knows no end of message
            chunk, status = self._read(max(wanted, self._resource.chunk_size) if self._messages else wanted)
        except Exception as wrong:
            raise self._translated(wrong) from wrong
        self._came += chunk
        return status == 0

    def _read(self, count: int) -> tuple[bytes, int]:
        chunk, status = self._resource.visalib.read(self._resource.session, count)
        _check(status)
        return bytes(chunk), int(status)

    def _arrived(self, own: socket.socket, deadline_s: float) -> bytes:
        """Wait until bytes have come on the session's socket and return them.

        PyVISA-py's own read takes a closed connection for "nothing yet" and spins on it until its time-out.
        """
        left_s = deadline_s - self._clock.monotonic_s()
        if left_s <= 0 or not select.select([own], [], [], left_s)[0]:
            raise OutOfSync(f"{self._address} gave no answer within {self._timeout_s:g} s")
        came = own.recv(_CHUNK)
        if not came:
            raise DeviceUnavailable(f"{self._address} closed the connection")
        return came

    def _check_takes(self, own: socket.socket) -> None:
        """Raise unless a command can be sent at once: into a closed connection it would vanish without a word."""
        came, takes, _ = select.select([own], [own], [], self._timeout_s)
        if came and not own.recv(1, socket.MSG_PEEK):
            raise DeviceUnavailable(f"{self._address} closed the connection")
        if not takes and not select.select([], [own], [], self._timeout_s)[1]:
            raise OutOfSync(f"{self._address} took no command within {self._timeout_s:g} s")

    def _set_up(self, line: Link) -> None:
        """Set terminators and, on a serial port, its parameters; keep others off the port."""
        from pyvisa import constants  # noqa: PLC0415  slow to load

        resource: Any = self._resource
        usual = constants.StatusCode.success_max_count_read, constants.StatusCode.success_device_not_present
        self._quiet.enter_context(resource.ignore_warning(*usual))  # once: at each read it costs more than the read
        if self._socket is None and not self._messages and line.read_end:
            resource.set_visa_attribute(constants.ResourceAttribute.termchar, ord(line.read_end[-1]))
            resource.set_visa_attribute(constants.ResourceAttribute.termchar_enabled, True)
        if not self._serial:
            return
        if not line.read_end:
            resource.end_input = constants.SerialTermination.none
        resource.baud_rate = line.baud
        resource.data_bits = line.data_bits
        resource.parity = constants.Parity[line.parity]
        resource.stop_bits = {1: constants.StopBits.one, 2: constants.StopBits.two}[line.stop_bits]
        resource.flow_control = {
            "none": constants.ControlFlow.none,
            "xon-xoff": constants.ControlFlow.xon_xoff,
            "rts-cts": constants.ControlFlow.rts_cts,
        }[line.flow]
        if hasattr(self._interface(), "exclusive"):
            self._interface().exclusive = True  # a second program on the port would take answers away
        with contextlib.suppress(NotImplementedError):  # a backend without it has nothing to flush
            resource.flush(constants.BufferOperation.discard_read_buffer)

    def _interface(self) -> Any:
        """Return the Python object under the resource (a socket, a serial port), or None if the backend has none."""
        sessions = getattr(self._resource.visalib, "sessions", None)
        session = sessions.get(self._resource.session) if isinstance(sessions, dict) else None
        return getattr(session, "interface", None)

    def _own_socket(self) -> socket.socket | None:
        """Return the TCP socket under the resource; without one, VISA does the waiting."""
        own = self._interface()
        if not isinstance(own, socket.socket):
            return None
        if failed := own.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR):
            raise OSError(failed, os.strerror(failed))  # opening a closed port succeeds as far as VISA is concerned
        # Else what follows a command that has no answer, such as a switch-off, is held back for up to 40 ms (RFC 896).
        own.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return own

    def _translated(self, wrong: Exception) -> WakerailError:
        """Return the kit's error for whatever a VISA backend raised."""
        from pyvisa.errors import VisaIOError  # noqa: PLC0415  slow to load

        if isinstance(wrong, WakerailError):
            return wrong
        if isinstance(wrong, VisaIOError) and wrong.abbreviation == "VI_ERROR_TMO":
            return OutOfSync(f"{self._address} gave no answer within {self._timeout_s:g} s")
        return _unreachable(self._address, wrong)


def _check(status: int) -> None:
    """Raise VisaIOError for an error status; some backends return it instead of raising."""
    if status < 0:
        from pyvisa.errors import VisaIOError  # noqa: PLC0415  slow to load

        raise VisaIOError(status)


def _first_line(wrong: Exception) -> str:
    return (str(wrong) or type(wrong).__name__).splitlines()[0][:200]


def _unreachable(address: str, wrong: Exception) -> DeviceUnavailable:
    return DeviceUnavailable(f"{address} cannot be reached: {_first_line(wrong)}")


def _manager(library: str) -> pyvisa.ResourceManager:
    """Return the one resource manager of a VISA library, which lives as long as this process.

    A manager closes every resource of its library when it is let go, those of other instruments too. If somebody
    else in this process has closed it, a new one is made.
    """
    import pyvisa  # noqa: PLC0415  slow to load

    with _managers_lock:
        if library not in _managers or not _is_open(_managers[library]):
            try:
                _managers[library] = pyvisa.ResourceManager(library)
            except Exception as wrong:
                says = f"the VISA library {library!r} cannot be used: {_first_line(wrong)}"
                raise DeviceUnavailable(says) from wrong
        return _managers[library]


def _is_open(manager: pyvisa.ResourceManager) -> bool:
    from pyvisa.errors import InvalidSession  # noqa: PLC0415  slow to load

    try:
        return manager.session is not None
    except InvalidSession:
        return False


def _open_resource(address: str, library: str, timeout_s: float) -> MessageBasedResource:
    timeout_ms = max(1, round(timeout_s * 1000))
    manager = _manager(library)
    try:
        resource = manager.open_resource(address, open_timeout=timeout_ms, timeout=timeout_ms)
    except Exception as wrong:
        raise _unreachable(address, wrong) from wrong
    return cast("MessageBasedResource", resource)
