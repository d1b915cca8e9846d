"""How hindsight's trees are grown: they tell what a sum of numbers cannot, and say what the library says."""

import numpy as np
import pytest
from _boosting import grow, half_each


def drawn(count=4000):
    """Return numbers of which two tell the truth together and neither by itself, now and then one is not known."""
    chance = np.random.default_rng(1)
    columns = {name: chance.normal(size=count) for name in ("one", "other", "noise")}
    truth = (columns["one"] > 0) == (columns["other"] > 0)
    columns["noise"][chance.random(count) < 0.1] = np.nan
    return columns, truth


def test_what_two_numbers_tell_only_together_is_told(ensemble):
    columns, truth = drawn()
    forest = grow(columns, truth, np.ones(len(truth)), 60)
    fresh = {name: values[::-1][:1000] for name, values in drawn(8000)[0].items()}
    said = forest.log_odds(fresh)
    assert np.mean((said > 0) == ((fresh["one"] > 0) == (fresh["other"] > 0))) > 0.95


def test_the_forest_says_what_the_library_says(ensemble, monkeypatch):
    columns, truth = drawn()
    kept = []
    fit = ensemble.HistGradientBoostingClassifier.fit
    monkeypatch.setattr(
        ensemble.HistGradientBoostingClassifier,
        "fit",
        lambda self, *args, **more: kept.append(fit(self, *args, **more)),
    )
    weight = np.where(columns["one"] > 1, 3.0, 1.0)
    forest = grow(columns, truth, weight, 20)
    theirs = kept[0].decision_function(np.column_stack(list(columns.values())))
    assert forest.log_odds(columns) == pytest.approx(theirs, abs=1e-9)


def test_two_forests_with_half_a_say_each_say_the_mean_of_what_each_says(ensemble):
    columns, truth = drawn()
    weight = np.ones(len(truth))
    few = {name: columns[name] for name in ("noise", "one")}
    one, other = grow(few, truth, weight, 10), grow(columns, ~truth, weight, 25)
    mean = (one.log_odds(columns) + other.log_odds(columns)) / 2
    for both in (half_each(one, other), half_each(other, one)):
        assert both.log_odds(columns) == pytest.approx(mean, abs=1e-9)
