"""The register map: its file, and numbers in registers."""

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail_kit.errors import ConfigInvalid, DeviceRefused
from wakerail_plugins.heating_plate.register_map import Block, Register, blocks_of, find_register_map, identity_text

WHOLE = {
    "int16": (-(2**15), 2**15 - 1),
    "uint16": (0, 2**16 - 1),
    "int32": (-(2**31), 2**31 - 1),
    "uint32": (0, 2**32 - 1),
}


@given(st.data(), st.sampled_from(sorted(WHOLE)), st.booleans(), st.sampled_from([1.0, 0.1, 0.01]))
def test_whole_numbers_come_back(data, kind, low_first, scale):
    """Any count that the type holds is read back as written, whatever the word order and scale."""
    counts = data.draw(st.integers(*WHOLE[kind]))
    register = Register("holding", 0, kind, scale, None, low_first)
    words = register.encode(counts * scale)
    assert len(words) == register.count
    assert all(0 <= word <= 0xFFFF for word in words)
    assert register.decode(words) == pytest.approx(counts * scale, abs=1e-6)
    assert int.from_bytes(struct.pack(f">{len(words)}H", *(reversed(words) if low_first else words)), "big") == (
        counts % 2 ** (16 * len(words))
    )


@given(st.floats(width=32, allow_nan=False, allow_infinity=False), st.booleans())
def test_floats_come_back(value, low_first):
    """A 32-bit float keeps its value to the ninth decimal."""
    register = Register("holding", 0, "float32", 1.0, None, low_first)
    assert register.decode(register.encode(value)) == round(value, 9)


@given(st.data(), st.sampled_from(sorted(WHOLE)))
def test_what_does_not_fit_is_refused(data, kind):
    """A count beyond the type is never wrapped around."""
    low, high = WHOLE[kind]
    counts = data.draw(st.integers(max_value=low - 1) | st.integers(min_value=high + 1).filter(lambda n: n < 10**300))
    with pytest.raises(DeviceRefused, match="does not fit"):
        Register("holding", 0, kind).encode(float(counts))


def test_the_words_of_a_float_stand_in_their_order():
    """IEEE 754: 230.5 is 0x43668000; the high word comes first unless the map says otherwise."""
    assert Register("holding", 0, "float32").encode(230.5) == [0x4366, 0x8000]
    assert Register("holding", 0, "float32", low_first=True).encode(230.5) == [0x8000, 0x4366]


def test_a_lost_sensor_is_no_number():
    """The raw value that stands for it, and not-a-number, give None; it is never written either."""
    assert Register("input", 0, "int16", 0.1, 0x8000).decode([0x8000]) is None
    assert Register("input", 0, "int16", 0.1, 0x8000).decode([0xFFFF]) == -0.1
    assert Register("input", 0, "float32").decode([0x7FC0, 0]) is None
    with pytest.raises(DeviceRefused, match="lost sensor"):
        Register("holding", 0, "int16", 1.0, 0x8000).encode(-32768.0)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_not_written(value):
    """Whole-number registers refuse it."""
    with pytest.raises(DeviceRefused):
        Register("holding", 0).encode(value)


def test_neighbours_are_read_in_one_go():
    """Values that stand side by side belong to one moment; a gap, or another table, is another question."""
    registers = [Register("input", 2), Register("holding", 0), Register("input", 0, "float32"), Register("input", 9)]
    assert blocks_of(registers) == [Block("holding", 0, 1), Block("input", 0, 3), Block("input", 9, 1)]


@given(st.text(st.characters(min_codepoint=33, max_codepoint=126), min_size=1, max_size=32))
def test_identity_is_two_characters_a_register(text):
    """Padding with NUL or blanks falls away."""
    data = text.encode().ljust(32, b"\0")
    assert identity_text(struct.unpack(">16H", data)) == text


@pytest.mark.parametrize("words", [[0, 0], [0x2020], [0x41FF], [0x410A, 0x4242]])
def test_registers_without_text_are_no_identity(words):
    """Blank, not ASCII, or with control characters."""
    assert identity_text(words) is None


GOOD = """\
dialect: other
kind: heat-source
protocol: modbus-rtu
link: {baud: 9600, parity: even}
unit: 17
word-order: low-first
registers:
  temperature: {table: input, address: 8, type: float32}
  setpoint: {table: holding, address: 4, type: uint16, scale: 0.5 degC}
  heater: {table: coil, address: 3}
  identity: {table: holding, address: 100, count: 4}
"""


def test_a_map_is_read(tmp_path):
    """Everything the file says, and the heater's own place where no other is given to read it back."""
    (tmp_path / "other.yaml").write_text(GOOD)
    found = find_register_map(tmp_path, "other")
    assert (found.unit, found.link.baud, found.link.parity) == (17, 9600, "even")
    assert found.temperature == Register("input", 8, "float32", 1.0, None, True)
    assert found.setpoint == Register("holding", 4, "uint16", 0.5, None, True)
    assert found.heater == found.heater_state == Register("coil", 3, "bit")
    assert found.identity == Block("holding", 100, 4)


@pytest.mark.parametrize(
    ("was", "now", "says"),
    [
        (
            "  identity:",
            "  fan: {}\n  identity:",
            "registers.fan: unknown key; known here: heater, heater-state, identity, setpoint, temperature",
        ),
        ("dialect: other", "dialect: another", "other.yaml:1: dialect: the file is called other.yaml"),
        ("kind: heat-source", "kind: oven", "other.yaml:2: kind: 'oven' is not known"),
        ("unit: 17", "unit: 248", "other.yaml:5: unit: 248 is out of bounds; from 1 to 247"),
        ("unit: 17", "unti: 17", "other.yaml:5: unti: unknown key; did you mean 'unit'?"),
        ("table: input, address: 8", "table: inputs, address: 8", "registers.temperature.table: 'inputs' is not known"),
        ("type: float32", "type: float", "registers.temperature.type: 'float' is not known; did you mean 'float32'?"),
        ("scale: 0.5 degC", "scale: 0.5 V", "registers.setpoint.scale: "),
        ("table: holding, address: 4", "table: input, address: 4", "registers.setpoint.table: 'input' is not known"),
        ("table: coil, address: 3", "table: discrete, address: 3", "registers.heater.table: 'discrete' is not known"),
        ("address: 3", "address: 70000", "registers.heater.address: 70000 is out of bounds"),
        ("  identity: {table: holding, address: 100, count: 4}\n", "", "registers.identity: is missing"),
        ("count: 4", "count: 126", "registers.identity.count: 126 is out of bounds; from 1 to 125"),
    ],
)
def test_a_mistake_in_a_map_is_one_line_with_its_place(tmp_path, was, now, says):
    """File, line, key and what would be right."""
    assert was in GOOD
    (tmp_path / "other.yaml").write_text(GOOD.replace(was, now))
    with pytest.raises(ConfigInvalid) as refused:
        find_register_map(tmp_path, "other")
    assert any(says in problem for problem in refused.value.problems)
    assert all(f"{tmp_path}/other.yaml:" in problem for problem in refused.value.problems)


def test_an_unknown_map_names_those_that_there_are(tmp_path):
    """A typing slip in bench.yaml."""
    (tmp_path / "other.yaml").write_text(GOOD)
    (tmp_path / "in-words.yaml").write_text("dialect: in-words\nkind: heat-source\n")
    with pytest.raises(ConfigInvalid, match=r"no register map 'othr' in .*; there are: other$"):
        find_register_map(tmp_path, "othr")
