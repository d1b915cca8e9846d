"""Even intervals speak for a restart that comes when it is due, and for nothing else."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.analysis.rhythm import Rhythm


def rhythm(starts_s, spacing_s=0.02):
    made = Rhythm()
    made.learn(starts_s, spacing_s)
    return made


@given(
    interval_s=st.floats(0.5, 200.0), first_s=st.floats(-100.0, 100.0), missed=st.integers(5, 14), off=st.floats(-1, 1)
)
def test_a_restart_that_was_missed_in_an_even_loop_is_on_time(interval_s, first_s, missed, off):
    starts_s = [first_s + number * interval_s for number in range(20) if number != missed]
    due_s = first_s + missed * interval_s
    on_time = rhythm(starts_s).evidence(due_s + 0.015 * interval_s * off)
    assert on_time > 1.0
    assert rhythm(starts_s).evidence(due_s + 0.4 * interval_s) == 0.0


@given(st.lists(st.floats(0.0, 1000.0), min_size=8, max_size=8, unique=True), st.floats(0.0, 1000.0))
def test_uneven_intervals_say_nothing(cuts_s, at_s):
    starts_s = [number * 1000.0 + cut_s for number, cut_s in enumerate(sorted(cuts_s, key=lambda one: one % 7))]
    intervals_s = [after_s - before_s for before_s, after_s in pairwise(starts_s)]
    usual_s = sorted(intervals_s)[len(intervals_s) // 2]
    if sum(abs(one - usual_s) < 0.2 * usual_s for one in intervals_s) < 0.6 * len(intervals_s):
        assert rhythm(starts_s).evidence(at_s) == 0.0


def test_what_comes_again_before_it_is_due_gains_nothing():
    assert rhythm([float(number) for number in range(10)]).evidence(4.5) == 0.0


@pytest.mark.parametrize("count", [0, 1, 4])
def test_few_boots_have_no_rhythm(count):
    assert rhythm([3.0 * number for number in range(count)]).evidence(3.0 * count) == 0.0
