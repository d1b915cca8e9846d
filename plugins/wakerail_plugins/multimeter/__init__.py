"""Multimeters over VISA: SCPI or any other text dialect, on TCP, USB, serial or GPIB. Kind: multimeter."""

from __future__ import annotations

from collections.abc import Sequence

from wakerail_kit.hooks import BuildContext, InstrumentType, hookimpl
from wakerail_kit.kinds import MULTIMETER
from wakerail_kit.yamldoc import Section
from wakerail_plugins.multimeter.driver import Meter
from wakerail_plugins.serial_link import dialect_for
from wakerail_plugins.visa_link import VisaLink, address_problem

api_version = 1


@hookimpl
def wakerail_instrument_types() -> Sequence[InstrumentType]:
    """Return the one sort of instrument driven here."""
    return [InstrumentType("multimeter", MULTIMETER, "A multimeter over VISA, in any text dialect", build)]


def build(section: Section, context: BuildContext) -> Meter:
    """Return the driver for a section of bench.yaml, whose mistakes are noted there.

    Its keys: ``address`` (VISA), ``dialect``, ``timeout`` of one answer, ``visa_library`` (PyVISA's words), and the
    dialect's variables.
    """
    address = section.text("address")
    if address and (wrong := address_problem(address)):
        section.note("address", wrong)
    timeout_s = section.quantity("timeout", "s", 3.0, low=0.05, high=4.0)
    library = section.text("visa_library", "@py")
    dialect = dialect_for(section, context, MULTIMETER.name, default="scpi-1999-meter")

    def connect() -> VisaLink:
        return VisaLink(address, library, timeout_s, dialect.link, context.clock)

    return Meter(dialect, connect, context.instrument, context.clock)
