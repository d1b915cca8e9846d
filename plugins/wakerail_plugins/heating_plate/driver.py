"""The driver: whatever is set is read back, and the heater goes off whatever state the link is in."""

from __future__ import annotations

import math
from collections.abc import Sequence

from wakerail_kit.errors import ConfigInvalid, DeviceRefused, OutOfSync, WakerailError
from wakerail_kit.hooks import BuildContext
from wakerail_kit.kinds import HEAT_SOURCE, Instrument, InstrumentFault, Reading
from wakerail_kit.messages import Identity
from wakerail_kit.units import human
from wakerail_kit.yamldoc import Section
from wakerail_plugins.heating_plate.modbus_link import ModbusPlateLink
from wakerail_plugins.heating_plate.plate_link import PlateLink
from wakerail_plugins.heating_plate.register_map import NO_REGISTERS, find_register_map
from wakerail_plugins.heating_plate.text_link import TextPlateLink
from wakerail_plugins.serial_link import dialect_for

#: After the first: a late answer to an earlier question can spoil one try, and that try's own late answer the next.
_MORE_TRIES_TO_MAKE_SAFE = 2


def build_text_plate(section: Section, context: BuildContext) -> Instrument:
    """Read the keys of a plate that speaks text: ``address`` (a serial port), ``dialect``, ``timeout``."""
    address = section.text("address")
    timeout_s = section.quantity("timeout", "s", default=1.0, low=0.05, high=60.0)
    dialect = dialect_for(section, context, HEAT_SOURCE.name, default="plate-ascii")
    return HeatingPlate(TextPlateLink(address, dialect, timeout_s, context.clock))


def build_modbus_plate(section: Section, context: BuildContext) -> Instrument:
    """Read the keys of a Modbus plate: ``address`` (a serial port), ``dialect`` (its map), ``unit``, ``timeout``."""
    address = section.text("address")
    timeout_s = section.quantity("timeout", "s", default=1.0, low=0.05, high=60.0)
    unit = section.optional_integer("unit", low=1, high=247)
    name = section.text("dialect", default="plate-modbus")
    try:
        registers = find_register_map(context.dialects, name)
    except ConfigInvalid as wrong:
        for problem in wrong.problems:
            section.note("dialect", problem)
        registers = NO_REGISTERS
    return HeatingPlate(ModbusPlateLink(address, registers, unit, timeout_s))


class HeatingPlate:
    """A heat source over a PlateLink. Opening it changes nothing on the plate."""

    waits = False

    def __init__(self, link: PlateLink) -> None:
        self._link = link
        self._set_c: float | None = None  # what was set here and read back, over the present link

    def open(self) -> Identity:
        self.close()
        self._link.connect()
        return self._link.identify()

    def read(self) -> Reading:
        state = self._link.read()
        return Reading(
            signals={
                "temperature": [state.temperature_c],
                "setpoint": [state.setpoint_c],
                "heater": [1.0 if state.heater else 0.0],
            }
        )

    def set_temperature_c(self, temperature_c: float) -> None:
        """Set the temperature to hold, and read it back. Raises DeviceRefused if the plate holds another."""
        if not math.isfinite(temperature_c):
            raise DeviceRefused(f"{temperature_c} is no temperature to hold")
        self._set_c = None
        self._link.set_temperature_c(temperature_c)
        self._check_held(temperature_c)
        self._set_c = temperature_c

    def set_heater(self, on: bool) -> None:
        """Switch the heater, and read it back.

        Raises DeviceRefused for on, unless the plate holds the temperature that was set here; OutOfSync if the plate
        says afterwards that the heater is not as asked.
        """
        if on:
            if self._set_c is None:
                raise DeviceRefused("the heater stays off: no temperature has been set and read back")
            self._check_held(self._set_c)
        self._link.set_heater(on)
        if self._link.heater_is_on() is not on:
            self.close()
            raise OutOfSync(f"the heater was switched {'on' if on else 'off'}, and the plate says it is not")

    def make_safe(self) -> None:
        """Switch the heater off and read it back, reopening the link if it is not in step, at most twice.

        A link that had to be reopened is closed in the end, so that it is opened and identified in full before it is
        used again. Raises what the last try raised; the heater then counts as on.
        """
        try:
            self.set_heater(False)
        except WakerailError:
            self._make_safe_anew()

    def _make_safe_anew(self) -> None:
        for tries_left in reversed(range(_MORE_TRIES_TO_MAKE_SAFE)):
            self.close()
            try:
                self._link.connect()
                self.set_heater(False)
            except WakerailError:
                if not tries_left:
                    raise
            else:
                break
            finally:
                self.close()

    def _check_held(self, wanted_c: float) -> None:
        held_c = self._link.held_c()
        # half a step is lost where the wording rounds; the rest is for floating point
        if held_c is None or abs(held_c - wanted_c) > self._link.setpoint_step_c / 2 + 1e-6:
            holds = "no temperature" if held_c is None else human(held_c, "Cel")
            raise DeviceRefused(f"{human(wanted_c, 'Cel')} was set, but the plate holds {holds}")

    def faults(self) -> Sequence[InstrumentFault]:
        return ()

    def close(self) -> None:
        self._set_c = None
        self._link.close()
