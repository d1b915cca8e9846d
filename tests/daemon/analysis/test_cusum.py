"""The tabular CUSUM against its own definition, value by value."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.analysis.cusum import Side, cusum

VALUES = st.lists(st.floats(-20.0, 20.0), max_size=60)
ALLOWANCES = st.floats(0.0, 2.0)
LIMITS = st.floats(0.5, 12.0)


def by_definition(values, target, sigma, k, h):
    """Return both sums after each value, and (index, side, run length) of the first beyond the limit."""
    upper = lower = 0.0
    runs = [0, 0]
    sums, alarm = [], None
    for index, value in enumerate(values):
        upper = max(0.0, upper + value - target - k * sigma)
        lower = max(0.0, lower + target - value - k * sigma)
        runs = [run + 1 if total > 1e-9 else 0 for run, total in zip(runs, (upper, lower), strict=True)]
        sums.append((upper, lower))
        if alarm is None and max(upper, lower) > h * sigma:
            alarm = (index, Side.HIGHER, runs[0]) if upper > h * sigma else (index, Side.LOWER, runs[1])
    return sums, alarm


@given(VALUES, st.floats(-5.0, 5.0), st.floats(0.1, 4.0), ALLOWANCES, LIMITS)
def test_the_sums_are_those_of_the_definition(values, target, sigma, k, h):
    run = cusum(values, target, sigma, k=k, h=h)
    sums, _ = by_definition(values, target, sigma, k, h)
    assert len(run.upper) == len(run.lower) == len(values)
    assert np.column_stack([run.upper, run.lower]).ravel() == pytest.approx(np.array(sums).ravel(), abs=1e-9)


@given(st.lists(st.integers(-40, 40), max_size=60), st.integers(0, 4), st.integers(1, 30))
def test_the_alarm_is_that_of_the_definition(quarters, k, h):
    """In quarters of a sigma every sum is exact, so that there are no ties to round."""
    values = np.array(quarters) / 4
    alarm = cusum(values, 0.0, k=k / 4, h=h / 4).alarm
    _, wanted = by_definition(values, 0.0, 1.0, k / 4, h / 4)
    assert (alarm and (alarm.index, alarm.side, alarm.run_length)) == wanted


@given(VALUES, ALLOWANCES, LIMITS)
def test_mirrored_values_alarm_on_the_other_side(values, k, h):
    run, mirrored = cusum(values, 0.0, k=k, h=h), cusum([-value for value in values], 0.0, k=k, h=h)
    assert (run.upper == mirrored.lower).all()
    assert (run.alarm is None) == (mirrored.alarm is None)
    if run.alarm and mirrored.alarm:
        assert (run.alarm.index, run.alarm.run_length) == (mirrored.alarm.index, mirrored.alarm.run_length)
        assert run.alarm.side is not mirrored.alarm.side
        assert run.alarm.mean == -mirrored.alarm.mean


@given(VALUES, st.integers(0, 60), ALLOWANCES, LIMITS)
def test_an_alarm_does_not_wait_for_what_comes_after(values, cut, k, h):
    whole, part = cusum(values, 0.0, k=k, h=h), cusum(values[:cut], 0.0, k=k, h=h)
    assert (whole.upper[:cut] == part.upper).all()
    if whole.alarm is None or whole.alarm.index >= cut:
        assert part.alarm is None
    else:
        assert part.alarm == whole.alarm


@pytest.mark.parametrize(("shift", "side"), [(2.0, Side.HIGHER), (-2.0, Side.LOWER)])
def test_a_shift_is_dated_and_measured(shift, side):
    alarm = cusum([0.0] * 30 + [shift] * 10, 0.0, k=0.5, h=5.0).alarm
    assert alarm is not None
    assert (alarm.side, alarm.index - alarm.run_length) == (side, 29)  # the last value before the shift
    assert alarm.mean == pytest.approx(shift)
    assert alarm.run_length == 4  # 1.5 each: beyond 5 with the fourth


def test_a_shift_from_the_first_value_on():
    alarm = cusum([3.0] * 5, 0.0, k=0.5, h=5.0).alarm
    assert alarm is not None
    assert alarm.index - alarm.run_length == -1


def test_nothing_to_sum():
    run = cusum([], 0.0)
    assert (len(run.upper), run.alarm) == (0, None)


@pytest.mark.parametrize("wrong", [{"sigma": 0.0}, {"h": 0.0}, {"k": -0.1}, {"sigma": float("nan")}])
def test_settings_that_cannot_be(wrong):
    with pytest.raises(ValueError, match="must be above zero"):
        cusum([1.0], 0.0, **wrong)
