"""How well an opening comes back: at the boots of a made-up recording, and elsewhere in it."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wakerail.analysis.hindsight.following import follow
from wakerail.analysis.hindsight.grid import Grid
from wakerail.analysis.hindsight.openings import goes_on, hold_against, hold_against_all, hold_beside
from wakerail.analysis.hindsight.templates import template_at, templates_at
from wakerail.analysis.scale import Scale
from wakerail.analysis.trail import Trail

RATE_HZ = 50.0
STAGES = ((0.3, 0.4), (0.12, 0.9), (0.5, 0.6), (0.2, 1.5))
RUNS_A, STANDING_A, UNTIL_S = 0.33, 0.001, 3.0
BOOT_S = sum(for_s for _, for_s in STAGES)


def grid_of(made, factor=1.0):
    trail = Trail()
    for at_s, level_a in zip(made.t_s, made.current_a, strict=True):
        trail.add(at_s, level_a, 3 / RATE_HZ)
    levels_a = np.asarray(trail.level_a)
    scale = Scale(factor * STANDING_A, factor * 0.005, factor * 0.5)
    return Grid(trail, levels_a, levels_a, scale, 1 / RATE_HZ)


def recorded(trace, factor=1.0, stretch=1.0):
    """Return a recording of four boots, each followed by five seconds of work, and when they begin."""
    made, begins_s = trace(RATE_HZ, 0.0).then(factor * STANDING_A, UNTIL_S), []
    for number in range(4):
        begins_s.append(made.end_s)
        for level_a, for_s in STAGES:
            made.then(factor * level_a, for_s * (stretch if number else 1.0))
        made.then(factor * RUNS_A, 5.0)
    return grid_of(made, factor), begins_s


def opening(grid, begin_s, lasted_s):
    return template_at(grid, grid.place(begin_s), round(lasted_s * RATE_HZ))


def held(grid, template_s, at_s):
    template = opening(grid, template_s, BOOT_S + 5.0)
    places = np.array([grid.place(one_s) for one_s in at_s])
    return hold_against(grid, follow(grid, places, grid.changes(grid.place(template_s))), template)


def near(grid, places, templates, changes):
    alike = hold_against_all(grid, places, templates, changes)
    hold_beside(grid, places, templates, changes, alike)
    return alike


@pytest.mark.parametrize("stretch", [0.97, 1.0, 1.03])
def test_an_opening_comes_back_at_every_boot_and_nowhere_else(trace, stretch):
    grid, begins_s = recorded(trace, stretch=stretch)
    again = held(grid, begins_s[0], begins_s[1:])
    elsewhere_s = np.setdiff1d(np.arange(UNTIL_S + 1.0, begins_s[-1], 0.37), begins_s)
    elsewhere = held(grid, begins_s[0], elsewhere_s[np.abs(np.subtract.outer(elsewhere_s, begins_s)).min(axis=1) > 0.1])
    assert again.best.min() > elsewhere.best.max() + 3.0
    assert again.came.min() >= 2  # of the changes that it has


def test_the_second_stage_of_a_template_is_told_by_its_level(trace):
    grid, begins_s = recorded(trace)
    template = opening(grid, begins_s[0], BOOT_S)
    assert template.telling_ticks / RATE_HZ == pytest.approx(STAGES[0][1], abs=0.1)
    assert np.exp(template.first) == pytest.approx(STAGES[0][0] - STANDING_A + 0.005, rel=0.05)


def test_a_template_ends_with_its_boot(trace):
    grid, begins_s = recorded(trace)
    short, whole = (opening(grid, begins_s[0], lasted_s) for lasted_s in (1.0, BOOT_S))
    assert short.last_window < whole.last_window
    assert np.isnan(short.low[short.last_window + 1 :]).all()


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(factor=st.floats(0.05, 20.0))
def test_how_alike_does_not_depend_on_how_large_the_currents_are(trace, factor):
    at_s = [8.0, *recorded(trace)[1][1:]]
    one, other = (held(grid, begins_s[0], at_s) for grid, begins_s in (recorded(trace), recorded(trace, factor)))
    # the bins of the levels' density lie elsewhere
    assert other.best == pytest.approx(one.best, abs=2.5)


def test_a_boot_under_way_explains_what_looks_like_another(trace):
    grid, begins_s = recorded(trace)
    places = np.array([grid.place(begins_s[1]), grid.place(begins_s[1] + 1.3)])
    template = opening(grid, begins_s[0], BOOT_S)
    first, second = goes_on(places, hold_against(grid, follow(grid, places, 0.01), template))
    assert first == 0.0  # nothing before it was a boot
    assert second != 0.0


@pytest.mark.parametrize("shift", [-1, 0, 1])
def test_a_boot_that_begins_a_tick_early_or_late_is_as_alike(trace, shift):
    grid, begins_s = recorded(trace)
    template = opening(grid, begins_s[0], BOOT_S)
    places = np.array([grid.place(one_s) for one_s in begins_s[1:]])
    exact = hold_against(grid, follow(grid, places, 0.01), template).best
    assert near(grid, places + shift, [template], 0.01).best.min() >= exact.min() - 1e-9


def test_no_boot_is_held_against_itself(trace):
    grid, begins_s = recorded(trace)
    template = opening(grid, begins_s[0], BOOT_S)
    itself, other = near(grid, np.array([grid.place(one_s) for one_s in begins_s[:2]]), [template], 0.01).best
    assert itself == 0.0
    assert other > 10.0


def test_a_warm_restart_that_skips_the_first_stage_is_alike_from_the_second_on(trace):
    made = trace(RATE_HZ, 0.0).then(STANDING_A, UNTIL_S)
    for stages in (STAGES, STAGES[1:], STAGES[1:]):
        begin_s = made.end_s
        for level_a, for_s in stages:
            made.then(level_a, for_s)
        made.then(RUNS_A, 5.0)
    grid = grid_of(made)
    templates = templates_at(grid, grid.place(UNTIL_S), round((BOOT_S + 5.0) * RATE_HZ))
    places = np.array([grid.place(begin_s)])
    whole, skipping = (near(grid, places, some, 0.01) for some in (templates[:1], templates))
    assert skipping.best > whole.best + 5.0
    assert skipping.skips / RATE_HZ == pytest.approx(STAGES[0][1], abs=0.05)
    assert skipping.opens_at == pytest.approx(np.log(STAGES[1][0] + 0.004), abs=0.1)


def test_a_boot_without_the_inrush_of_the_first_is_as_alike(trace):
    made, begins_s = trace(RATE_HZ, 0.0).then(STANDING_A, UNTIL_S), []
    for inrush_a in (2.0, STAGES[0][0]):
        begins_s.append(made.end_s)
        made.then(inrush_a, 0.04)
        for level_a, for_s in STAGES:
            made.then(level_a, for_s)
        made.then(RUNS_A, 5.0)
    grid = grid_of(made)
    following = follow(grid, np.array([grid.place(begins_s[1])]), 0.01)
    again = hold_against(grid, following, opening(grid, begins_s[0], BOOT_S))
    assert again.best > 10.0
    assert again.differ == 0
