"""The exact step of the linear plate model, in closed form: a fit takes it hundreds of times.

With the element's share of heat e, and plate y and load z over the room, under a constant command u:

    de/dt = (u - e) / lag
    d(y, z)/dt = A (y, z) + (rate e, 0),   A = [[-1/tau - k, k], [k/share, -k/share]]

A has two real eigenvalues, so each mode is a decay, exp(A t) = sum exp(m t) P with P the projector on the mode (any
textbook of linear systems; the tests hold it to scipy's matrix exponential).
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """What a step makes of the heat, the plate and the load before it, and adds to them.

    ``kept`` is the share of the heat's distance from the command that is left. ``extra`` is for a loss in K/s that is
    constant over the step, to be subtracted.
    """

    kept: float
    plate: float
    load_on_plate: float
    plate_on_load: float
    load: float
    heat: float
    heat_on_load: float
    command: float
    command_on_load: float
    extra: float
    extra_on_load: float

    @property
    def before(self) -> tuple[float, float, float, float, float]:
        """What is left of what was: of the heat, of the plate and the load on each other."""
        return self.kept, self.plate, self.load_on_plate, self.plate_on_load, self.load

    @property
    def added(self) -> tuple[float, float, float, float, float, float]:
        """What heat, command and extra loss add, each to the plate and to the load."""
        return (
            *(self.heat, self.heat_on_load),
            *(self.command, self.command_on_load),
            *(self.extra, self.extra_on_load),
        )


@dataclass(frozen=True, slots=True)
class _Mode:
    """A decay ``per_s`` (negative), and the entries of its projector."""

    per_s: float
    plate: float
    load_on_plate: float
    plate_on_load: float
    load: float


def exact_step(
    *, rate_k_per_s: float, loss_time_s: float, lag_s: float, coupling_per_s: float, back_per_s: float, step_s: float
) -> Step:
    """Return the step of ``step_s``; ``back_per_s`` is the coupling over the load's share, 0 without a load."""
    kept = math.exp(-step_s / lag_s)
    plate = load_on_plate = plate_on_load = load = fade = fade_on_load = whole = whole_on_load = 0.0
    for mode in _modes(-1 / loss_time_s, coupling_per_s, back_per_s):
        left = math.exp(mode.per_s * step_s)
        # integrals over the step of what a constant leaves, and of what the element's own decay leaves
        constant = (left - 1) / mode.per_s if mode.per_s else step_s
        apart = mode.per_s + 1 / lag_s
        fading = (left - kept) / apart if abs(apart) * step_s > 1e-9 else step_s * left
        plate += left * mode.plate
        load_on_plate += left * mode.load_on_plate
        plate_on_load += left * mode.plate_on_load
        load += left * mode.load
        fade += fading * mode.plate
        fade_on_load += fading * mode.plate_on_load
        whole += constant * mode.plate
        whole_on_load += constant * mode.plate_on_load
    return Step(
        kept=kept,
        plate=plate,
        load_on_plate=load_on_plate,
        plate_on_load=plate_on_load,
        load=load,
        heat=rate_k_per_s * fade,
        heat_on_load=rate_k_per_s * fade_on_load,
        command=rate_k_per_s * (whole - fade),
        command_on_load=rate_k_per_s * (whole_on_load - fade_on_load),
        extra=whole,
        extra_on_load=whole_on_load,
    )


def _modes(own_per_s: float, coupling_per_s: float, back_per_s: float) -> tuple[_Mode, _Mode]:
    if not coupling_per_s:
        return _Mode(own_per_s, 1.0, 0.0, 0.0, 0.0), _Mode(0.0, 0.0, 0.0, 0.0, 1.0)
    middle = (own_per_s - coupling_per_s - back_per_s) / 2
    half = (own_per_s - coupling_per_s + back_per_s) / 2
    apart = math.sqrt(half**2 + coupling_per_s * back_per_s)

    def mode(sign: float) -> _Mode:
        lean, over, back = sign * half / apart, sign * coupling_per_s / apart, sign * back_per_s / apart
        return _Mode(middle + sign * apart, (1 + lean) / 2, over / 2, back / 2, (1 - lean) / 2)

    return mode(1.0), mode(-1.0)
