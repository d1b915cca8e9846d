"""Segments of like level: exact, with a penalty that needs no tuning."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.analysis.segments import change_points, default_penalty, noise_scale, refined

SERIES = st.lists(st.integers(-9, 9), min_size=1, max_size=45).map(lambda values: np.array(values, dtype=float))


def cost(values, weights, bounds, penalty):
    """Return what a segmentation costs, by the definition."""
    total = penalty * len(bounds)
    for first, last in zip([0, *bounds], [*bounds, len(values)], strict=True):
        part, weight = values[first:last], weights[first:last]
        total += float(weight @ (part - np.average(part, weights=weight)) ** 2)
    return total


def least_cost(values, weights, penalty, min_length):
    """Return the least cost of all segmentations, by trying every start for every end."""
    best = [-penalty] + [np.inf] * len(values)
    for end in range(min_length, len(values) + 1):
        tried = [
            best[start] + penalty + cost(values[start:end], weights[start:end], [], 0)
            for start in range(end - min_length + 1)
            if np.isfinite(best[start])
        ]
        best[end] = min(tried)
    return best[-1]


@given(values=SERIES, penalty=st.floats(0.05, 60), min_length=st.integers(1, 5), data=st.data())
def test_no_segmentation_costs_less(values, penalty, min_length, data):
    steps = st.lists(st.floats(0.1, 4), min_size=len(values), max_size=len(values))
    weights = data.draw(st.none() | steps.map(np.array))
    found = change_points(values, penalty, min_length, weights)
    weights = np.ones(len(values)) if weights is None else weights
    lengths = np.diff([0, *found, len(values)])
    assert (lengths >= min(min_length, len(values))).all()
    if len(values) >= 2 * min_length:
        least = least_cost(values, weights, penalty, min_length)
        assert cost(values, weights, found.tolist(), penalty) == pytest.approx(least, abs=1e-7)
    else:
        assert not len(found)


def test_a_weight_counts_as_so_many_values():
    values = np.array([0.0, 0.0, 3.0, 3.0, 0.0, 0.0])
    assert change_points(values, penalty=8).tolist() == []
    assert change_points(values, penalty=8, weights=np.array([1.0, 1, 2, 2, 1, 1])).tolist() == [2, 4]
    assert change_points(np.array([0.0, 0, 3, 3, 3, 3, 0, 0]), penalty=8).tolist() == [2, 6]


@given(shift=st.floats(-1e3, 1e3), factor=st.floats(1e-3, 1e3), seed=st.integers(0, 999))
def test_neither_unit_nor_offset_matters_to_the_default(shift, factor, seed):
    rng = np.random.default_rng(seed)
    values = np.repeat(rng.normal(0, 8, 6), 30) + rng.standard_normal(180)
    found = change_points(values, default_penalty(values), 2)
    other = (values + shift) * factor
    assert change_points(other, default_penalty(other), 2).tolist() == found.tolist()


@pytest.mark.parametrize("count", [50, 500, 3000])
def test_the_default_finds_steps_of_four_sigma_and_none_in_noise(count):
    rng = np.random.default_rng(count)
    noise = rng.standard_normal(count)
    assert change_points(noise, default_penalty(noise), 2).tolist() == []
    stepped = noise + 4.0 * (np.arange(count) >= count // 2)
    (found,) = change_points(stepped, default_penalty(stepped), 2)
    assert abs(found - count // 2) <= 2


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_values_that_are_not_finite_are_refused(bad):
    with pytest.raises(ValueError, match="not finite"):
        change_points(np.array([1.0, bad, 2.0]), 1.0)


def test_the_noise_is_that_between_the_steps():
    values = np.repeat([0.0, 50.0, 20.0, 90.0], 500) + 0.7 * np.random.default_rng(5).standard_normal(2000)
    assert noise_scale(values) == pytest.approx(0.7, rel=0.08)


def test_a_meter_that_holds_its_value_is_as_noisy_as_it_is_coarse():
    held = np.repeat([4.43, 4.50, 4.43, 4.50, 4.64], 20)
    assert noise_scale(held) == pytest.approx(0.07 / np.sqrt(12))
    assert noise_scale(np.full(9, 2.0)) == 0.0
    assert noise_scale(np.array([2.0])) == 0.0


@given(step=st.integers(12, 28), off=st.integers(-6, 6))
def test_a_bound_moves_to_the_step_within_its_reach(step, off):
    values = np.where(np.arange(40) < step, 1.0, 5.0)
    moved = refined(values, np.array([step + off]), np.array([6]))
    assert moved.tolist() == [step]
    near = refined(values, np.array([step + off]), np.array([1]))
    assert abs(int(near[0]) - (step + off)) <= 1


@given(values=SERIES.filter(lambda values: len(values) > 3), data=st.data())
def test_bounds_keep_their_order(values, data):
    """Two that move towards each other over half of the way each would leave a segment without a value."""
    bounds = data.draw(st.lists(st.integers(1, len(values) - 1), unique=True, min_size=1).map(sorted))
    moved = refined(values, np.array(bounds), np.full(len(bounds), len(values)))
    assert (np.diff([0, *moved, len(values)]) > 0).all()
