"""The exact segmentation beside ruptures' Pelt, an independent implementation of the same search.

ruptures is a public library (BSD-2-Clause). Where two segmentations cost the same either may be given, so costs
are compared as well as places.
"""

from __future__ import annotations

import numpy as np
import pytest
import ruptures
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.analysis.segments import change_points


def series(seed, count, step, each):
    rng = np.random.default_rng(seed)
    return np.repeat(rng.normal(0, step, count // each + 1), each)[:count] + rng.standard_normal(count)


def cost(values, bounds, penalty):
    edges = [0, *bounds, len(values)]
    squares = (float(np.sum((part - part.mean()) ** 2)) for part in np.split(values, edges[1:-1]))
    return sum(squares) + penalty * len(bounds)


def pelt(values, penalty, min_length):
    return ruptures.Pelt(model="l2", jump=1, min_size=min_length).fit(values).predict(pen=penalty)[:-1]


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    count=st.integers(2, 160),
    step=st.floats(0, 5),
    each=st.integers(3, 40),
    penalty=st.floats(0.1, 40),
)
def test_same_change_points_at_the_same_penalty(seed, count, step, each, penalty):
    values = series(seed, count, step, each)
    ours, theirs = change_points(values, penalty).tolist(), pelt(values, penalty, 1)
    assert cost(values, ours, penalty) == pytest.approx(cost(values, theirs, penalty), rel=1e-9, abs=1e-9)
    assert ours == theirs  # values are continuous, so no two segmentations cost the same


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), count=st.integers(12, 120), penalty=st.floats(0.1, 20), least=st.integers(2, 6))
def test_never_dearer_with_a_least_length(seed, count, penalty, least):
    # Pelt drops a start min_size early (a bound held by its pruning holds only from min_size values on), so it may
    # miss the best by a little; tests/daemon/analysis/test_segments.py holds ours to the exhaustive search
    values = series(seed, count, 2.0, 9)
    ours, theirs = change_points(values, penalty, least).tolist(), pelt(values, penalty, least)
    assert cost(values, ours, penalty) <= cost(values, theirs, penalty) + 1e-9
