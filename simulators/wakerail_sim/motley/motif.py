"""A motif: a stretch of current about a level, with shapes on it and a noise of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from wakerail_sim.draws import log_uniform, pick
from wakerail_sim.motley.shapes import SHAPES, Shape, draw_shape
from wakerail_sim.noise import Floats


@dataclass(frozen=True, slots=True)
class Layer:
    """A shape that adds ``swing_a`` where it is 1.

    What is random in it is the same each time if it has a ``pattern``, and another one each time if it has none.
    """

    shape: Shape
    swing_a: float
    period_s: float
    share: float
    pattern: int | None


@dataclass(frozen=True, slots=True)
class Motif:
    """What is drawn for ``length_s``, unless it is played for longer or broken off.

    Its noise is ``texture`` times the level, and the slower the nearer ``smoothness`` is to 1.
    """

    length_s: float
    level_a: float
    layers: tuple[Layer, ...] = ()
    texture: float = 0.0
    smoothness: float = 0.0


@dataclass(frozen=True, slots=True)
class Palette:
    """What one device draws its motifs from."""

    shapes: Sequence[Shape]
    levels_a: Sequence[float]
    low_a: float
    top_a: float
    texture: float
    most_layers: int


def draw_palette(chance: np.random.Generator) -> Palette:
    """Draw the range, some levels that come again, and the shapes of a device."""
    top_a = log_uniform(chance, 2e-4, 5)
    low_a = top_a / 10 ** chance.uniform(0.4, 3)
    return Palette(
        shapes=[SHAPES[place] for place in chance.permutation(len(SHAPES))[: chance.integers(2, 10)]],
        levels_a=[log_uniform(chance, low_a, top_a) for _ in range(chance.integers(2, 7))],
        low_a=low_a,
        top_a=top_a,
        texture=log_uniform(chance, 1e-3, 0.15),
        most_layers=int(chance.integers(1, 4)),
    )


def draw_motif(
    chance: np.random.Generator, palette: Palette, length_s: float, *, level_a: float | None = None
) -> Motif:
    """Draw a motif of that length."""
    if level_a is None:
        again = chance.random() < 0.5
        level_a = pick(chance, palette.levels_a) if again else log_uniform(chance, palette.low_a, palette.top_a)
    return Motif(
        length_s=length_s,
        level_a=level_a,
        layers=tuple(
            _draw_layer(chance, palette, length_s, level_a) for _ in range(chance.integers(palette.most_layers + 1))
        ),
        texture=palette.texture * log_uniform(chance, 0.2, 3),
        smoothness=pick(chance, (0.0, 0.0, 0.7, 0.97)),
    )


def _draw_layer(chance: np.random.Generator, palette: Palette, length_s: float, level_a: float) -> Layer:
    upward = chance.random() < 0.65
    shape = pick(chance, palette.shapes)
    relative = shape in {"approach", "peak", "ring"} or chance.random() < 0.6
    return Layer(
        shape=shape,
        swing_a=level_a * (log_uniform(chance, 0.05, 4) if upward else -chance.uniform(0.05, 0.95)),
        period_s=length_s * log_uniform(chance, 0.02, 0.6) if relative else log_uniform(chance, 0.003, 10),
        share=chance.uniform(0.05, 0.95),
        pattern=int(chance.integers(1 << 30)) if chance.random() < 0.7 else None,
    )


def draw_current(
    chance: np.random.Generator, motif: Motif, samples: int, rate_hz: float, *, length_s: float, stretch: float = 1.0
) -> Floats:
    """Return the current (A) of the first ``samples`` of a motif that is to last ``length_s`` and is stretched."""
    t_s = np.arange(samples) / (rate_hz * stretch)
    length_s = max(length_s, 1 / rate_hz)
    current_a = np.full(samples, motif.level_a)
    for layer in motif.layers:
        of = chance if layer.pattern is None else np.random.default_rng(layer.pattern)
        shape = draw_shape(of, layer.shape, t_s, length_s=length_s, period_s=layer.period_s, share=layer.share)
        current_a += layer.swing_a * shape
    if motif.texture:
        noise = chance.normal(size=samples)
        if motif.smoothness:
            noise = np.asarray(lfilter([np.sqrt(1 - motif.smoothness**2)], [1, -motif.smoothness], noise))
        current_a += motif.texture * motif.level_a * noise
    return np.asarray(np.maximum(current_a, 0))
