"""The lumped model's own laws; its agreement with a reference library is in tests/external."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.analysis.thermal.plate_model import Commands, Load, PlateModel, PlateState

ROOM_C = 22.0
PLATE = PlateModel(2.0, 300.0, 20.0, 5.0, ROOM_C)


@pytest.mark.parametrize("load", [None, Load(0.5, 0.02)])
@given(level_c=st.floats(30.0, 300.0))
@settings(max_examples=20, deadline=None)
def test_a_plate_held_at_a_temperature_stays_there(load, level_c):
    plate = PlateModel(2.0, 300.0, 20.0, 5.0, ROOM_C, load=load)
    start = plate.holding(level_c)
    course = plate.run(start, np.full(500, start.heat), 1.0)
    assert course.temperature_c == pytest.approx(level_c, abs=0.05)


@pytest.mark.parametrize("load", [None, Load(0.5, 0.02)])
def test_a_plate_at_the_rooms_temperature_without_heat_does_nothing(load):
    plate = PlateModel(2.0, 300.0, 20.0, 5.0, ROOM_C, load=load)
    assert plate.run(PlateState(ROOM_C), np.zeros(100), 1.0).temperature_c == pytest.approx(ROOM_C)


@pytest.mark.parametrize("step_s", [0.5, 1.0, 5.0])
def test_the_course_hangs_little_on_the_step(step_s):
    fine = PLATE.run(PlateState(ROOM_C), np.ones(6000), 0.05).temperature_c[::100]
    coarse = PLATE.run(PlateState(ROOM_C), np.ones(round(300 / step_s)), step_s).temperature_c
    assert coarse[:: round(5 / step_s)] == pytest.approx(fine, abs=0.3)


def test_a_plate_coasts_on_by_what_its_element_holds():
    course = PLATE.run(PlateState(ROOM_C), np.concatenate([np.ones(60), np.zeros(120)]), 1.0)
    assert course.temperature_c[60:].max() > course.temperature_c[60] + 10
    assert course.temperature_c[-1] < course.temperature_c.max()


def test_a_load_draws_heat_and_comes_after():
    alone = PLATE.run(PlateState(ROOM_C), np.ones(100), 1.0)
    loaded = PlateModel(2.0, 300.0, 20.0, 5.0, ROOM_C, load=Load(0.5, 0.02)).run(PlateState(ROOM_C), np.ones(100), 1.0)
    assert (loaded.temperature_c[5:] < alone.temperature_c[5:]).all()
    assert (loaded.load_c[5:] < loaded.temperature_c[5:]).all()


@given(
    dead_s=st.floats(0.0, 30.0),
    before=st.floats(0.0, 1.0),
    shares=st.lists(st.floats(0.0, 1.0), min_size=1, max_size=20),
)
@settings(max_examples=50, deadline=None)
def test_what_arrives_is_what_was_sent(dead_s, before, shares):
    commands = Commands(np.arange(len(shares)) * 3.0, np.array(shares))
    moments = np.arange(0.0, 200.0, 0.7)
    arriving = commands.arriving(moments, dead_s, before)
    end_s = moments[-1] - dead_s
    sent = sum(share * min(3.0, max(end_s - 3.0 * at, 0.0)) for at, share in enumerate(shares[:-1]))
    sent += shares[-1] * max(end_s - 3.0 * (len(shares) - 1), 0.0)
    assert arriving.sum() * 0.7 == pytest.approx(sent + before * min(dead_s, moments[-1]), abs=1e-6)


@pytest.mark.parametrize(
    "extreme", [PlateModel(600.0, 9.0, 0.5, 0.0, 20.0, 1.0), PlateModel(600.0, 1e5, 200.0, 0, 20.0)]
)
def test_a_plate_that_cannot_be_still_has_a_course_of_finite_numbers(extreme):
    assert np.isfinite(extreme.run(PlateState(20.0), np.ones(500), 5.0).temperature_c).all()
