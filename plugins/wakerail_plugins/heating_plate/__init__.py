"""The heating plate: a set temperature, a heater, one sensor; by a text dialect or by Modbus RTU."""

from __future__ import annotations

from collections.abc import Sequence

from wakerail_kit.hooks import InstrumentType, hookimpl
from wakerail_kit.kinds import HEAT_SOURCE
from wakerail_plugins.heating_plate.driver import build_modbus_plate, build_text_plate

api_version = 1


@hookimpl
def wakerail_instrument_types() -> Sequence[InstrumentType]:
    """Offer the plate on a serial port, in words and in Modbus RTU."""
    return [
        InstrumentType(
            name="plate",
            kind=HEAT_SOURCE,
            says="a heating plate on a serial port that speaks text, worded by a dialect file",
            build=build_text_plate,
        ),
        InstrumentType(
            name="plate-modbus",
            kind=HEAT_SOURCE,
            says="a heating plate on a serial port that speaks Modbus RTU, by a register map",
            build=build_modbus_plate,
        ),
    ]
