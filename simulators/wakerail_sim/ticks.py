"""The world's own time: whole ticks of 0.1 ms (the finest sample spacing), ten of them to a step of the physics."""

from __future__ import annotations

TICK_S = 1e-4
STEP_TICKS = 10
STEP_S = TICK_S * STEP_TICKS
_EPSILON = 1e-6  # of a step: 0.3 s over 0.001 s must not come out as 299


def steps_of(delay_s: float) -> int:
    """Return a time in whole steps, rounded to the nearest."""
    return round(delay_s / STEP_S)


def step_at(since_start_s: float) -> int:
    """Return the step in which a moment lies."""
    return int(since_start_s / STEP_S + _EPSILON)
