"""The charge-port tester: one test of all lines of a port, by a text dialect."""

from __future__ import annotations

from collections.abc import Sequence

from wakerail_kit.hooks import InstrumentType, hookimpl
from wakerail_kit.kinds import PORT_TESTER
from wakerail_plugins.port_tester.driver import build_port_tester

api_version = 1


@hookimpl
def wakerail_instrument_types() -> Sequence[InstrumentType]:
    """Offer the port tester on a serial port."""
    return [
        InstrumentType(
            name="port-tester",
            kind=PORT_TESTER,
            says="a charge-port tester on a serial port that speaks text, worded by a dialect file",
            build=build_port_tester,
        )
    ]
