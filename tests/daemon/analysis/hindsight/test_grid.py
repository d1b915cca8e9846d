"""A recording on an even grid: its levels, and how rare they are."""

import numpy as np
import pytest

from wakerail.analysis.hindsight.grid import Grid
from wakerail.analysis.scale import Scale
from wakerail.analysis.trail import Trail

RATE_HZ = 50.0


def grid_of(level_a, without=()):
    trail = Trail()
    for place, each_a in enumerate(level_a):
        if place not in without:
            trail.add(place / RATE_HZ, each_a, 3 / RATE_HZ)
    levels_a = np.asarray(trail.level_a)
    return Grid(trail, levels_a, levels_a, Scale(0.0, 0.005, 0.5), 1 / RATE_HZ)


def test_a_level_is_the_rarer_the_less_the_device_is_at_it():
    grid = grid_of([0.2] * 900 + [0.8] * 100)
    usual, rare = grid.rarity(np.array([100, 910]), np.array([160, 970]))
    assert rare - usual == pytest.approx(np.log(900 / 100), abs=0.3)


def test_the_rarity_of_a_stretch_is_the_mean_of_its_ticks():
    grid = grid_of([0.2] * 900 + [0.8] * 100)
    whole, first, second = grid.rarity(np.array([890, 890, 900]), np.array([910, 900, 910]))
    assert whole == pytest.approx((first + second) / 2)


def test_what_was_not_measured_is_not_rare_either():
    grid = grid_of([0.2] * 1000, without=range(400, 500))
    assert np.isnan(grid.rarity(np.array([420]), np.array([440]))).all()
