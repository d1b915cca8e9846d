"""A small Modbus RTU slave: frames, checksum, functions 3, 4, 6 and 16, exceptions. Knows no instrument.

By "MODBUS Application Protocol" V1.1b3 and "MODBUS over Serial Line" V1.02. On a pseudo-terminal the silence of 3.5
characters between frames cannot be relied on, so it is made longer and only ends what was spoilt.
"""

from __future__ import annotations

import struct
from typing import Protocol

from wakerail_kit.clock import Clock

ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE = 1, 2, 3
SILENCE_S = 0.05
_READ_HOLDING, _READ_INPUT, _WRITE_ONE, _WRITE_MANY = _FUNCTIONS = (3, 4, 6, 16)
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


class FrameCutter:
    """Takes requests out of a stream of bytes: a frame ends where its function says it does.

    What is not a sound frame is dropped byte by byte, and all that is left over is dropped after a silence.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._heard_s = clock.monotonic_s()
        self._left_over = 0

    def __call__(self, received: bytearray) -> bytes | None:
        """Take the next request out of what was received, or return None."""
        now_s = self._clock.monotonic_s()
        if now_s - self._heard_s > SILENCE_S:
            del received[: self._left_over]
        self._heard_s = now_s
        frame = _cut(received)
        self._left_over = len(received)
        return frame


def _cut(received: bytearray) -> bytes | None:
    while len(received) >= _SHORTEST:
        length = _frame_length(received)
        frame = bytes(received[:length])
        if len(frame) == length and checksum(frame[:-2]) == frame[-2:]:
            del received[:length]
            return frame
        may_go_on = len(frame) < length or received[1] not in _FUNCTIONS
        if may_go_on and len(received) < _MAX_FRAME:
            return None
        del received[0]
    return None


def _frame_length(received: bytearray) -> int:
    """Return how long the request at the beginning is; one with an unknown function is taken to be all there is."""
    if received[1] not in _FUNCTIONS:
        return len(received)
    if received[1] != _WRITE_MANY:
        return _FIXED
    return _FIXED + 1 + (received[6] if len(received) > 6 else 0)


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
