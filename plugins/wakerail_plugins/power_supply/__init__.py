"""Bench supplies over VISA: SCPI or any other text dialect, on TCP, USB, serial or GPIB. Kind: power-source."""

from __future__ import annotations

from collections.abc import Sequence

from wakerail_kit.dialect import Dialect, find_dialect
from wakerail_kit.dialect_exchange import Link
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hooks import BuildContext, InstrumentType, hookimpl
from wakerail_kit.kinds import POWER_SOURCE
from wakerail_kit.yamldoc import Section
from wakerail_plugins.power_supply.driver import PowerSupply
from wakerail_plugins.visa_link import VisaLink, address_problem

api_version = 1

__all__ = ["PowerSupply", "VisaLink", "api_version", "wakerail_instrument_types"]


@hookimpl
def wakerail_instrument_types() -> Sequence[InstrumentType]:
    """Return the one sort of instrument driven here."""
    return [InstrumentType("supply", POWER_SOURCE, "A bench supply over VISA, in any text dialect", build)]


def build(section: Section, context: BuildContext) -> PowerSupply:
    """Return the driver for a section of bench.yaml, whose mistakes are noted there.

    Its keys: ``address`` (VISA), ``dialect``, ``timeout`` of one answer, ``visa_library`` (PyVISA's words), ``spacing``
    of buffered samples where the dialect has them, and the dialect's variables.
    """
    address = section.text("address")
    if address and (wrong := address_problem(address)):
        section.note("address", wrong)
    timeout_s = section.quantity("timeout", "s", 1.0, low=0.05, high=10.0)
    library = section.text("visa_library", "@py")
    dialect = _dialect(section, context)

    def connect() -> VisaLink:
        return VisaLink(address, library, timeout_s, dialect.link, context.clock)

    return PowerSupply(dialect, connect, context.clock)


def _dialect(section: Section, context: BuildContext) -> Dialect:
    name = section.text("dialect", "scpi-1999")
    try:
        return find_dialect(context.dialects, name, POWER_SOURCE.name).for_instrument(section)
    except ConfigInvalid as wrong:
        for problem in wrong.problems:
            section.note("dialect", problem)
        section.leave_open()  # which keys the dialect would have taken is not known
        return Dialect("", "", POWER_SOURCE.name, Link(), {}, {}, ())
