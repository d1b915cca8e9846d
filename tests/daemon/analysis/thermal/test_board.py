"""The board's estimate: against the closed form, and never outside its range."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from wakerail.analysis.thermal.board import Between, Board, BoardEstimator, estimate_board

KNOWN = Board(Between(12.0, 12.0), Between(0.6, 0.6), Between(0.05, 0.05), "stated")
RANGES = Board(Between(9.0, 16.0), Between(0.3, 1.2), Between(0.02, 0.08), "ranges")
T_S = np.arange(0.0, 500.0, 0.5)
PLATE_C = np.interp(T_S, [0, 120, 240, 500], [22.0, 230.0, 230.0, 60.0])


def test_a_board_on_a_plate_that_is_suddenly_hot_follows_by_its_time_constant():
    # B = room + (1 - h/(G + h)) (T - room) (1 - exp(-t (G + h) / C)), the step response of a lumped body
    estimator = BoardEstimator(KNOWN, room_c=22.0, start_c=22.0)
    estimator.take(0.0, 222.0)
    for t_s in (5.0, 12.0, 30.0, 200.0):
        estimate = estimator.take(t_s, 222.0)
        assert estimate.likely_c == pytest.approx(22 + 200 * 0.6 / 0.65 * (1 - np.exp(-t_s * 0.65 / 12)), abs=1e-6)
        assert estimate.low_c == estimate.high_c == pytest.approx(estimate.likely_c)


@settings(max_examples=15, deadline=None)
@given(capacity=st.floats(9.0, 16.0), contact=st.floats(0.3, 1.2), loss=st.floats(0.02, 0.08))
def test_whatever_the_board_is_within_its_ranges_it_is_within_the_estimate(capacity, contact, loss):
    def slope(t_s, board_c):
        plate_c = np.interp(t_s, T_S, PLATE_C)
        return (contact * (plate_c - board_c) - loss * (board_c - 22.0)) / capacity

    true_c = solve_ivp(slope, (0.0, T_S[-1]), [22.0], t_eval=T_S, max_step=2.0, rtol=1e-6).y[0]
    likely_c, low_c, high_c = estimate_board(T_S, PLATE_C, BoardEstimator(RANGES, room_c=22.0))
    assert (low_c - 0.3 <= true_c).all()
    assert (true_c <= high_c + 0.3).all()
    assert ((low_c <= likely_c) & (likely_c <= high_c)).all()


def test_how_often_the_plate_is_measured_changes_nothing():
    often = BoardEstimator(RANGES, room_c=22.0)
    seldom = BoardEstimator(RANGES, room_c=22.0)
    estimate_board(T_S, PLATE_C, often)
    # a plate that goes in straight lines is known by its corners
    estimate_board([0.0, 120.0, 240.0, T_S[-1]], [22.0, 230.0, 230.0, PLATE_C[-1]], seldom)
    assert seldom.newest.likely_c == pytest.approx(often.newest.likely_c, abs=0.01)


def test_samples_without_data_change_nothing():
    estimator = BoardEstimator(KNOWN)
    assert estimator.take(0.0, None) is None
    assert estimator.take(1.0, 25.0).likely_c == pytest.approx(25.0)
    assert estimator.take(2.0, None).likely_c == pytest.approx(25.0)
    assert estimator.take(0.5, 300.0).likely_c == pytest.approx(25.0)


def test_how_far_off_the_plates_reading_may_be_widens_the_estimate():
    narrow, wide = BoardEstimator(KNOWN), BoardEstimator(KNOWN, plate_half_width_k=3.0)
    for estimator in (narrow, wide):
        estimator.take(0.0, 25.0)
    assert wide.newest.high_c - narrow.newest.high_c == pytest.approx(3.0)
    assert narrow.newest.low_c - wide.newest.low_c == pytest.approx(3.0)
