"""Quantities as people write them (``3.85 V``, ``500 mA``, ``1.5 min``), read by pint into plain SI numbers.

Units are named by their UCUM codes on the bus and in files: V, A, s, Cel, K, Ohm, W, J, C, Hz, %, 1.
"""

from __future__ import annotations

import functools
import math
import re
from importlib import resources
from typing import TYPE_CHECKING

from wakerail_kit.errors import WakerailError

if TYPE_CHECKING:
    import pint

_NAMES = {
    "V": ("a voltage", "3.85 V"),
    "A": ("a current", "500 mA"),
    "s": ("a time", "60 s"),
    "Cel": ("a temperature", "230 degC"),
    "K": ("a temperature difference", "5 K"),
    "Ohm": ("a resistance", "10 Ohm"),
    "W": ("a power", "2 W"),
    "J": ("an energy", "3 J"),
    "C": ("a charge", "50 mA*s"),
    "Hz": ("a rate", "20 Hz"),
    "%": ("a share", "10 %"),
    "1": ("a plain number", "3"),
    "K/s": ("a ramp", "1.5 K/s"),
    "J/K": ("a heat capacity", "12 J/K"),
    "W/K": ("a thermal conductance", "0.5 W/K"),
}
_PINT_OF_UCUM = {"1": "dimensionless", "%": "percent"}
#: What files and commands nearly always say, with its UCUM unit and factor, so that the daemon is ready before pint
#: (a third of a second to load) would be. A test holds each entry to what pint says.
COMMON = {
    "V": ("V", 1.0),
    "mV": ("V", 1e-3),
    "A": ("A", 1.0),
    "mA": ("A", 1e-3),
    "uA": ("A", 1e-6),
    "s": ("s", 1.0),
    "ms": ("s", 1e-3),
    "min": ("s", 60.0),
    "h": ("s", 3600.0),
    "Hz": ("Hz", 1.0),
    "degC": ("Cel", 1.0),
    "K": ("K", 1.0),
    "K/s": ("K/s", 1.0),
    "J/K": ("J/K", 1.0),
    "W/K": ("W/K", 1.0),
    "mW/K": ("W/K", 1e-3),
    "Ohm": ("Ohm", 1.0),
    "kOhm": ("Ohm", 1e3),
    "W": ("W", 1.0),
    "%": ("1", 0.01),
}
_QUANTITY = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")


class UnitInvalid(WakerailError):
    """The text is not a quantity of the wanted unit; the message says what would be right."""


@functools.cache
def registry() -> pint.UnitRegistry[float]:
    """Return the bench's pint registry, built once from the kit's own short list of units."""
    import pint  # noqa: PLC0415  slow to load, and seldom needed

    with resources.as_file(resources.files("wakerail_kit") / "units.txt") as definitions:
        return pint.UnitRegistry(str(definitions))


def parse_quantity(text: object, unit: str) -> float:
    """Return ``text`` as a plain number in the UCUM unit ``unit``.

    A bare number is taken only where ``unit`` is ``1``. Raises UnitInvalid otherwise, and when the
    text's dimension does not fit, saying what was expected with an example.
    """
    what, example = _NAMES.get(unit, (f"a quantity in {unit}", f"1 {unit}"))
    match = _QUANTITY.match(str(text)) if isinstance(text, int | float | str) and not isinstance(text, bool) else None
    if match is None:
        raise UnitInvalid(f"{text!r} is not {what}; write it like '{example}'")
    number, suffix = float(match[1]), match[2].replace("°", "deg")
    if not math.isfinite(number):
        raise UnitInvalid(f"{str(text)!r} is too large a number; write it like '{example}'")
    if not suffix:
        if unit == "1":
            return number
        raise UnitInvalid(f"{str(text)!r} has no unit; write it like '{example}'")
    if COMMON.get(suffix, ("", 0.0))[0] == unit:
        return number * COMMON[suffix][1]
    import pint  # noqa: PLC0415

    try:
        quantity = registry().Quantity(number, suffix)
        return float(quantity.to(_PINT_OF_UCUM.get(unit, unit)).magnitude)
    except pint.DimensionalityError:
        raise UnitInvalid(f"{str(text)!r} is not {what}; write it like '{example}'") from None
    except Exception:  # noqa: BLE001  pint raises many sorts for an unknown unit (undefined, tokenizing, syntax)
        raise UnitInvalid(f"{str(text)!r}: unknown unit {suffix!r}; write it like '{example}'") from None


def factor(of: str, to: str) -> float:
    """Return what one multiplies a number in unit ``of`` by to get unit ``to`` (``factor('mA', 'A')`` is 0.001).

    ``of`` may carry a number: ``factor('0.1 V', 'V')`` is 0.1. Raises UnitInvalid if they do not fit.
    """
    return parse_quantity(of if _QUANTITY.match(of) else f"1 {of}", to)


def human(value: float, unit: str) -> str:
    """Return a number in a UCUM unit as people write it: ``human(0.0413, 'A')`` is ``41.3 mA``.

    It has three places after the point, or from 100 on four digits; nobody writes an exponent.
    """
    shown = {"Cel": "°C", "Ohm": "Ω", "1": ""}.get(unit, unit)
    if unit in {"V", "A", "W", "Ohm", "J", "C"} and 0 < abs(value) < 1:
        scale, prefix = (1e3, "m") if abs(value) >= 1e-3 else (1e6, "µ")
        scaled = value * scale
        # below 1 the three places round it; rounding to three digits before would round twice
        return f"{_plain(float(f'{scaled:.3g}') if abs(scaled) >= 1 else scaled)} {prefix}{shown}"
    if unit in {"W", "J", "Ohm"} and abs(value) >= 1e4:
        scale, prefix = (1e6, "M") if abs(value) >= 1e6 else (1e3, "k")
        return f"{_plain(float(f'{value / scale:.4g}'))} {prefix}{shown}"
    if unit == "Hz" and abs(value) >= 1e3:
        scale, prefix = (1e6, "M") if abs(value) >= 1e6 else (1e3, "k")
        return human(value / scale, f"{prefix}Hz")
    return f"{_plain(value if abs(value) < 100 else float(f'{value:.4g}'))} {shown}".strip()


def _plain(value: float) -> str:
    return f"{round(value, 3) + 0.0:.3f}".rstrip("0").rstrip(".")  # + 0.0: there is no -0
