"""The driver: asks for one test, and now and then whether the tester is still there."""

from __future__ import annotations

from collections.abc import Sequence

from wakerail_kit.clock import Clock
from wakerail_kit.dialect_talk import Answer
from wakerail_kit.errors import OutOfSync
from wakerail_kit.events import PortTested
from wakerail_kit.hooks import BuildContext
from wakerail_kit.kinds import PORT_TESTER, Instrument, InstrumentFault, Reading
from wakerail_kit.messages import Identity
from wakerail_kit.yamldoc import Section
from wakerail_plugins.port_tester.port_answer import read_port_answer
from wakerail_plugins.serial_link import TextLink, dialect_for

_LIVENESS_S = 2.0


def build_port_tester(section: Section, context: BuildContext) -> Instrument:
    """Read a port tester's keys: ``address`` (a serial port), ``dialect``, ``timeout`` (for each line it sends)."""
    address = section.text("address")
    timeout_s = section.quantity("timeout", "s", default=3.0, low=0.05, high=60.0)
    dialect = dialect_for(section, context, PORT_TESTER.name, default="port-tester-ascii")
    last = dialect.commands["test_port"][-1:] if "test_port" in dialect.commands else ()
    for exchange in last:
        each = exchange.each.fields if exchange.each is not None else {}
        if "line" not in each or "passed" not in each or "passed" not in exchange.gives:
            says = "must give {line} and {passed} on each line, and {passed} in its answer"
            section.note("dialect", f"the dialect {dialect.name!r} will not do: test_port {says}")
    return PortTester(TextLink(address, dialect, timeout_s, context.clock), context.instrument, context.clock)


class PortTester:
    """A port tester over a text link."""

    waits = False

    def __init__(self, link: TextLink, instrument: str, clock: Clock) -> None:
        self._link = link
        self._instrument = instrument
        self._clock = clock
        self._identity: Identity | None = None
        self._heard_s = float("-inf")

    def open(self) -> Identity:
        self.close()
        self._link.connect()
        self._identity = self._link.identify()
        self._heard_s = self._clock.monotonic_s()
        return self._identity

    def read(self) -> Reading:
        """Give no signals; ask at most every 2 s whether the same tester still answers."""
        if self._clock.monotonic_s() - self._heard_s >= _LIVENESS_S:
            identity = self._link.identify()
            self._heard_s = self._clock.monotonic_s()
            if identity != self._identity:
                self.close()
                raise OutOfSync(f"another tester answers than the one that was opened: {identity.text}")
        return Reading()

    def test_port(self) -> PortTested:
        """Test all lines once. Raises OutOfSync for an answer that is garbled, incomplete or contradicts itself."""
        answer = Answer()
        for exchange in self._link.dialect.commands["test_port"]:
            answer = self._link.run(exchange)
        self._heard_s = self._clock.monotonic_s()
        try:
            return read_port_answer(answer, self._link.dialect.lines, self._instrument)
        except OutOfSync:
            self.close()
            raise

    def make_safe(self) -> None:
        """Do nothing: the tester only measures."""

    def faults(self) -> Sequence[InstrumentFault]:
        return ()

    def close(self) -> None:
        self._link.close()
