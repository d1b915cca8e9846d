"""Which boot others are held against: the first that was seen, or the one that comes back best."""

import numpy as np
import pytest

from wakerail.analysis.hindsight.first_boot import boot_to_know
from wakerail.analysis.hindsight.grid import Grid
from wakerail.analysis.hindsight.openings import WINDOWS
from wakerail.analysis.opening import EDGES
from wakerail.analysis.scale import Scale
from wakerail.analysis.trail import Trail

RATE_HZ = 50.0
STAGES = ((0.3, 0.4), (0.12, 0.9), (0.5, 0.6), (0.2, 1.5))
OFF_A = 0.001
NONE = np.empty(0, dtype=np.int64)


def grid_of(made):
    trail = Trail()
    for at_s, level_a in zip(made.t_s, made.current_a, strict=True):
        trail.add(at_s, level_a, 3 / RATE_HZ)
    levels_a = np.asarray(trail.level_a)
    return Grid(trail, levels_a, levels_a, Scale(0.0, 0.0005, 0.5), 1 / RATE_HZ)


def boot(made, stages=STAGES):
    begin_s = made.end_s
    for level_a, for_s in stages:
        made.then(level_a, for_s)
    return begin_s


def loops(trace, count=5, off_s=0.8):
    """Return a recording of a device that restarts, and when each boot begins."""
    made, begins_s = trace(RATE_HZ, 0.0).then(OFF_A, 3.0), []
    for _ in range(count):
        begins_s.append(boot(made))
        made.then(OFF_A, off_s)
    return grid_of(made), begins_s


def lasts_s(known):
    return EDGES[known.opening.last_window + 1] / RATE_HZ


def test_what_was_taken_for_the_onset_before_the_device_was_on_is_none(trace):
    made = trace(RATE_HZ, 0.0).then(OFF_A, 2.0).then(2 * OFF_A, 0.1).then(OFF_A, 1.0)
    begin_s = boot(made)
    made.then(0.33, 5.0)
    known = boot_to_know(grid_of(made), 2.0, [], NONE, NONE)
    assert known.from_off
    assert known.since / RATE_HZ == pytest.approx(begin_s, abs=0.03)


def test_a_second_stage_that_is_much_higher_than_the_first_is_no_onset(trace):
    made = trace(RATE_HZ, 0.0).then(OFF_A, 3.0)
    begins_s = []
    for _ in range(4):
        begins_s.append(boot(made, ((0.01, 3.0), (0.06, 0.4))))
        made.then(OFF_A, 0.2)
    known = boot_to_know(grid_of(made), begins_s[0], begins_s[1:], NONE, NONE)
    assert known.since / RATE_HZ == pytest.approx(begins_s[0], abs=0.03)
    assert np.exp(known.opening.first) == pytest.approx(0.01 + 0.0005, rel=0.05)


def test_where_nothing_was_told_it_is_what_comes_back_after_a_dip(trace):
    made = trace(RATE_HZ, 0.0).then(0.33, 4.0)
    begins_s = []
    for _ in range(3):
        made.then(OFF_A, 0.06)
        begins_s.append(boot(made))
        made.then(0.33, 4.0)
    grid = grid_of(made)
    known = boot_to_know(grid, None, [], NONE, np.array([grid.place(at_s) for at_s in begins_s]))
    assert not known.from_off
    assert np.exp(known.opening.first) == pytest.approx(STAGES[0][0] + 0.0005, rel=0.05)


def test_a_boot_ends_where_it_begins_anew_though_nobody_told(trace):
    grid, begins_s = loops(trace)
    known = boot_to_know(grid, begins_s[0], [], NONE, NONE)
    assert lasts_s(known) <= begins_s[1] - begins_s[0]
    assert known.opening.last_window < WINDOWS - 1


def test_a_false_restart_is_never_the_boot_known_where_the_onset_was_seen(trace):
    grid, begins_s = loops(trace)
    right = boot_to_know(grid, begins_s[0], begins_s[1:], NONE, NONE)
    wrong = boot_to_know(grid, begins_s[0], [begins_s[0] + 0.41, begins_s[0] + 1.32], NONE, NONE)
    assert wrong.since == right.since
    assert wrong.opening.low == pytest.approx(right.opening.low, nan_ok=True)


def test_a_first_boot_that_broke_off_gives_way_to_a_whole_one(trace):
    made = trace(RATE_HZ, 0.0).then(OFF_A, 3.0)
    begins_s = [boot(made, (*STAGES[:2], (0.5, 0.3)))]
    for _ in range(3):
        made.then(OFF_A, 0.8)
        begins_s.append(boot(made))
    made.then(OFF_A, 0.8)
    known = boot_to_know(grid_of(made), begins_s[0], begins_s[1:], NONE, NONE)
    assert lasts_s(known) > 2.0  # the first lasted for 1.6 s
    assert known.since / RATE_HZ == pytest.approx(begins_s[0], abs=0.03)


def test_of_a_device_that_ran_from_the_first_sample_on_it_is_the_boot_that_comes_back(trace):
    made = trace(RATE_HZ, 0.0).then(0.33, 4.0)
    once_s = made.end_s
    made.then(0.05, 0.4).then(0.8, 0.2).then(0.33, 6.0)
    begins_s = []
    for _ in range(4):
        made.then(OFF_A, 0.8)
        begins_s.append(boot(made))
        made.then(0.33, 4.0)
    known = boot_to_know(grid_of(made), None, [once_s, *begins_s], NONE, NONE)
    assert not known.from_off
    assert np.exp(known.opening.first) == pytest.approx(STAGES[0][0] + 0.0005, rel=0.05)


def test_without_a_rare_dip_it_may_be_what_follows_the_lowest_of_what_was_considered(trace):
    made = trace(RATE_HZ, 0.0).then(0.33, 4.0).then(0.2, 1.0)
    sleeps_s = [made.end_s]
    made.then(0.33, 4.0).then(OFF_A, 0.8)
    begin_s = boot(made)
    grid = grid_of(made.then(0.33, 4.0))
    considered = np.array([grid.place(at_s) for at_s in (*sleeps_s, begin_s)])
    known = boot_to_know(grid, None, [], considered, NONE)
    assert known is not None
    assert not known.from_off
    assert boot_to_know(grid, None, [], considered[:0], NONE) is None


def test_without_an_onset_a_boot_told_and_a_dip_there_is_none(trace):
    assert boot_to_know(grid_of(trace(RATE_HZ, 0.0).then(0.33, 20.0)), None, [], NONE, NONE) is None
