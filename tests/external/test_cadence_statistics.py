"""The cadence's statistics against scipy's own tests."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wakerail.analysis.cadence import cadence_of, evenness, median_interval

# the variances of equal intervals are equal to the last digit, and scipy then divides by nothing
INTERVALS = st.lists(st.floats(0.5, 500.0), min_size=2, max_size=15).filter(lambda them: min(them) < max(them))


@given(INTERVALS)
def test_evenness_is_bartletts_test_of_equal_variances(intervals_s):
    """An exponential time is a variance of three normal values (two degrees of freedom, up to a factor)."""
    samples = [(-math.sqrt(interval_s), 0.0, math.sqrt(interval_s)) for interval_s in intervals_s]
    more_even = 1 - stats.bartlett(*samples).pvalue
    assert evenness(np.array(intervals_s)) == pytest.approx(more_even, rel=1e-6, abs=1e-6)


@given(INTERVALS, st.sampled_from([0.5, 0.25, 0.2]))
def test_a_loops_scatter_is_bartletts_test_with_more_values_to_each_variance(intervals_s, scatter):
    degrees = round(2 / scatter**2)
    # values with a variance of one: half of them at +1, half at -1, and the odd one at their mean
    unit = np.concatenate(([0.0] if degrees % 2 == 0 else [], np.tile([1.0, -1.0], (degrees + 1) // 2)))
    unit /= unit.std(ddof=1)
    more_even = 1 - stats.bartlett(*(math.sqrt(interval_s) * unit for interval_s in intervals_s)).pvalue
    assert evenness(np.array(intervals_s), scatter) == pytest.approx(more_even, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("count", [6, 9, 17, 40, 101])
def test_the_medians_bounds_are_where_the_sign_test_no_longer_refuses(count):
    """A value just inside the bounds is a possible median to scipy.stats.binomtest, one just outside is not."""
    values = np.random.default_rng(count).exponential(60.0, count)
    low, high, reached = median_interval(values, 0.95)
    for bound, inside in ((low, 1e-9), (high, -1e-9)):
        possible = stats.binomtest(int((values > bound + inside).sum()), count, 0.5).pvalue
        refused = stats.binomtest(int((values > bound - inside).sum()), count, 0.5).pvalue
        assert possible > 0.05 >= refused
        assert reached == pytest.approx(1 - refused)


@pytest.mark.parametrize("count", [6, 9, 17, 40, 101])
def test_the_medians_bounds_are_those_of_scipys_quantile_test(count):
    values = np.random.default_rng(count).exponential(60.0, count)
    low, high, _ = median_interval(values, 0.95)
    theirs = stats.quantile_test(values, p=0.5).confidence_interval(0.95)
    assert (low, high) == (theirs.low, theirs.high)


@pytest.mark.parametrize(("watch_s", "restarts"), [(360.0, 2), (540.0, 3)])
def test_a_three_minute_loop_in_the_watching_time(watch_s, restarts):
    """A watch of T, 2T, 3T shows one, two, three restarts of period T: floor(watch / T), arithmetic."""
    starts_s = np.arange(180.0, watch_s + 1, 180.0)
    assert len(starts_s) == restarts
    cadence = cadence_of(starts_s, 0.05)
    assert (cadence.median_s, cadence.count) == (180.0, restarts - 1)
