"""When to look back before the end: cheap whatever comes, and seldom where what is seen live is borne out."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from wakerail.analysis.hindsight.looks import Looks

BORNE_OUT = [True] * 3


@given(st.lists(st.integers(1, 3000), min_size=1, max_size=300), st.lists(st.booleans(), max_size=8))
def test_all_looks_together_look_at_few_times_the_ticks_there_are(steps, borne_out):
    looks, ticks, looked_at = Looks(), 0, 0
    for step in steps:
        ticks += step
        if looks.due(ticks) or ticks >= looks.unasked_at:
            looked_at += ticks
            looks.note(ticks, borne_out)
        assert looked_at <= 4 * ticks + 10_000


@given(st.lists(st.integers(1, 3000), min_size=50, max_size=300))
def test_a_look_is_due_again_before_twice_as_much_was_recorded(steps):
    looks, ticks, newest = Looks(), 0, 0
    for step in steps:
        ticks += step
        if looks.due(ticks):
            looks.note(ticks, [False])
            newest = ticks
        assert ticks < max(2 * newest, newest + 3000)


def test_where_nothing_is_proposed_looks_come_at_each_doubling_until_they_are_dear():
    looks, looked_at = Looks(), []
    for ticks in range(1, 100_000):
        if ticks >= looks.unasked_at:
            looked_at.append(ticks)
            looks.note(ticks, [])
    assert looked_at == [256, 512, 1024, 2048, 4096, 8192]


def test_a_look_at_what_was_proposed_puts_off_the_next_that_nothing_asks_for():
    looks = Looks()
    looks.note(300, [False])
    assert looks.unasked_at == 600


def test_every_proposal_of_the_first_seconds_is_looked_at():
    looks = Looks()
    for ticks in range(100, 1000, 100):
        assert looks.due(ticks)
        looks.note(ticks, [False])


def test_what_is_new_is_trusted_where_the_others_were_borne_out():
    looks = Looks()
    assert not looks.trusts(0)
    looks.note(100, BORNE_OUT)
    assert looks.trusts(120)
    assert not looks.trusts(80)  # that was there when it was looked, and was not found
    assert not looks.due(149)
    assert looks.due(151)


def test_too_few_borne_out_or_too_many_not_are_no_reason_to_trust():
    for borne_out in ([], [True, True], [True, True, True, False]):
        looks = Looks()
        looks.note(100, borne_out)
        assert not looks.trusts(120)
        assert looks.due(101)


def test_trust_ends_with_what_is_not_borne_out():
    looks = Looks()
    looks.note(100, BORNE_OUT)
    looks.note(200, [*BORNE_OUT, False])
    assert not looks.trusts(250)
