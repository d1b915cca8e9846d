"""What closed jobs teach."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.planning.belief import prior
from wakerail.planning.learning import learned, missing_as_seen
from wakerail.planning.observations import BootWatched
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


def test_clean_boots_with_everything_connected_show_how_often_the_fault_stays_away(simple):
    plan, on, off = simple(1.0, error=0.03), frozenset(), frozenset("a")
    assert missing_as_seen(plan, []) == plan
    shown, clean = BootWatched(on, 1.0), BootWatched(on, 0.0)
    assert missing_as_seen(plan, [shown] * 5).watching.miss == 0.03
    assert missing_as_seen(plan, [shown, clean]).watching.miss == pytest.approx((2 * 0.03 + 1) / 4)
    assert missing_as_seen(plan, [shown, *[BootWatched(off, 0.0)] * 5]).watching.miss == 0.03
    assert missing_as_seen(plan, [shown, clean] * 50).watching.miss == pytest.approx(0.5, abs=0.01)
