"""A plate on Modbus RTU, by a register map; pymodbus does the protocol."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from wakerail_kit.errors import DeviceRefused, DeviceUnavailable, OutOfSync
from wakerail_kit.messages import Identity
from wakerail_plugins.heating_plate.plate_link import PlateState
from wakerail_plugins.heating_plate.register_map import Block, Register, RegisterMap, blocks_of, identity_text
from wakerail_plugins.serial_link import GONE

#: By table: pymodbus's method, and the function code of the MODBUS Application Protocol V1.1b3, section 6.
_READERS = {
    "coil": ("read_coils", 1),
    "discrete": ("read_discrete_inputs", 2),
    "holding": ("read_holding_registers", 3),
    "input": ("read_input_registers", 4),
}
_WRITE_COIL, _WRITE_REGISTER, _WRITE_REGISTERS = 5, 6, 16
#: Exception codes of the same, section 7.
_REFUSALS = {
    1: "it does not know this function",
    2: "it has no such register",
    3: "it does not take this value",
    4: "it failed while doing it",
    5: "it needs long for it",
    6: "it is busy",
    8: "its memory has a parity error",
}


class ModbusPlateLink:
    """Reads and writes the registers of one plate. Never tries again by itself: whoever lost count must reopen."""

    def __init__(self, address: str, registers: RegisterMap, unit: int | None, timeout_s: float) -> None:
        self.setpoint_step_c = registers.setpoint.step
        self._address = address
        self._map = registers
        self._unit = registers.unit if unit is None else unit
        self._timeout_s = timeout_s
        self._blocks = blocks_of((registers.temperature, registers.setpoint, registers.heater_state))
        self._client: Any = None
        self._lost = ""

    def connect(self) -> None:
        # the daemon starts without pymodbus
        from pymodbus.client import ModbusSerialClient  # noqa: PLC0415

        self.close()
        # pymodbus logs what it also raises; without a handler Python would print it over the user's screen
        logging.getLogger("pymodbus").addHandler(logging.NullHandler())
        link = self._map.link
        client = ModbusSerialClient(
            self._address,
            baudrate=link.baud,
            parity=link.parity[0].upper(),
            stopbits=link.stop_bits,
            timeout=self._timeout_s,
            retries=0,
        )
        if not client.connect():  # it keeps the reason to itself
            why = "another program may be using it" if Path(self._address).exists() else "there is no such port"
            raise DeviceUnavailable(f"{self._address}: cannot be opened; {why}")
        self._client = client

    def identify(self) -> Identity:
        text = identity_text(self._read(self._map.identity))
        if text is None:
            raise self._lose(OutOfSync(f"{self._address}: its identity registers hold no text"))
        maker, model, serial, firmware = ([part.strip() for part in text.split(",")] + [""] * 4)[:4]
        return Identity(text=text, maker=maker, model=model, serial=serial, firmware=firmware)

    def read(self) -> PlateState:
        words = {block: self._read(block) for block in self._blocks}

        def words_of(register: Register) -> Sequence[int]:
            block = next(block for block in self._blocks if block.holds(register))
            return words[block][register.address - block.address :][: register.count]

        return PlateState(
            temperature_c=self._map.temperature.decode(words_of(self._map.temperature)),
            setpoint_c=self._map.setpoint.decode(words_of(self._map.setpoint)),
            heater=self._switched_on(words_of(self._map.heater_state)),
        )

    def held_c(self) -> float | None:
        return self._map.setpoint.decode(self._read(self._map.setpoint.block))

    def heater_is_on(self) -> bool:
        return self._switched_on(self._read(self._map.heater_state.block))

    def _switched_on(self, words: Sequence[int]) -> bool:
        state = self._map.heater_state.decode(words)
        if state not in {0.0, 1.0}:
            raise self._lose(OutOfSync(f"{self._address}: the heater's state is {state}, neither 0 nor 1"))
        return state == 1.0

    def set_temperature_c(self, temperature_c: float) -> None:
        self._write(self._map.setpoint, temperature_c)

    def set_heater(self, on: bool) -> None:
        self._write(self._map.heater, 1.0 if on else 0.0)

    def close(self) -> None:
        client, self._client = self._client, None
        self._lost = ""
        if client is not None:
            with suppress(*GONE):
                client.close()

    def _read(self, block: Block) -> Sequence[int]:
        method, function = _READERS[block.table]
        what = f"{block.table} {block.address}"

        def ask(client: Any) -> Any:
            return getattr(client, method)(block.address, count=block.count, device_id=self._unit)

        response = self._ask(ask, function, what)
        if block.table in {"coil", "discrete"}:
            found, due = response.bits, -(-block.count // 8) * 8  # bits come in whole bytes
        else:
            found, due = response.registers, block.count
        if len(found) != due:
            came = f"{len(found)} places came, {block.count} were due"
            raise self._lose(OutOfSync(f"{self._address}: asked for {what}: {came}"))
        return [int(each) for each in found[: block.count]]

    def _write(self, register: Register, value: float) -> None:
        words = register.encode(value)
        content: bool | int | list[int]
        if register.table == "coil":
            method, function, content = "write_coil", _WRITE_COIL, bool(words[0])
        elif len(words) == 1:
            method, function, content = "write_register", _WRITE_REGISTER, words[0]
        else:
            method, function, content = "write_registers", _WRITE_REGISTERS, words

        def ask(client: Any) -> Any:
            return getattr(client, method)(register.address, content, device_id=self._unit)

        self._ask(ask, function, f"{register.table} {register.address}")

    def _ask(self, ask: Callable[[Any], Any], function: int, what: str) -> Any:
        if self._client is None:
            if self._lost:
                raise OutOfSync(self._lost)
            raise DeviceUnavailable(f"{self._address}: not open")
        from pymodbus.exceptions import ConnectionException, ModbusException  # noqa: PLC0415
        from pymodbus.pdu import ExceptionResponse  # noqa: PLC0415

        try:
            response = ask(self._client)
        except ConnectionException as wrong:
            raise self._lose(DeviceUnavailable(f"{self._address}: the port is gone")) from wrong
        except GONE as wrong:
            raise self._lose(DeviceUnavailable(f"{self._address}: the port is gone: {wrong}")) from wrong
        except ModbusException as wrong:
            why = f"no sound answer about {what} within {self._timeout_s:g} s"
            raise self._lose(OutOfSync(f"{self._address}: {why}")) from wrong
        if response.function_code & 0x7F != function:
            why = f"asked about {what} by function {function}, got an answer to function {response.function_code}"
            raise self._lose(OutOfSync(f"{self._address}: {why}"))
        if isinstance(response, ExceptionResponse):
            code = response.exception_code
            says = _REFUSALS.get(code, "it gives no known reason")
            raise DeviceRefused(f"{self._address}: the plate refused {what}: {says} (Modbus exception {code})")
        return response

    def _lose(self, lost: OutOfSync | DeviceUnavailable) -> OutOfSync | DeviceUnavailable:
        """Close the link, so that no late answer is taken for the next one, and return the error."""
        self.close()
        self._lost = f"{self._address}: out of step, must be reopened first; it began with: {lost}"
        return lost
