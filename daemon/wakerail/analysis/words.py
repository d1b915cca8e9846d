"""Currents (or powers) and times as a technician would say them."""

from __future__ import annotations

from wakerail_kit.units import human


def level_words(level_a: float) -> str:
    """Return a level that a device fell to, in words: below a milliampere much of it is the meter's own noise."""
    if abs(level_a) >= 1e-3:
        return brief_level(level_a, "A")
    return f"near nothing ({round(level_a * 1e3, 2) + 0.0:g} mA)"


def brief_level(level_a: float, unit: str) -> str:
    """Return a level with three digits."""
    return human(float(f"{level_a:.3g}"), unit)


def brief(time_s: float, digits: int = 3) -> str:
    """Return a length of time with so many digits, in the unit that people would say it in."""
    rounded_s = float(f"{time_s:.{digits}g}")
    for unit, length_s, from_s in (("h", 3600.0, 7200.0), ("min", 60.0, 600.0), ("s", 1.0, 0.1), ("ms", 1e-3, 1e-3)):
        if rounded_s >= from_s:
            return human(float(f"{time_s / length_s:.{digits}g}"), unit)
    return human(rounded_s * 1e6, "µs") if rounded_s else "0 s"


def percent(share: float) -> str:
    """Return a share with two digits, three from 99 % on: there the difference counts."""
    return f"{100 * share:.{3 if share >= 0.99 else 2}g} %"
