"""What may be injected into a rail, what of a reading is too much, and what became of the short."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.analysis.injection import Flowed, Injected, compare, is_short
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.rails import Rail

RAIL = Rail("main", "the main rail", 3.85, "battery", "1", 1.0, 2.0, 1.0, 5.0)

volts, amps = st.floats(0.01, 5.0), st.floats(0.01, 5.0)


@pytest.mark.parametrize(
    ("volts_v", "limit_a", "why"),
    [
        (0.5, 1.0, ""),
        (1.0, 1.0, ""),
        (1.1, 0.1, "allows 1 V at most on the main rail, not 1.1 V"),
        (0.2, 2.5, "allows 2 A at most on the main rail, not 2.5 A"),
        (0.8, 2.0, "allows 1 W at most on the main rail, and 800 mV at 2 A are 1.6 W; take a limit of 1.25 A"),
    ],
)
def test_what_a_rail_must_not_get_is_refused_with_what_would_be_right(volts_v, limit_a, why):
    assert Injected(volts_v, limit_a).too_much_for(RAIL) == why


@given(volts, amps, st.floats(0.001, 100.0))
@settings(max_examples=80)
def test_what_is_let_through_never_gives_more_power_than_the_rail_may_have(volts_v, limit_a, load_ohm):
    """Whatever the short is: a supply that keeps its volts and its limit gives no more than their product."""
    if Injected(volts_v, limit_a).too_much_for(RAIL):
        return
    current_a = min(limit_a, volts_v / load_ohm)
    assert current_a**2 * load_ohm <= RAIL.most_w * 1.000001
    assert volts_v <= min(RAIL.ceiling_v, RAIL.nominal_v)


@given(volts, amps, volts, amps)
@settings(max_examples=80)
def test_a_reading_beyond_what_was_set_is_seen(volts_v, limit_a, voltage_v, current_a):
    seen = Injected(volts_v, limit_a).beyond(voltage_v, current_a, 1e9)
    if voltage_v > 1.1 * volts_v + 0.1 or current_a > 1.1 * limit_a + 0.1:
        assert seen
    if voltage_v <= volts_v and current_a <= limit_a:
        assert not seen


def test_a_power_above_the_rails_is_seen_though_volts_and_amperes_are_as_set():
    assert "1 W allowed" in Injected(3.0, 2.0).beyond(3.0, 2.0, RAIL.most_w).says


@pytest.mark.parametrize(
    ("before_ohm", "after_ohm", "finding"),
    [(0.4, 0.4, Finding.SHORT_STAYS), (0.4, 300.0, Finding.SHORT_CLEARED), (0.4, None, Finding.SHORT_CLEARED)],
)
def test_the_resistance_afterwards_tells_what_became_of_it(before_ohm, after_ohm, finding):
    outcome, found, says = compare(RAIL, before_ohm, after_ohm)
    assert (found, outcome == Outcome.FAILED) == (finding, finding is Finding.SHORT_STAYS)
    assert "400 mΩ before" in says


def test_an_open_rail_is_not_shorted():
    assert not is_short(RAIL, None)
    assert is_short(RAIL, 4.9)
    assert not is_short(RAIL, 5.0)


def test_what_flowed_is_told_in_means_and_the_most_power():
    flowed = Flowed.of([0.4, 0.2], [1.0, 1.0], 2.0)
    assert (flowed.voltage_v, flowed.current_a, flowed.most_w) == pytest.approx((0.3, 1.0, 0.4))
    assert Flowed.of([], [], 2.0) is None
