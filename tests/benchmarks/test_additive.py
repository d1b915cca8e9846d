"""The fit of additive tables, held against what such a fit is known for."""

import numpy as np
import pytest
from _additive import fit
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit

COUNT = 20_000
PENALTY = 3.0


def drawn(law, seed=3):
    rng = np.random.default_rng(seed)
    columns = {"one": rng.normal(size=COUNT), "other": rng.uniform(-2, 2, COUNT)}
    truth = rng.random(COUNT) < expit(law(columns["one"], columns["other"]))
    return columns, truth


def test_a_fit_finds_the_law_that_made_the_data():
    columns, truth = drawn(lambda one, other: 1.5 * one - other)
    table = fit(columns, truth, np.ones(COUNT), {"one": 1, "other": -1}, PENALTY)
    off = table.log_odds(columns) - (1.5 * columns["one"] - columns["other"])
    middle = np.abs(columns["one"]) < 1.5  # within the outermost steps it cannot follow
    assert np.abs(off[middle]).mean() < 0.2


def test_a_number_that_tells_nothing_says_next_to_nothing():
    columns, truth = drawn(lambda one, _: 2.0 * one)
    table = fit(columns, truth, np.ones(COUNT), {}, PENALTY)
    assert max(abs(add) for add in table.steps["other"].adds) < 0.25


def test_what_is_not_known_has_a_step_of_its_own():
    columns, truth = drawn(lambda one, _: 0.0 * one)
    unknown = np.random.default_rng(5).random(COUNT) < np.where(truth, 0.4, 0.1)
    columns["one"] = np.where(unknown, np.nan, columns["one"])
    said = fit(columns, truth, np.ones(COUNT), {}, PENALTY).steps["one"]
    # the log-likelihood ratio of being unknown, against that of being known
    assert said.unknown - np.mean(said.adds) == pytest.approx(np.log(0.4 / 0.1) - np.log(0.6 / 0.9), abs=0.15)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10**6), st.floats(-2, 2))
def test_as_many_are_expected_as_there_are(seed, level):
    """A logistic model's expectations add up to what happened (the likelihood equation of its intercept)."""
    columns, truth = drawn(lambda one, other: level + one + 0.5 * other, seed)
    expected = expit(fit(columns, truth, np.ones(COUNT), {}, PENALTY).log_odds(columns)).sum()
    assert expected == pytest.approx(truth.sum(), rel=0.02)


def test_what_can_only_speak_for_it_never_speaks_against():
    columns, truth = drawn(lambda one, other: 1.5 * np.sin(3 * one) + 0.0 * other)
    adds = fit(columns, truth, np.ones(COUNT), {"one": 1}, PENALTY).steps["one"].adds
    assert list(adds) == sorted(adds)
    free = fit(columns, truth, np.ones(COUNT), {}, PENALTY).steps["one"].adds
    assert list(free) != sorted(free)
