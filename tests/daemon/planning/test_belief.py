"""What each observation is worth: Bayes over single causes and pairs."""

import itertools
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.planning.belief import prior, update
from wakerail.planning.course import Course
from wakerail.planning.model import Likelihood, MissingEffect, Sign
from wakerail.planning.observations import BootWatched, SignSeen, likelihood
from wakerail_kit.errors import ConfigInvalid

NONE = frozenset[str]()


def possible(plan):
    """Return every set of actions that can be done and leaves a boot."""
    names = list(plan.action)
    sets = [frozenset(some) for count in range(len(names) + 1) for some in itertools.combinations(names, count)]
    return [done for done in sets if all(plan.needs[name] <= done for name in done) and plan.boot_ways(done)]


def watches(plan):
    return st.builds(BootWatched, st.sampled_from(possible(plan)), st.sampled_from([0.0, 0.2, 0.5, 0.9, 1.0]))


@given(st.data())
@settings(max_examples=30, deadline=None)
def test_the_posterior_sums_to_one_and_hangs_on_no_order(families, data):
    plan = data.draw(families())
    seen = data.draw(st.lists(watches(plan), max_size=5))
    course = Course(plan, tuple(seen))
    assert sum(course.belief.probability.values()) == pytest.approx(1.0)
    assert sum(course.belief.share.values()) == pytest.approx(1.0)
    shuffled = Course(plan, tuple(data.draw(st.permutations(seen))))
    assert shuffled.belief.probability == pytest.approx(course.belief.probability)


@given(st.data())
@settings(max_examples=30, deadline=None)
def test_undo_restores_what_was(families, data):
    plan = data.draw(families())
    seen = data.draw(st.lists(watches(plan), min_size=1, max_size=4))
    course = Course(plan)
    for one in seen:
        before, course = course, course.seen(one)
        assert course.undone() == before
        assert course.undone().belief.probability == before.belief.probability
    number = data.draw(st.integers(1, len(seen)))
    assert course.undone(number).observations == tuple(seen[: number - 1] + seen[number:])


def test_prior_shares_out_pairs_by_the_product_of_their_weights(simple):
    plan = simple(2.0, 1.0, board=1.0, pairs=0.1)
    belief = prior(plan)
    assert belief.probability[frozenset("a")] == pytest.approx(0.45)
    # a-b 2, a-board 2, b-board 1
    assert belief.probability[frozenset("ab")] == pytest.approx(0.1 * 2 / 5)
    assert belief.of_cause["a"] == pytest.approx(0.45 + 0.1 * 4 / 5)


def test_a_clean_boot_speaks_for_what_is_off_by_its_rates(simple):
    """Weights 1 and 1; miss and false 10 %: odds of nine to one."""
    belief = update(simple(1.0, error=0.1), prior(simple(1.0, error=0.1)), BootWatched(frozenset("a"), 0.0))
    assert belief.share == pytest.approx({"a": 0.9, "board": 0.1})


def test_a_verdict_of_even_chances_tells_nothing(simple):
    plan = simple(1.0, 3.0, error=0.05)
    belief = update(plan, prior(plan), BootWatched(frozenset("a"), 0.5))
    assert belief.probability == pytest.approx(prior(plan).probability)


def test_more_boots_in_a_try_miss_less(simple):
    """An intermittent fault that shows in 40 % of boots: five clean ones say more than one."""
    plan = simple(1.0)
    one = replace(plan, watching=replace(plan.watching, miss=0.6))
    five = one.watched_in_boots(5)
    clean = BootWatched(frozenset("a"), 0.0)
    assert update(one, prior(one), clean).share["a"] == pytest.approx(1 / 1.6)
    assert update(five, prior(five), clean).share["a"] == pytest.approx(1 / (1 + 0.6**5))


def test_a_pair_is_clean_only_without_both(simple):
    plan = simple(1.0, 1.0, error=0.01, pairs=0.2)
    pair = frozenset("ab")
    assert likelihood(plan, BootWatched(frozenset("a"), 1.0), pair) == pytest.approx(0.99)
    assert likelihood(plan, BootWatched(frozenset("ab"), 1.0), pair) == pytest.approx(0.01)


def test_signs_weigh_by_their_likelihoods(simple):
    plan = simple(1.0, 1.0, signs=(Sign("fast-loop", Likelihood({"board": 0.6}, 0.2)),))
    assert Course(plan).seen(SignSeen("fast-loop")).belief.share == pytest.approx({"a": 0.2, "b": 0.2, "board": 0.6})


class TestMissingParts:
    """A restart that the device makes for want of a part is no fault."""

    @pytest.fixture
    def plan(self, simple):
        effect = MissingEffect("a", "restarts near three minutes", (160.0, 200.0))
        return simple(1.0, 1.0, error=0.02, missing=(effect,))

    def test_such_a_restart_counts_as_clean_where_the_fault_is_faster(self, plan):
        course = Course(plan).seen(BootWatched(NONE, 1.0, 10.0)).seen(BootWatched(frozenset("a"), 1.0, 180.0))
        assert course.belief.share["a"] == pytest.approx(0.98 / (0.98 + 0.02 + 0.02))

    def test_such_a_restart_tells_nothing_where_the_fault_may_be_as_slow(self, plan):
        for before in ((), (BootWatched(NONE, 1.0, 175.0),)):
            course = Course(plan, before).seen(BootWatched(frozenset("a"), 1.0, 180.0))
            assert course.belief.share == pytest.approx(prior(plan).share)

    def test_a_restart_at_another_time_is_the_fault(self, plan):
        course = Course(plan).seen(BootWatched(NONE, 1.0, 10.0)).seen(BootWatched(frozenset("a"), 1.0, 10.0))
        assert course.belief.share["a"] < 0.02


class TestWhatCannotBe:
    """One line each, and the course stays as it was."""

    def test_results_that_contradict_each_other(self, simple):
        course = Course(simple(1.0, 1.0)).seen(BootWatched(frozenset("a"), 0.0))
        with pytest.raises(ConfigInvalid, match=r"^observation 2 \(the fault with a off\) contradicts what was seen"):
            course.seen(BootWatched(frozenset("a"), 1.0))

    def test_a_disconnect_that_is_not_possible_now(self, demo):
        with pytest.raises(ConfigInvalid, match=r"^radio-module cannot be done now: first display$"):
            Course(demo).seen(BootWatched(frozenset({"back-cover", "board-shield", "radio-module"}), 0.0))

    def test_what_must_stay_connected(self, demo):
        done = frozenset({"back-cover", "board-shield", "keypad", "port-board"})
        with pytest.raises(ConfigInvalid, match=r"nothing is left to prompt the boot: keep one of the power key, plug"):
            Course(demo).seen(BootWatched(done, 0.0))

    def test_what_is_not_known(self, demo):
        with pytest.raises(ConfigInvalid, match=r"^'scaner' is no action of fenmoor-t3; did you mean 'scanner'\?$"):
            Course(demo).seen(BootWatched(frozenset({"scaner"}), 0.0))
        with pytest.raises(ConfigInvalid, match=r"^'fast' is no sign of fenmoor-t3"):
            Course(demo).seen(SignSeen("fast"))

    def test_undoing_what_is_not_there(self, demo):
        with pytest.raises(ConfigInvalid, match=r"^observation 0 cannot be undone; there is none yet$"):
            Course(demo).undone()
