"""What proves that a device of a family is sound again: how it charges, and what it must be able to do."""

from __future__ import annotations

from dataclasses import dataclass

from wakerail_kit.yamldoc import Section


@dataclass(frozen=True, slots=True)
class Charging:
    """How a device charges from a supply at its charge port.

    ``volts_v`` is what the supply gives, ``limit_a`` its current limit; between ``low_a`` and ``high_a`` the device
    takes, and ``sag_v`` is the least that must be left at the supply's terminals. ``source`` is who says so.
    """

    volts_v: float
    limit_a: float
    low_a: float
    high_a: float
    sag_v: float
    source: str


@dataclass(frozen=True, slots=True)
class Function:
    """Something a device must be able to do, and the question that a person answers about it."""

    name: str
    asks: str


def read_charging(top: Section) -> Charging | None:
    """Read the section ``charging`` of a family's file; None if it has none."""
    if "charging" not in top:
        top.raw("charging", None)
        return None
    section = top.section("charging")
    volts_v = section.quantity("volts", "V", low=3.0, high=21.0)
    limit_a = section.quantity("limit", "A", low=0.05, high=6.0)
    current = section.section("current")
    low_a = current.quantity("min", "A", low=0.0, high=limit_a)
    high_a = current.quantity("max", "A", low=0.0, high=limit_a)
    if low_a > high_a:
        current.note("min", "is above max")
    elif high_a >= limit_a > 0:
        section.note("limit", "must be above the current's max, or too much could never be seen")
    return Charging(
        volts_v=volts_v,
        limit_a=limit_a,
        low_a=low_a,
        high_a=high_a,
        sag_v=section.quantity("sag-to", "V", default=0.95 * volts_v, low=0.0, high=volts_v),
        source=section.text("source", default="common practice, no source"),
    )


def read_functions(top: Section) -> tuple[Function, ...]:
    """Read the list ``functions`` of a family's file."""
    functions: list[Function] = []
    for section in top.sections("functions", default=()):
        name = section.name("function")
        if any(name == other.name for other in functions):
            section.note("function", f"{name!r} is in the list already")
        asks = " ".join(section.text("asks").split())
        if asks and not asks.endswith("?"):
            section.note("asks", f"{asks!r} is no question; a person answers it with yes or no")
        functions.append(Function(name, asks))
    return tuple(functions)
