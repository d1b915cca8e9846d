"""Where the shape of an opening comes back, whatever its height."""

import numpy as np
import pytest

from wakerail.analysis.hindsight.grid import Grid
from wakerail.analysis.hindsight.shapes import Shapes
from wakerail.analysis.hindsight.templates import templates_at
from wakerail.analysis.scale import Scale
from wakerail.analysis.trail import Trail

RATE_HZ, FLOOR_A, BOOT_TICKS = 50.0, 0.001, 400
BEGINS = (150, 1100, 2300)


def shapes(factors=(1.0, 1.0, 1.0), seed=3):
    """Return what comes back in a recording of three boots that never stand still, of a device that works between."""
    chance = np.random.default_rng(seed)
    t = np.linspace(0.0, 1.0, BOOT_TICKS)
    boot = -1.5 + 0.9 * np.sin(9 * t) * t + 0.6 * np.exp(-6 * t) + 0.3 * (t > 0.6)
    level = np.concatenate([np.full(150, -6.0), chance.normal(-1.2, 0.05, 3000)])
    for begin, factor in zip(BEGINS, factors, strict=True):
        level[begin : begin + BOOT_TICKS] = boot + np.log(factor) + chance.normal(0.0, 0.02, BOOT_TICKS)
    trail = Trail()
    for place, each_a in enumerate(np.exp(level).tolist()):
        trail.add(place / RATE_HZ, each_a, 3 / RATE_HZ)
    levels_a = np.asarray(trail.level_a)
    grid = Grid(trail, levels_a, levels_a, Scale(0.0, FLOOR_A, 0.5), 1 / RATE_HZ)
    return Shapes(grid, templates_at(grid, BEGINS[0], 900))


@pytest.mark.parametrize("factors", [(1.0, 1.0, 1.0), (1.0, 0.5, 2.0)])
def test_a_shape_comes_back_at_other_levels(factors):
    found = shapes(factors).recurrences()
    assert all(np.abs(found - begin).min() <= 2 for begin in BEGINS)


def test_a_boot_is_like_the_first_and_work_is_not():
    said = shapes().describe(np.array([*BEGINS, 1800]))
    assert said["shape_early"][1:3].min() > 0.8
    assert said["shape_late"][1:3].min() > 0.95
    assert max(said["shape_early"][3], said["shape_late"][3]) < 0.7
    assert said["shape_early"][0] < 0.8  # none is held against itself
