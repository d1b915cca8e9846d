"""A plate's register map: a YAML file that says where in Modbus a plate keeps what, and how. Pure.

The file, in the folder of the dialects::

    dialect: plate-modbus            # its name, as the file's
    kind: heat-source
    protocol: modbus-rtu
    says: A plate on Modbus RTU
    link: {baud: 19200, parity: none, stop-bits: 1}
    unit: 1                          # its address on the line; the same key in bench.yaml overrides
    word-order: high-first           # of 32-bit values; or low-first
    registers:
      temperature:  {table: input, address: 0, type: int16, scale: 0.1 degC, sensor-lost: 0x8000}
      setpoint:     {table: holding, address: 0, type: int16, scale: 0.1 degC}
      heater:       {table: holding, address: 1}            # written; 0 off, 1 on
      heater-state: {table: input, address: 1}              # read back; absent: the heater register itself
      identity:     {table: input, address: 16, count: 16}  # ASCII, two characters in each register

Tables are coil, discrete, input and holding; addresses count from 0 as they go over the line. Types are bit (coil,
discrete), int16, uint16, int32, uint32, float32. ``sensor-lost`` is the raw value that stands for a lost sensor.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from wakerail_kit.dialect import names_for
from wakerail_kit.dialect_exchange import Link
from wakerail_kit.errors import ConfigInvalid, DeviceRefused
from wakerail_kit.kinds import HEAT_SOURCE
from wakerail_kit.units import UnitInvalid, factor
from wakerail_kit.yamldoc import Section, load_yaml

_PROTOCOL = "modbus-rtu"
_BIT_TABLES = ("coil", "discrete")
_TABLES = (*_BIT_TABLES, "input", "holding")
_WRITABLE = ("coil", "holding")
_CODES = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}
_MOST_WORDS = 125  # in one answer: MODBUS Application Protocol V1.1b3, 6.3


@dataclass(frozen=True, slots=True)
class Block:
    """A run of places in one table, read in one go."""

    table: str
    address: int
    count: int

    def holds(self, register: Register) -> bool:
        """Tell whether a register's value is among what is read."""
        start, end = self.address, self.address + self.count
        return self.table == register.table and start <= register.address and register.address + register.count <= end


@dataclass(frozen=True, slots=True)
class Register:
    """One value: where it stands, its type, and ``scale``, what one count of it means."""

    table: str
    address: int
    type: str = "int16"
    scale: float = 1.0
    sensor_lost: int | None = None
    low_first: bool = False

    @property
    def count(self) -> int:
        """Return how many places it takes."""
        return 2 if self.type.endswith("32") else 1

    @property
    def block(self) -> Block:
        """Return what to read for this value alone."""
        return Block(self.table, self.address, self.count)

    @property
    def step(self) -> float:
        """Return the smallest step it can hold; for a float, that near 1000."""
        return 1e-4 * self.scale if self.type == "float32" else self.scale

    def decode(self, words: Sequence[int]) -> float | None:
        """Return the value in ``words``, or None if they stand for a lost sensor or for no number."""
        if self.type == "bit":
            return float(words[0])
        data = struct.pack(f">{len(words)}H", *(reversed(words) if self.low_first else words))
        if self.sensor_lost is not None and int.from_bytes(data, "big") == self.sensor_lost:
            return None
        (number,) = struct.unpack(_CODES[self.type], data)
        return round(number * self.scale, 9) if math.isfinite(number) else None

    def encode(self, value: float) -> list[int]:
        """Return the words for a value. Raises DeviceRefused if the register cannot hold it."""
        counts = value / self.scale
        if self.type == "bit":
            return [round(counts)]
        try:
            data = struct.pack(_CODES[self.type], counts if self.type == "float32" else round(counts))
        except (struct.error, OverflowError, ValueError):
            raise DeviceRefused(f"{value:g} does not fit into the plate's {self.type} register") from None
        if self.sensor_lost is not None and int.from_bytes(data, "big") == self.sensor_lost:
            raise DeviceRefused(f"{value:g} cannot be written: its register value means a lost sensor")
        words = struct.unpack(f">{self.count}H", data)
        return list(reversed(words) if self.low_first else words)


@dataclass(frozen=True, slots=True)
class RegisterMap:
    """A register map, checked."""

    name: str
    link: Link
    unit: int
    temperature: Register
    setpoint: Register
    heater: Register
    heater_state: Register
    identity: Block


