"""Interlocks only ever make things safer: they refuse settings above the limit and trip on what they see."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.bench.interlocks import interlocks_for
from wakerail_kit.kinds import HEAT_SOURCE, PORT_TESTER, POWER_SOURCE

SUPPLY_LIMITS = {"volts": 5.0, "limit": 3.0}
PLATE_LIMITS = {"temperature": 260.0}


def refusals(kind, limits, setting, value):
    return [why for guard in interlocks_for(kind, limits) if (why := guard.refusal(setting, value))]


def trips(kind, limits, *frames):
    guards = interlocks_for(kind, limits)
    return [trip.interlock for samples in frames for guard in guards if (trip := guard.judge(samples))]


@given(value_v=st.floats(min_value=0, max_value=100))
def test_a_voltage_passes_exactly_when_it_is_within_the_limit(value_v: float) -> None:
    assert bool(refusals(POWER_SOURCE, SUPPLY_LIMITS, "volts", value_v)) == (value_v > 5.0)


def test_the_refusal_says_value_and_limit() -> None:
    assert refusals(POWER_SOURCE, SUPPLY_LIMITS, "volts", 12.0) == ["volts 12 V is above this bench's limit of 5 V"]


def test_switching_off_is_never_refused() -> None:
    assert not refusals(POWER_SOURCE, SUPPLY_LIMITS, "output", False)
    assert not refusals(HEAT_SOURCE, PLATE_LIMITS, "heater", False)


def test_a_plate_above_its_limit_trips() -> None:
    assert trips(HEAT_SOURCE, PLATE_LIMITS, {"temperature": [260.0], "heater": [1.0]}) == []
    assert trips(HEAT_SOURCE, PLATE_LIMITS, {"temperature": [260.1], "heater": [0.0]}) == ["over-temperature"]


def test_a_lost_sensor_trips_only_while_heating_and_bars_heat_until_it_reads() -> None:
    assert trips(HEAT_SOURCE, PLATE_LIMITS, {"temperature": [None], "heater": [0.0]}) == []
    assert trips(HEAT_SOURCE, PLATE_LIMITS, {"temperature": [200.0, None], "heater": [1.0, 1.0]}) == ["lost-sensor"]
    guards = interlocks_for(HEAT_SOURCE, PLATE_LIMITS)
    assert any(guard.refusal("heater", True) for guard in guards), "no heat before the first reading"
    for guard in guards:
        guard.judge({"temperature": [25.0], "heater": [0.0]})
    assert not any(guard.refusal("heater", True) for guard in guards)
    for guard in guards:
        guard.judge({"temperature": [None], "heater": [0.0]})
    assert any(guard.refusal("heater", True) for guard in guards)


def test_a_voltage_above_the_limit_trips_past_the_grace_only() -> None:
    assert trips(POWER_SOURCE, SUPPLY_LIMITS, {"voltage": [5.2]}) == []
    assert trips(POWER_SOURCE, SUPPLY_LIMITS, {"voltage": [3.0, 5.3, None]}) == ["over-voltage"]


def test_a_kind_without_settings_has_nothing_to_guard() -> None:
    assert trips(PORT_TESTER, {}, {}) == []


@pytest.mark.parametrize("samples", [{}, {"voltage": []}, {"voltage": [None]}])
def test_samples_without_data_trip_nothing_on_a_supply(samples) -> None:
    assert trips(POWER_SOURCE, SUPPLY_LIMITS, samples) == []
