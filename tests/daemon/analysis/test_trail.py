"""Means of the current without its bursts."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.analysis.trail import Trail


def _trail(levels_a, spacing_s=0.1):
    trail = Trail()
    for place, level_a in enumerate(levels_a):
        trail.add(spacing_s * place, level_a, math.inf)
    return trail


def test_a_burst_of_two_ticks_leaves_no_trace_in_a_mean():
    trail = _trail([0.1] * 10 + [0.5, 0.5] + [0.1] * 10)
    assert trail.mean_a(0.0, 2.0) == pytest.approx(0.1)


def test_a_step_stays_where_it_is():
    trail = _trail([0.1] * 10 + [0.5] * 10)
    assert trail.mean_a(0.5, 1.0) == pytest.approx(0.1)
    assert trail.mean_a(1.0, 1.5) == pytest.approx(0.5)


def test_ticks_that_follow_fast_are_smoothed_over_as_long_a_time():
    spacing_s = 0.02
    burst = [0.5] * 3
    trail = _trail([0.1] * 40 + burst + [0.1] * 40, spacing_s)
    assert trail.mean_a(0.6, 1.2) == pytest.approx(0.1)


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.floats(0.0, 2.0), min_size=20, max_size=60),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
)
def test_the_charge_of_a_stretch_is_that_of_its_parts(levels_a, one, other):
    trail = _trail(levels_a)
    end_s = trail.start_s[-4]
    from_s, to_s = sorted((one * end_s, other * end_s))
    middle_s = (from_s + to_s) / 2
    if to_s - from_s < 0.01:
        return
    whole, first, second = (
        trail.mean_a(*stretch) for stretch in ((from_s, to_s), (from_s, middle_s), (middle_s, to_s))
    )
    assert whole == pytest.approx((first + second) / 2, abs=1e-9)