_NOWHERE = Register("holding", 0)
#: Stands in where a bench file names a map that is wrong; nothing built from it is ever used.
NO_REGISTERS = RegisterMap("", Link(), 1, _NOWHERE, _NOWHERE, _NOWHERE, _NOWHERE, Block("holding", 0, 1))


def blocks_of(registers: Iterable[Register]) -> list[Block]:
    """Return what to read for these registers: neighbours in one table come in one go, so that they belong together."""
    blocks: list[Block] = []
    for register in sorted(set(registers), key=lambda each: (each.table, each.address)):
        last = blocks[-1] if blocks else None
        if last is not None and last.table == register.table and last.address + last.count == register.address:
            blocks[-1] = Block(last.table, last.address, last.count + register.count)
        else:
            blocks.append(register.block)
    return blocks


def identity_text(words: Sequence[int]) -> str | None:
    """Return the text in identity registers, two ASCII characters in each, or None if there is none."""
    text = struct.pack(f">{len(words)}H", *words).rstrip(b"\0 ")
    return text.decode("ascii").strip() if text.isascii() and text.decode("ascii").isprintable() and text else None


def find_register_map(folder: Path, name: str) -> RegisterMap:
    """Read the map called ``name``. Raises ConfigInvalid with one line for every mistake."""
    file = folder / f"{name}.yaml"
    if not file.is_file():
        names = ", ".join(names_for(folder, HEAT_SOURCE.name, _PROTOCOL)) or "none"
        raise ConfigInvalid(f"no register map {name!r} in {folder}; there are: {names}")
    doc = load_yaml(file)
    registers = _read_map(doc.top, file.stem)
    doc.finish()
    return registers


def _read_map(top: Section, stem: str) -> RegisterMap:
    name = top.name("dialect")
    if name and name != stem:
        top.note("dialect", f"the file is called {stem}.yaml, the dialect {name!r}; they must be the same")
    top.text("kind", one_of=(HEAT_SOURCE.name,))
    top.text("protocol", one_of=(_PROTOCOL,))
    top.text("says", "")
    link = top.section("link", None)
    low_first = top.text("word-order", "high-first", one_of=("high-first", "low-first")) == "low-first"
    registers = top.section("registers")
    heater = _switch(registers, "heater", _WRITABLE)
    if "heater-state" in registers:
        heater_state = _switch(registers, "heater-state", _TABLES)
    else:
        heater_state = heater
        registers.raw("heater-state", None)  # so that it is among the keys that are known here
    return RegisterMap(
        name=name,
        link=Link(
            baud=link.integer("baud", 19200, low=50, high=4_000_000),
            parity=link.text("parity", "none", one_of=("none", "even", "odd")),
            stop_bits=link.integer("stop-bits", 1, low=1, high=2),
        ),
        unit=top.integer("unit", 1, low=1, high=247),
        temperature=_number(registers, "temperature", ("input", "holding"), low_first),
        setpoint=_number(registers, "setpoint", ("holding",), low_first),
        heater=heater,
        heater_state=heater_state,
        identity=_identity(registers.section("identity")),
    )


def _number(registers: Section, name: str, tables: Sequence[str], low_first: bool) -> Register:
    section = registers.section(name)
    kind = section.text("type", one_of=tuple(_CODES))
    wide = kind.endswith("32")
    return Register(
        table=section.text("table", one_of=tables),
        address=section.integer("address", low=0, high=0xFFFE if wide else 0xFFFF),
        type=kind if kind in _CODES else "int16",
        scale=_scale(section),
        sensor_lost=section.optional_integer("sensor-lost", low=0, high=0xFFFFFFFF if wide else 0xFFFF),
        low_first=low_first,
    )


def _scale(section: Section) -> float:
    try:
        scale = factor(section.text("scale", "1 degC"), "Cel")
    except UnitInvalid as wrong:
        section.note("scale", str(wrong))
        return 1.0
    if scale <= 0:
        section.note("scale", "must be above 0; write it like '0.1 degC'")
        return 1.0
    return scale


def _switch(registers: Section, name: str, tables: Sequence[str]) -> Register:
    section = registers.section(name)
    table = section.text("table", one_of=tables)
    address = section.integer("address", low=0, high=0xFFFF)
    return Register(table, address, "bit" if table in _BIT_TABLES else "uint16")


def _identity(section: Section) -> Block:
    return Block(
        table=section.text("table", one_of=("input", "holding")),
        address=section.integer("address", low=0, high=0xFFFF),
        count=section.integer("count", low=1, high=_MOST_WORDS),
    )
