"""One boot of a device, as like its family's other boots as real ones are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wakerail_sim.corpus.edges import Edges, edge, join, pulses
from wakerail_sim.corpus.family import BootStage, Family
from wakerail_sim.noise import Floats


@dataclass(frozen=True, slots=True)
class Boot:
    """A boot's current above standing, and when it would be complete (s)."""

    edges: Edges
    end_s: float


def make_boot(chance: np.random.Generator, family: Family, start_s: float, *, warm: bool) -> Boot:
    """Return a boot that begins at ``start_s``. After a warm restart little inrush is left: the capacitors are full."""
    gain = 1 + _spread(chance, family.level_spread)
    stretch = 1 + _spread(chance, family.length_spread)
    parts, at_s, drawn_a = [], start_s, 0.0
    if family.inrush_a:
        inrush_a = family.inrush_a * (chance.uniform(0.0, 0.3) if warm else chance.uniform(0.8, 1.2))
        parts.append(
            pulses(np.array([start_s]), np.array([family.inrush_s]), np.array([inrush_a]), 2 * family.inrush_s)
        )
    for stage in family.stages:
        length_s = stage.length_s * stretch * (1 + _spread(chance, family.length_spread / 2))
        level_a = stage.level_a * gain * (1 + _spread(chance, family.level_spread / 2))
        end_a = level_a * stage.end_a / stage.level_a
        parts.append(edge(at_s, level_a - drawn_a, stage.rise_s))
        if end_a != level_a:
            parts.append(edge(at_s + stage.rise_s, end_a - level_a, length_s - stage.rise_s))
        parts += _bursts(chance, stage, at_s, length_s)
        at_s, drawn_a = at_s + length_s, end_a
    return Boot(join(parts).cut(at_s), at_s)


def _spread(chance: np.random.Generator, deviation: float) -> float:
    return float(np.clip(chance.normal(0.0, deviation), -2.5 * deviation, 2.5 * deviation))


def _bursts(chance: np.random.Generator, stage: BootStage, start_s: float, length_s: float) -> list[Edges]:
    if stage.bursts == "none":
        return []
    if stage.bursts == "even":
        at_s: Floats = np.arange(stage.burst_every_s / 2, length_s, stage.burst_every_s)
    else:
        at_s = chance.uniform(0.0, length_s, chance.poisson(length_s / stage.burst_every_s))
    widths_s = stage.burst_s * chance.uniform(0.8, 1.2, len(at_s))
    heights_a = stage.burst_a * chance.uniform(0.8, 1.2, len(at_s))
    return [pulses(start_s + at_s, widths_s, heights_a).cut(start_s + length_s)]
