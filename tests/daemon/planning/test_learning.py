"""What closed jobs teach."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.planning.belief import prior
from wakerail.planning.learning import learned
from wakerail_kit.errors import ConfigInvalid


def test_ten_jobs_of_one_cause_against_a_strength_of_ten(simple):
    plan = learned(simple(1.0, board=1.0, strength=10.0), [frozenset("a")] * 10)
    assert prior(plan).share == pytest.approx({"a": 15 / 20, "board": 5 / 20})
    assert plan.strength == 20.0


def test_pairs_are_counted(simple):
    plan = learned(simple(1.0, 1.0, pairs=0.1, strength=10.0), [frozenset("ab")] * 2)
    assert plan.pairs == pytest.approx((1 + 2) / 12)


@given(st.lists(st.sampled_from(["a", "b", "board"]), max_size=12), st.integers(0, 12))
def test_learning_twice_is_learning_once(simple, jobs, cut):
    closed = [frozenset({job}) for job in jobs]
    twice = learned(learned(simple(2.0, 1.0), closed[:cut]), closed[cut:])
    assert prior(twice).share == pytest.approx(prior(learned(simple(2.0, 1.0), closed)).share)


@pytest.mark.parametrize(
    ("job", "says"), [(frozenset(), "not 0"), (frozenset({"scaner"}), "'scaner' is no cause of made-up")]
)
def test_what_cannot_be_learned_from(simple, job, says):
    with pytest.raises(ConfigInvalid, match=says):
        learned(simple(1.0), [job])
