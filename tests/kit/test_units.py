"""Quantities are read as people write them, and a slip is refused with what would be right."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail_kit.units import COMMON, UnitInvalid, factor, human, parse_quantity, registry


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("3.85 V", "V", 3.85),
        ("500 mA", "A", 0.5),
        ("500mA", "A", 0.5),
        ("1.5 min", "s", 90.0),
        ("230 degC", "Cel", 230.0),
        ("230 °C", "Cel", 230.0),
        ("-4.5e-3 V", "V", -0.0045),
        ("20 Hz", "Hz", 20.0),
        ("1.5 K/s", "K/s", 1.5),
        ("2 kOhm", "Ohm", 2000.0),
        ("50 mA*s", "C", 0.05),
        (3, "1", 3.0),
    ],
)
def test_quantities_are_read_as_written(text: str | int, unit: str, value: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "unit", "hint"),
    [
        ("3.85", "V", "has no unit; write it like '3.85 V'"),
        ("3 s", "V", "is not a voltage"),
        ("3 foo", "V", "unknown unit 'foo'"),
        ("many", "A", "is not a current; write it like '500 mA'"),
        (True, "1", "is not a plain number"),
        (None, "s", "is not a time"),
        ("1e999 V", "V", "too large"),
    ],
)
def test_a_slip_is_refused_with_what_would_be_right(text: object, unit: str, hint: str) -> None:
    with pytest.raises(UnitInvalid, match=hint):
        parse_quantity(text, unit)


@given(
    st.floats(min_value=-1e6, max_value=1e6), st.sampled_from([("mV", "V"), ("uA", "A"), ("min", "s"), ("kOhm", "Ohm")])
)
def test_reading_a_scaled_quantity_multiplies_by_the_factor(number: float, units: tuple[str, str]) -> None:
    written, wanted = units
    assert math.isclose(
        parse_quantity(f"{number!r} {written}", wanted), number * factor(written, wanted), rel_tol=1e-12, abs_tol=1e-15
    )


def test_numbers_are_shown_as_people_write_them() -> None:
    assert human(0.0413, "A") == "41.3 mA"
    assert human(3.85, "V") == "3.85 V"
    assert human(0.0000035, "A") == "3.5 µA"
    assert human(230.0, "Cel") == "230 °C"
    assert human(20.0, "Hz") == "20 Hz"
    assert human(2e6, "Hz") == "2 MHz"
    assert human(1500.0, "Hz") == "1.5 kHz"
    assert human(86400.0, "s") == "86400 s"
    assert human(1234.56, "V") == "1235 V"
    assert human(1e6, "1") == "1000000"
    assert human(1475.0, "W") == "1475 W"
    assert human(1_012_345.0, "J") == "1.012 MJ"
    assert human(22_000.0, "Ohm") == "22 kΩ"
    assert human(9.545843705510106e-08, "V") == "0.095 µV"  # not 0.096: it must not be rounded twice


@given(st.floats(min_value=-1e9, max_value=1e9), st.sampled_from(["V", "A", "s", "Hz", "Cel", "Ohm", "W", "1"]))
def test_a_number_is_shown_near_what_it_is_and_without_an_exponent(value: float, unit: str) -> None:
    shown = human(value, unit)
    assert "e" not in shown
    number, _, suffix = shown.partition(" ")
    prefix = suffix.removesuffix({"Cel": "°C", "Ohm": "Ω", "1": ""}.get(unit, unit))
    scale = {"": 1.0, "m": 1e-3, "µ": 1e-6, "k": 1e3, "M": 1e6}[prefix]
    assert math.isclose(float(number) * scale, value, rel_tol=0.005, abs_tol=0.0005 * scale)


@pytest.mark.parametrize(("text", "unit", "scale"), [(text, *common) for text, common in COMMON.items()])
def test_the_common_units_are_what_pint_says(text: str, unit: str, scale: float) -> None:
    assert registry().Quantity(7.0, text).to(unit).magnitude == pytest.approx(7.0 * scale, rel=1e-12)
