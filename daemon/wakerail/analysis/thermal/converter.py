"""What a sensor's converter gives when it fails: nothing, its end of scale, or a round number of its own base."""

from __future__ import annotations

#: Readings outside of this are no plate's (common practice, no source).
COLDEST_C, HOTTEST_C = -40.0, 600.0
_LEAST_ONES = 63  # below, a number of ones only is a temperature like any other


def is_rail(value_c: float) -> bool:
    """Tell whether no plate can be at this value; a room at exactly 0 °C is none to work in."""
    return value_c == 0.0 or not COLDEST_C <= value_c <= HOTTEST_C


def is_round(value_c: float) -> bool:
    """Tell whether a value is 0, a power of two, or one less than one."""
    size = abs(value_c)
    if not size.is_integer() or size > 2**20:
        return False
    number = int(size)
    return not number & (number - 1) or (number >= _LEAST_ONES and not number & (number + 1))


def rail_words(value_c: float) -> str:
    """Say what is wrong with a value that is a rail."""
    if value_c == 0.0:
        return "the temperature sensor reads exactly 0 °C"
    return f"the temperature sensor reads {value_c:g} °C, which no plate is at"
