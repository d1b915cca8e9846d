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


def brief(time_s: float) -> str:
    """Return a time with three digits: no sampling on a bench tells more."""
    return human(float(f"{time_s:.3g}"), "s")
