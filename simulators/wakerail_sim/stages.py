"""The stages of a boot, and what the device draws in each."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from wakerail_sim.noise import Floats, Ints, Noise
from wakerail_sim.ticks import STEP_S, steps_of

STANDING_A = 0.0003  # what an intact device draws before its button is pressed
_EDGE_S = 0.003  # the device's own capacitors round each change of draw


class Stage(StrEnum):
    """Where the device is; ``restarting`` is the short gap between a reset and the next boot."""

    OFF = "off"
    ROM = "rom"
    LOADER = "loader"
    KERNEL = "kernel"
    SYSTEM = "system"
    RUNNING = "running"
    SLEEPING = "sleeping"
    RESTARTING = "restarting"


@dataclass(frozen=True, slots=True)
class Draw:
    """How a stage draws, at the family's nominal voltage.

    ``mean_a`` counts the bursts in; ``ripple_a`` is the standard deviation beside them. One burst of about
    ``burst_a`` for ``burst_s`` falls somewhere into every ``every_s``. A stage of ``duration_s`` None does not end.
    """

    mean_a: float
    ripple_a: float
    duration_s: float | None = None
    burst_a: float = 0.0
    burst_s: float = 0.0
    every_s: float = 1.0


DRAWS: dict[Stage, Draw] = {
    Stage.OFF: Draw(STANDING_A, 0.00002),
    Stage.ROM: Draw(0.090, 0.004, 0.35),
    Stage.LOADER: Draw(0.260, 0.010, 1.2, burst_a=0.060, burst_s=0.008, every_s=0.100),
    Stage.KERNEL: Draw(0.650, 0.030, 2.5, burst_a=0.350, burst_s=0.015, every_s=0.080),
    Stage.SYSTEM: Draw(0.480, 0.035, 3.0, burst_a=0.250, burst_s=0.010, every_s=0.060),
    Stage.RUNNING: Draw(0.190, 0.008, burst_a=0.220, burst_s=0.012, every_s=0.250),
    Stage.SLEEPING: Draw(0.012, 0.0003, 3.0),
    Stage.RESTARTING: Draw(STANDING_A, 0.00002, 0.4),
}
_RIPPLE_STREAM, _PLACE_STREAM, _HEIGHT_STREAM = 10, 11, 12


def draw_a(stage: Stage, came_from: Stage, entered_step: int, steps: Ints, noise: Noise) -> Floats:
    """Return what the device draws at ``steps`` (ascending, none before ``entered_step``), at nominal voltage."""
    draw, before = DRAWS[stage], DRAWS[came_from]
    share = draw.burst_s / draw.every_s
    settled = 1.0 - np.exp(-(steps - entered_step) * STEP_S / _EDGE_S)
    level = before.mean_a + (draw.mean_a - draw.burst_a * share - before.mean_a) * settled
    drawn: Floats = level + draw.ripple_a * noise.normal(_RIPPLE_STREAM, steps)
    if draw.burst_a:
        every, length = steps_of(draw.every_s), steps_of(draw.burst_s)
        slots, within = steps // every, steps % every
        begins = (noise.uniform(_PLACE_STREAM, slots) * (every - length)).astype(np.int64)
        heights = draw.burst_a * (0.7 + 0.6 * noise.uniform(_HEIGHT_STREAM, slots))
        drawn = drawn + np.where((within >= begins) & (within < begins + length), heights, 0.0)
    return np.maximum(drawn, 0.0)
