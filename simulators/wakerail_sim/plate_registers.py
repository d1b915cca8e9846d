"""The plate's Modbus registers, for unit 1.

holding 0       set point in 0.1 degC          input 0        temperature in 0.1 degC, signed; 0x8000 sensor open
holding 1       heater, 1 on and 0 off         input 1        heater, 1 on and 0 off
                                               input 16..31   identity, two ASCII characters each, padded with 0
"""

from __future__ import annotations

from wakerail_sim.modbus import ILLEGAL_ADDRESS, ILLEGAL_VALUE, ModbusRefusal, Slave
from wakerail_sim.plate import MAX_SETPOINT_C
from wakerail_sim.plate_protocol import IDENTITY
from wakerail_sim.world import World

UNIT = 1
SENSOR_OPEN = 0x8000
_SETPOINT, _HEATER = 0, 1
_TEMPERATURE, _HEATER_STATE, _TEXT, _TEXT_REGISTERS = 0, 1, 16, 16


class PlateRegisters:
    """Answers Modbus requests to the plate."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._slave = Slave(UNIT, self)
        self._text = IDENTITY.encode().ljust(2 * _TEXT_REGISTERS, b"\0")

    def answer(self, frame: bytes) -> bytes | None:
        """Return the answer to one request, or None."""
        with self._world.present():
            return self._slave.answer(frame)

    def read_holding(self, address: int) -> int:
        plate = self._world.plate
        if address == _SETPOINT:
            return round(plate.setpoint_c * 10)
        if address == _HEATER:
            return int(plate.heater_on)
        raise ModbusRefusal(ILLEGAL_ADDRESS)

    def read_input(self, address: int) -> int:
        if address == _TEMPERATURE:
            shown_c = self._world.plate.shown_c(self._world.now_step)
            return SENSOR_OPEN if shown_c is None else round(shown_c * 10)
        if address == _HEATER_STATE:
            return int(self._world.plate.heater_on)
        if 0 <= address - _TEXT < _TEXT_REGISTERS:
            begin = 2 * (address - _TEXT)
            return int.from_bytes(self._text[begin : begin + 2])
        raise ModbusRefusal(ILLEGAL_ADDRESS)

    def check_holding(self, address: int, value: int) -> None:
        if address not in {_SETPOINT, _HEATER}:
            raise ModbusRefusal(ILLEGAL_ADDRESS)
        if value > (round(MAX_SETPOINT_C * 10) if address == _SETPOINT else 1):
            raise ModbusRefusal(ILLEGAL_VALUE)

    def write_holding(self, address: int, value: int) -> None:
        if address == _SETPOINT:
            self._world.plate.setpoint_c = value / 10
        else:
            self._world.plate.heater_on = bool(value)
