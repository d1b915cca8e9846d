"""What the current did for an instant: dips and peaks, and how rare they are."""

import numpy as np
import pytest

from wakerail.analysis.hindsight.grid import Grid
from wakerail.analysis.hindsight.instants import Instants
from wakerail.analysis.hindsight.moments import after_dips
from wakerail.analysis.hindsight.templates import template_at
from wakerail.analysis.scale import Scale
from wakerail.analysis.trail import Trail

RATE_HZ, TICKS, FLOOR_A = 50.0, 2000, 0.005
DIPS = (400, 900, 1500)
PEAK = 1200


def seen(chance=None):
    """Return a recording at 0.2 A, in three ticks of which a sample fell to 0.02 A, and in one of which one rose."""
    level_a = np.full(TICKS, 0.2)
    if chance is not None:
        level_a *= np.exp(chance.normal(0.0, 0.02, TICKS))
    trail = Trail()
    for place, each_a in enumerate(level_a.tolist()):
        trail.add(place / RATE_HZ, each_a, 3 / RATE_HZ)
    lowest_a, highest_a = level_a.copy(), level_a.copy()
    lowest_a[list(DIPS)] = 0.02
    highest_a[PEAK] = 1.0
    grid = Grid(trail, lowest_a, highest_a, Scale(0.0, FLOOR_A, 0.5), 1 / RATE_HZ)
    return grid, Instants(grid)


def described(grid, instants, places, best=None):
    places = np.asarray(places)
    best = np.zeros(len(places)) if best is None else np.asarray(best, dtype=np.float64)
    return instants.describe(places, template_at(grid, 100, 500), best)


def test_a_dip_of_a_sample_is_seen_though_the_mean_hides_it():
    grid, instants = seen(np.random.default_rng(1))
    said = described(grid, instants, [*DIPS, 700])
    depth = np.log((0.2 + FLOOR_A) / (0.02 + FLOOR_A))
    assert said["dips_by"][:3] == pytest.approx([depth] * 3, abs=0.1)
    assert said["dips_by"][3] < 0.2
    assert said["seldom_dips_so"][:3].min() > said["seldom_dips_so"][3] + 2.0
    assert said["low_below_boot"][:3].min() > 1.5


def test_a_peak_is_held_against_that_of_the_boot_known():
    grid, instants = seen()
    said = described(grid, instants, [PEAK, 700])
    assert said["peaks_by"] == pytest.approx([np.log((1.0 + FLOOR_A) / (0.2 + FLOOR_A)), 0.0], abs=1e-6)
    assert said["peak_unlike_first"][0] > said["peak_unlike_first"][1] == pytest.approx(0.0, abs=1e-6)


def test_of_dips_that_are_as_deep_the_others_tell_whether_a_boot_follows():
    grid, instants = seen()
    said = described(grid, instants, DIPS, best=[12.0, 12.0, -3.0])["as_deep_are_alike"]
    assert said == pytest.approx([0.5, 0.5, 1.0])


def test_of_moments_that_are_as_high_the_others_tell_whether_a_boot_follows():
    grid, _ = seen()
    grid.highest[[300, 500]] = grid.highest[PEAK]
    said = described(grid, Instants(grid), [300, 500, PEAK, 700], best=[12.0, 12.0, -3.0, 0.0])["as_high_are_alike"]
    assert said == pytest.approx([0.5, 0.5, 1.0, 2 / 3])


def test_how_many_times_the_current_came_to_be_so_low_or_so_high():
    grid, instants = seen()
    said = described(grid, instants, [*DIPS, PEAK])
    assert np.expm1(said["times_so_low"][:3]) == pytest.approx([3.0] * 3)  # however long it stays
    assert np.expm1(said["times_so_high"][3]) == pytest.approx(1.0)


def test_the_tick_after_a_dip_that_is_deep_and_rare_may_be_a_begin():
    grid, instants = seen(np.random.default_rng(2))
    assert after_dips(grid, instants).tolist() == [place + 1 for place in DIPS]
