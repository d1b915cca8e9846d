"""A small Modbus RTU slave: frames, checksum, functions 3, 4, 6 and 16, exceptions. Knows no instrument.

By "MODBUS Application Protocol" V1.1b3 and "MODBUS over Serial Line" V1.02. A pseudo-terminal has no silent
intervals to tell frames apart by, so a frame ends where its function says.
"""

from __future__ import annotations

import struct
from typing import Protocol

ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE = 1, 2, 3
_READ_HOLDING, _READ_INPUT, _WRITE_ONE, _WRITE_MANY = 3, 4, 6, 16
_MAX_READ, _MAX_WRITE = 125, 123
_SHORTEST, _FIXED = 4, 8
_MAX_FRAME = 256


class ModbusRefusal(Exception):
    """A request that is answered with an exception code."""

    def __init__(self, code: int) -> None:
        self.code = code
        super().__init__(f"exception {code}")


class Registers(Protocol):
    """The registers of a slave. Every method raises ModbusRefusal for an address or value that there is not."""

    def read_holding(self, address: int) -> int: ...
    def read_input(self, address: int) -> int: ...
    def check_holding(self, address: int, value: int) -> None: ...
    def write_holding(self, address: int, value: int) -> None: ...


def checksum(frame: bytes) -> bytes:
    """Return the CRC of a frame, low byte first (polynomial 0xA001 reflected, preset 0xFFFF; Serial Line 6.2.2)."""
    crc = 0xFFFF
    for byte in frame:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return struct.pack("<H", crc)


def cut_frame(received: bytearray) -> bytes | None:
    """Take the first sound request out of what was received, dropping whatever was before it."""
    for begin in range(len(received) - _SHORTEST + 1):
        end = begin + _frame_length(received[begin:])
        frame = bytes(received[begin:end])
        if end <= len(received) and checksum(frame[:-2]) == frame[-2:]:
            del received[:end]
            return frame
    del received[:-_MAX_FRAME]
    return None


def _frame_length(received: bytearray) -> int:
    """Return how long the request at the beginning is; one with an unknown function is taken to be all there is."""
    function = received[1]
    if function in {_READ_HOLDING, _READ_INPUT, _WRITE_ONE}:
        return _FIXED
    if function == _WRITE_MANY:
        return _FIXED + 1 + received[6] if len(received) > 6 else _FIXED + 1
    return len(received)


class Slave:
    """Answers requests to one unit; those to another unit are left unanswered, broadcasts carried out in silence."""

    def __init__(self, unit: int, registers: Registers) -> None:
        self._unit = unit
        self._registers = registers

    def answer(self, frame: bytes) -> bytes | None:
        """Return the answer to one sound frame, with its checksum, or None."""
        unit, function = frame[0], frame[1]
        if unit not in {0, self._unit}:
            return None
        try:
            reply = bytes([unit, function]) + self._carry_out(function, frame[2:-2])
        except ModbusRefusal as refused:
            reply = bytes([unit, function | 0x80, refused.code])
        return None if unit == 0 else reply + checksum(reply)

    def _carry_out(self, function: int, given: bytes) -> bytes:
        if function in {_READ_HOLDING, _READ_INPUT}:
            return self._read(function, *struct.unpack(">HH", given))
        if function == _WRITE_ONE:
            address, value = struct.unpack(">HH", given)
            self._registers.check_holding(address, value)
            self._registers.write_holding(address, value)
            return given
        if function == _WRITE_MANY:
            return self._write(given)
        raise ModbusRefusal(ILLEGAL_FUNCTION)

    def _read(self, function: int, address: int, count: int) -> bytes:
        if not 1 <= count <= _MAX_READ:
            raise ModbusRefusal(ILLEGAL_VALUE)
        read = self._registers.read_holding if function == _READ_HOLDING else self._registers.read_input
        values = [read(address + place) & 0xFFFF for place in range(count)]
        return struct.pack(f">B{count}H", 2 * count, *values)

    def _write(self, given: bytes) -> bytes:
        address, count, length = struct.unpack_from(">HHB", given)
        if not 1 <= count <= _MAX_WRITE or length != 2 * count or len(given) != 5 + length:
            raise ModbusRefusal(ILLEGAL_VALUE)
        values = struct.unpack_from(f">{count}H", given, 5)
        for place, value in enumerate(values):  # all or nothing
            self._registers.check_holding(address + place, value)
        for place, value in enumerate(values):
            self._registers.write_holding(address + place, value)
        return given[:4]
