"""Shapes that a current can take, each about 0 to 1 over a stretch of time.

A shape is a function of a generator, times from the stretch's begin (s, ascending), the stretch's length (s), a time
constant or period (s), and a share from 0 to 1 (of the period that is on, or whatever else there is to vary). What is
random in it depends on the length, not on how many times are asked for: a stretch that is broken off shows the begin
of the same pattern.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, TypeAlias

import numpy as np

from wakerail_sim.noise import Floats

Shape = Literal[
    "ramp", "approach", "hump", "sawtooth", "oscillation", "chirp", "bursts", "relaxation", "telegraph", "stairs",
    "wander", "flicker", "spikes", "ring", "peak", "pulse-width", "smooth-step", "late-step", "fading",
]  # fmt: skip
_MOST_EVENTS = 3000
_Drawn: TypeAlias = Callable[[np.random.Generator, Floats, float, float, float], Floats]


def draw_shape(
    chance: np.random.Generator, shape: Shape, t_s: Floats, *, length_s: float, period_s: float, share: float
) -> Floats:
    """Return the shape at the times."""
    period_s = max(period_s, length_s / _MOST_EVENTS)
    return _SHAPES[shape](chance, t_s, length_s, period_s, share)


def _telegraph(chance: np.random.Generator, t_s: Floats, length_s: float, period_s: float, share: float) -> Floats:
    dwells_s = chance.exponential(period_s, 2 * int(length_s / period_s) + 8)
    dwells_s[::2] *= share
    dwells_s[1::2] *= 1 - share
    return (np.searchsorted(np.cumsum(dwells_s), t_s) % 2).astype(float)


def _stairs(chance: np.random.Generator, t_s: Floats, length_s: float, period_s: float, share: float) -> Floats:
    edges_s = np.sort(chance.uniform(0, length_s, int(length_s / period_s) + 1))
    levels = chance.random(len(edges_s) + 1)
    return np.asarray(levels[np.searchsorted(edges_s, t_s)] ** (2 * share))


def _wander(chance: np.random.Generator, t_s: Floats, length_s: float, period_s: float, share: float) -> Floats:
    walk = np.cumsum(chance.normal(size=int(length_s / period_s) + 3))
    walk -= share * np.linspace(0, walk[-1], len(walk))
    return np.asarray(0.5 + 0.5 * np.interp(t_s, np.arange(len(walk)) * period_s, walk) / np.abs(walk).max())


def _flicker(chance: np.random.Generator, t_s: Floats, length_s: float, period_s: float, share: float) -> Floats:
    sum_ = np.zeros(len(t_s))
    for octave in range(5):
        knot_s = max(period_s * 2.0**octave, length_s / _MOST_EVENTS)
        knots = chance.normal(size=int(length_s / knot_s) + 3)
        sum_ += np.interp(t_s, np.arange(len(knots)) * knot_s, knots)
    return 0.5 + 0.2 * sum_ * (0.3 + share)


def _spikes(chance: np.random.Generator, t_s: Floats, length_s: float, period_s: float, share: float) -> Floats:
    begins_s = np.sort(chance.uniform(0, length_s, int(length_s / period_s) + 1))
    heights = chance.uniform(0.3, 1, len(begins_s))
    last = np.searchsorted(begins_s, t_s, side="right") - 1
    since_s = np.where(last >= 0, t_s - begins_s[last], np.inf)
    return np.asarray(heights[last] * np.exp(-since_s / (0.5 * share * period_s)))


def _bursts(chance: np.random.Generator, t_s: Floats, length_s: float, period_s: float, share: float) -> Floats:
    starts_s = np.cumsum(period_s * (1 + 0.1 * share * chance.normal(size=int(1.3 * length_s / period_s) + 3)))
    last = np.searchsorted(starts_s, t_s, side="right") - 1
    return ((last >= 0) & (t_s - starts_s[last] < share * period_s)).astype(float)


def _fading(chance: np.random.Generator, t_s: Floats, length_s: float, period_s: float, share: float) -> Floats:
    beat = np.sin(np.pi * t_s / period_s + chance.uniform(0, 3)) ** 2
    beaten = np.sin(2 * np.pi * t_s / (period_s * (0.05 + 0.4 * share))) ** 2
    return np.asarray(beat * beaten * (1 - 0.5 * t_s / length_s))


_SHAPES: dict[Shape, _Drawn] = {
    "ramp": lambda _c, t, length, _p, share: (t / length) ** (0.3 + 2 * share),
    "approach": lambda _c, t, _l, period, _s: 1 - np.exp(-t / period),
    "hump": lambda _c, t, length, _p, share: np.sin(np.pi * np.minimum(t / length, 1)) ** (0.3 + 4 * share),
    "sawtooth": lambda _c, t, _l, period, share: np.abs((t / period) % 1 - (share > 0.5)),
    "oscillation": lambda c, t, _l, period, _s: 0.5 + 0.5 * np.sin(2 * np.pi * t / period + c.uniform(0, 6)),
    "chirp": lambda _c, t, length, period, share: (
        0.5 + 0.5 * np.cos(2 * np.pi * t / period * (1 + (3 * share - 1) * t / length))
    ),
    "bursts": _bursts,
    "relaxation": lambda _c, t, _l, period, share: np.exp(-((t / period) % 1) / (0.05 + share)),
    "telegraph": _telegraph,
    "stairs": _stairs,
    "wander": _wander,
    "flicker": _flicker,
    "spikes": _spikes,
    "ring": lambda _c, t, _l, period, share: (
        0.5 + 0.5 * np.exp(-t / period) * np.cos(2 * np.pi * t / (period * (0.1 + share)))
    ),
    "peak": lambda _c, t, _l, period, _s: np.exp(-t / period),
    "pulse-width": lambda _c, t, length, period, share: (
        ((10 * t / period) % 1) < share * (0.3 + 0.7 * t / length)
    ).astype(float),
    "smooth-step": lambda _c, t, length, _p, share: 0.5 + 0.5 * np.tanh(12 * (t / length - 0.2 - 0.6 * share)),
    "late-step": lambda _c, t, length, _p, share: (t > (0.1 + 0.8 * share) * length).astype(float),
    "fading": _fading,
}
SHAPES: tuple[Shape, ...] = tuple(_SHAPES)
