"""The cadence of restarts: its median and bounds, regular or not, and what the trade reads from it."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.analysis.cadence import (
    CadenceRow,
    Regularity,
    cadence_of,
    evenness,
    median_interval,
    reading_of,
)
from wakerail.analysis.words import brief, percent

INTERVALS = st.lists(st.floats(0.5, 500.0), min_size=1, max_size=12)


def starts_of(intervals_s, first_s=100.0):
    return [first_s, *(first_s + np.cumsum(intervals_s)).tolist()]


@pytest.mark.parametrize("starts_s", [[], [12.0]])
def test_fewer_than_two_restarts_have_no_cadence(starts_s):
    assert cadence_of(starts_s, 0.05, onset_s=0.0) is None


def test_one_interval_is_too_few_to_call_it_anything():
    cadence = cadence_of([10.0, 190.0], 0.05)
    assert (cadence.count, cadence.median_s, cadence.confidence) == (1, 180.0, 0.0)
    assert (cadence.regularity, cadence.p_value) == (Regularity.TOO_FEW, None)
    assert cadence.says == "Two boots began 180 s apart; one interval is too few to call it regular or not."


def test_the_first_boot_counts_where_its_onset_was_seen():
    cadence = cadence_of([181.0, 360.0], 0.05, ends_s=[180.4, 359.4], onset_s=1.0)
    assert (cadence.count, cadence.median_s, cadence.regularity) == (2, 179.5, Regularity.REGULAR)
    assert cadence.up_s == pytest.approx(178.9)
    assert cadence.alike is True
    # without the onset the first boot's end tells nothing
    later = cadence_of([181.0, 360.0], 0.05, ends_s=[180.4, 359.4])
    assert (later.count, later.alike) == (1, None)
    assert later.up_s == pytest.approx(178.4)


@given(INTERVALS, st.floats(0.5, 0.99))
def test_the_bounds_hold_the_median_and_are_values_of_the_sample(values, confidence):
    low, high, reached = median_interval(np.array(values), confidence)
    assert low <= np.median(values) <= high
    assert {low, high} <= set(values)
    assert reached >= confidence or (low, high) == (min(values), max(values))


@given(INTERVALS, st.floats(0.5, 0.99), st.floats(0.5, 0.99))
def test_more_confidence_never_narrows_the_bounds(values, one, other):
    low, high, reached = median_interval(np.array(values), min(one, other))
    wider_low, wider_high, wider_reached = median_interval(np.array(values), max(one, other))
    assert wider_low <= low
    assert wider_high >= high
    assert wider_reached >= reached


@pytest.mark.parametrize("count", range(1, 11))
@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95])
def test_the_confidence_is_the_coverage_counted_out(count, confidence):
    """Each value lies above or below the true median with one half: of all patterns, count those that hold it."""
    values = np.arange(count, dtype=float)
    low, _, reached = median_interval(values, confidence)
    outside = int(low)  # so many values lie outside on either side
    held = sum(
        outside < sum(pattern) < count - outside  # more than those outside on either side of the median
        for pattern in itertools.product((0, 1), repeat=count)
    )
    assert reached == pytest.approx(held / 2**count)


@given(
    INTERVALS,
    st.floats(0.0, 1e4),
    st.floats(0.1, 10.0),
    st.floats(0.0, 0.2),
)
def test_a_shift_changes_nothing_and_a_scale_only_the_times(intervals_s, shift_s, scale, uncertainty_s):
    starts_s = np.array(starts_of(intervals_s))
    ends_s = starts_s - 0.2
    one = cadence_of(starts_s, uncertainty_s, ends_s=ends_s)
    moved = cadence_of(starts_s * scale + shift_s, uncertainty_s * scale, ends_s=ends_s * scale + shift_s)
    for name in ("shortest_s", "longest_s", "median_s", "low_s", "high_s", "up_s"):
        assert getattr(moved, name) == pytest.approx(getattr(one, name) * scale, rel=1e-6, abs=1e-7)
    assert (moved.count, moved.confidence) == (one.count, one.confidence)
    assert (moved.p_value is None) == (one.p_value is None)
    if one.p_value is not None:
        assert moved.p_value == pytest.approx(one.p_value, rel=1e-3, abs=1e-4)


@given(st.lists(st.floats(0.5, 500.0), min_size=2, max_size=12), st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_what_the_sampling_may_hide_only_ever_weakens_a_claim_of_regularity(intervals_s, one_s, other_s):
    sharp, blunt = (cadence_of(starts_of(intervals_s), doubt_s) for doubt_s in sorted((one_s, other_s)))
    assert sharp.p_value <= blunt.p_value
    assert blunt.low_s <= sharp.low_s <= sharp.high_s <= blunt.high_s


def test_for_two_intervals_the_chance_is_their_difference_over_their_sum():
    """Of two exponential intervals the share of the first is uniform, so the exact chance is known."""
    for share in (0.01, 0.05, 0.1, 0.3):
        assert evenness(np.array([1 + share, 1 - share])) == pytest.approx(share, rel=0.02)


@pytest.mark.parametrize("count", [2, 3, 5, 10, 40])
def test_restarts_at_random_are_seldom_called_regular(count):
    rng = np.random.default_rng(count)
    chances = np.array([evenness(rng.exponential(60.0, count)) for _ in range(3000)])
    for level in (0.05, 0.25, 0.5, 0.9):
        assert (chances <= level).mean() == pytest.approx(level, abs=4 * math.sqrt(level * (1 - level) / 3000))


@pytest.mark.parametrize(("scatter", "wanted"), [(0.02, Regularity.REGULAR), (1.0, Regularity.IRREGULAR)])
def test_loops_and_chance_are_told_apart_from_a_handful_on(scatter, wanted):
    rng = np.random.default_rng(5)
    told = [cadence_of(starts_of(rng.gamma(1 / scatter**2, 60 * scatter**2, 8)), 0.05).regularity for _ in range(200)]
    assert told.count(wanted) >= 185
    other = {Regularity.REGULAR, Regularity.IRREGULAR} - {wanted}
    assert told.count(other.pop()) <= 10


def test_one_missed_restart_does_not_make_a_loop_irregular():
    assert cadence_of(starts_of([180.0] * 9 + [360.0]), 0.1).regularity is Regularity.REGULAR


def test_what_is_more_even_than_chance_and_yet_no_loop_is_irregular():
    rng = np.random.default_rng(3)
    cadence = cadence_of(starts_of(rng.gamma(4.0, 15.0, 200)), 0.05)
    assert cadence.p_value < 1e-6
    assert cadence.regularity is Regularity.IRREGULAR


def test_intervals_of_a_sample_or_two_are_neither():
    """At one sample a second, restarts every second or two are as even as the sampling makes them."""
    assert cadence_of(starts_of([1.0] * 4), 0.5).regularity is Regularity.TOO_FEW
    assert cadence_of(starts_of([1.0, 2.0, 1.0, 2.0]), 1.0).regularity is Regularity.TOO_FEW


def test_the_same_stage_each_time_nine_times_out_of_ten():
    starts_s = starts_of([30.0] * 10)
    alike_s = [start_s - 2.0 for start_s in starts_s]
    assert cadence_of(starts_s, 0.05, ends_s=alike_s).alike is True
    once_s = [*alike_s[:-1], starts_s[-1] - 20.0]
    assert cadence_of(starts_s, 0.05, ends_s=once_s).alike is True
    twice_s = [*alike_s[:-2], starts_s[-2] - 20.0, starts_s[-1] - 20.0]
    assert cadence_of(starts_s, 0.05, ends_s=twice_s).alike is False
    assert cadence_of(starts_s, 0.05).alike is None


def test_the_sentence_of_a_loop():
    starts_s = starts_of([60.0, 61.0, 59.5, 60.4, 60.2, 60.1, 60.3])
    says = cadence_of(starts_s, 0.0, ends_s=[start_s - 4 for start_s in starts_s]).says
    assert says == (
        "It restarts regularly, every 60.2 s (the median lies between 59.5 s and 61 s with 98 % confidence). "
        "Each boot stays up for about 56.2 s: it ends at the same stage."
    )


def test_the_sentence_where_the_intervals_do_not_carry_the_confidence():
    assert cadence_of(starts_of([20.0, 30.0]), 0.0).says == (
        "It restarts about every 25 s (the median lies between 20 s and 30 s, but 2 intervals give that only 50 % "
        "confidence); that is too few to call it regular or not."
    )


def test_the_sentence_of_restarts_at_any_time():
    starts_s = starts_of([4.0, 90.0, 31.0, 7.0, 55.0, 12.0])
    ends_s = [start_s - 1 for start_s in starts_s]
    says = cadence_of(starts_s, 0.0, ends_s=ends_s).says
    assert says.startswith("It restarts irregularly, 4 s to 90 s apart, in the median 21.5 s (the median lies between")
    assert says.endswith("The boots stay up for different times, in the median 20.5 s.")


@pytest.mark.parametrize(
    ("starts_s", "ends_s", "says"),
    [
        ([2.0, 1.0], (), "must ascend"),
        ([1.0, 1.0], (), "must ascend"),
        ([1.0, 2.0], (0.5,), "1 ends do not go with 2 starts"),
        ([1.0, 2.0], (0.5, 0.9), "ends before it begins"),
    ],
)
def test_moments_that_cannot_be(starts_s, ends_s, says):
    with pytest.raises(ValueError, match=says):
        cadence_of(starts_s, 0.0, ends_s=ends_s)


def row(name, from_s=0.0, to_s=math.inf, regular=None, alike=None):
    return CadenceRow(name, from_s, to_s, regular, alike, f"{name}.", "a test")


def test_the_first_row_that_fits_is_read():
    rows = [row("minute", 50.0, 70.0, regular=True), row("stage", alike=True), row("any-time", regular=False)]
    regular = cadence_of(starts_of([60.0] * 6), 0.05)
    assert reading_of(regular, rows).name == "minute"
    slower_s = starts_of([70.5] * 6)
    assert reading_of(cadence_of(slower_s, 0.05), rows) is None
    assert reading_of(cadence_of(slower_s, 0.05, ends_s=[start_s - 3 for start_s in slower_s]), rows).name == "stage"
    assert reading_of(cadence_of(starts_of([4.0, 90.0, 31.0, 7.0, 55.0, 12.0]), 0.0), rows).name == "any-time"


def test_what_is_not_known_fits_no_row_that_asks_for_it():
    unknown = cadence_of([10.0, 70.0], 0.05)
    for asks in ({"regular": True}, {"regular": False}, {"alike": True}, {"alike": False}):
        assert reading_of(unknown, [row("asks", **asks)]) is None
    assert reading_of(unknown, [row("asks-nothing")]).name == "asks-nothing"


@given(st.floats(0.0, 1e3), st.floats(0.0, 1e3), st.floats(1.0, 1e3))
def test_a_row_fits_within_its_bounds_both_included(from_s, width_s, median_s):
    cadence = cadence_of([0.0, median_s], 0.0)
    assert row("r", from_s, from_s + width_s).fits(cadence) == (from_s <= median_s <= from_s + width_s)
    assert row("r", median_s, median_s).fits(cadence)


@pytest.mark.parametrize(
    ("time_s", "says"),
    [
        (0.0, "0 s"),
        (25e-6, "25 µs"),
        (0.0123, "12.3 ms"),
        (0.297, "0.297 s"),
        (0.9996, "1 s"),
        (180.4, "180 s"),
        (1350.0, "22.5 min"),
        (28800.0, "8 h"),
    ],
)
def test_times_are_said_in_brief(time_s, says):
    assert brief(time_s) == says


@pytest.mark.parametrize(("share", "says"), [(0.5, "50 %"), (0.9375, "94 %"), (0.9922, "99.2 %"), (0.031, "3.1 %")])
def test_shares_are_said_in_percent(share, says):
    assert percent(share) == says
