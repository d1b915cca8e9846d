"""A supply's interlocks: no setting above the limit, output off above it, never on under a hot board."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.analysis.injection import Injected
from wakerail.bench.interlocks import Allowance, Keeper, Most, Presence, Samples, Wiring, keeper_for
from wakerail.bench.interlocks.plate_state import PlateState
from wakerail.bench.interlocks.wiring import PoweredBoard
from wakerail_kit.kinds import PORT_TESTER, POWER_SOURCE

LIMITS = {"volts": 5.0, "limit": 3.0}


def keeper(wiring: Wiring | None = None) -> Keeper:
    return keeper_for(POWER_SOURCE, LIMITS, Presence(180.0), wiring)


def samples(t_s: float = 1.0, **signals: list[float | None]) -> Samples:
    count = max((len(values) for values in signals.values()), default=1) or 1
    return Samples([t_s] * count, signals)


@given(value_v=st.floats(min_value=0, max_value=100))
def test_a_voltage_passes_exactly_when_it_is_within_the_limit(value_v: float) -> None:
    assert bool(keeper().refusal("volts", value_v, 0.0)) == (value_v > 5.0)


def test_the_refusal_says_value_and_limit() -> None:
    assert keeper().refusal("volts", 12.0, 0.0) == "volts 12 V is above this bench's limit of 5 V"


def test_what_is_no_number_is_never_set() -> None:
    assert keeper().refusal("volts", float("nan"), 0.0)


def test_a_voltage_above_the_limit_trips_past_the_grace_only() -> None:
    assert keeper().judge(samples(voltage=[5.2])) is None
    trip = keeper().judge(samples(voltage=[3.0, 5.3, None]))
    assert trip is not None
    assert trip.interlock == "over-voltage"


@pytest.mark.parametrize("signals", [{}, {"voltage": []}, {"voltage": [None]}])
def test_samples_without_data_trip_nothing(signals) -> None:
    assert keeper().judge(samples(**signals)) is None


def test_a_kind_without_settings_has_nothing_to_guard() -> None:
    guards = keeper_for(PORT_TESTER, {}, Presence(180.0))
    assert guards.judge(samples()) is None
    assert guards.check(1.0) is None


# --- what a run may give ---


def allowed(volts_v: float = 0.5, limit_a: float = 1.0, power_w: float = 1.0) -> tuple[Keeper, Allowance]:
    allowance = Allowance()
    guards = keeper_for(POWER_SOURCE, LIMITS, Presence(180.0), None, allowance)
    allowance.most = Most(Injected(volts_v, limit_a), power_w)
    return guards, allowance


@given(st.floats(0, 5), st.sampled_from(["volts", "limit"]))
def test_nothing_above_what_a_run_may_give_is_set_while_it_holds_the_supply(value, setting):
    guards, allowance = allowed()
    most = 0.5 if setting == "volts" else 1.0
    assert bool(guards.refusal(setting, value, 0.0)) == (value > most)
    allowance.most = None
    assert bool(guards.refusal(setting, value, 0.0)) == (value > LIMITS[setting])


def test_nothing_comes_on_whose_settings_are_not_known_to_be_within_it():
    guards, _ = allowed()
    assert guards.refusal("output", True, 0.0) == "volts is not known to be within what this run may give; set it first"
    guards.commanded("volts", 3.85, 0.0)
    guards.commanded("limit", 1.0, 0.0)
    assert guards.refusal("output", True, 0.0)
    guards.commanded("volts", 0.5, 0.0)
    assert guards.refusal("output", True, 0.0) is None
    guards.commanded("limit", None, 0.0)  # it failed on the way
    assert guards.refusal("output", True, 0.0)


@pytest.mark.parametrize("reading", [{"voltage": [1.2]}, {"voltage": [1.2], "current": [None]}, {"current": [1.3]}])
def test_half_a_reading_above_it_trips(reading):
    guards, _ = allowed()
    guards.commanded("output", True, 0.0)
    trip = guards.judge(samples(**reading))
    assert trip is not None
    assert trip.interlock == "allowance"


def test_what_was_set_before_the_link_was_lost_is_not_known_any_more():
    guards, _ = allowed()
    guards.commanded("volts", 0.5, 0.0)
    guards.commanded("limit", 1.0, 0.0)
    assert guards.refusal("output", True, 0.0) is None
    assert guards.lost(1.0, "it does not answer") is None
    assert guards.refusal("output", True, 2.0)  # it may have been off meanwhile, and come back with values of its own


@pytest.mark.parametrize(
    ("voltage_v", "current_a", "says"),
    [
        (1.2, 0.1, "1.2 V at the output, above the 500 mV that was set"),
        (0.3, 1.3, "1.3 A at the output, above the limit of 1 A"),
    ],
)
def test_a_reading_above_it_trips_while_the_output_is_on(voltage_v, current_a, says):
    guards, allowance = allowed()
    reading = samples(voltage=[0.4, voltage_v], current=[0.9, current_a])
    guards.commanded("output", False, 0.0)
    assert guards.judge(reading) is None
    guards.commanded("output", True, 0.0)
    assert guards.judge(samples(voltage=[0.51, None], current=[1.01, None])) is None
    trip = guards.judge(reading)
    assert trip is not None
    assert (trip.interlock, trip.says) == ("allowance", says)
    assert guards.refusal("output", True, 0.0)  # until a person has looked
    guards.reset(1.0)
    allowance.most = None
    assert guards.judge(reading) is None


# --- a board that is wired to the supply while it lies on the plate ---


def wired(at_c: float | None, *, heating: bool = False, t_s: float = 1.0) -> Wiring:
    wiring = Wiring("plate", "supply", 48.0)
    state = PlateState(t_s=t_s, temperature_c=at_c, wanted_heater=heating)
    PoweredBoard(wiring).judge(state)
    return wiring


def test_a_board_on_a_hot_plate_gets_no_power() -> None:
    why = keeper(wired(180.0)).refusal("output", True, 1.1)
    assert why == "the board is on plate, which is at 180 °C; no power to a hot board"
    assert keeper(wired(25.0)).refusal("output", True, 1.1) is None
    assert keeper(wired(180.0)).refusal("volts", 3.85, 1.1) is None


def test_a_plate_that_was_hot_and_tells_nothing_counts_as_hot() -> None:
    assert keeper(wired(180.0)).refusal("output", True, 100.0)
    assert keeper(wired(25.0)).refusal("output", True, 100.0) is None


def test_power_goes_off_when_the_plate_gets_hot() -> None:
    wiring = wired(30.0)
    guards = keeper(wiring)
    guards.commanded("output", True, 1.0)
    assert guards.judge(samples(voltage=[3.85], output=[1.0])) is None
    wiring.tell_plate(2.0, 60.0, heating=False)
    trip = guards.judge(samples(2.1, voltage=[3.85], output=[1.0]))
    assert trip is not None
    assert trip.interlock == "powered-while-hot"


def test_no_heat_under_a_powered_board_and_heat_ends_when_it_is_powered() -> None:
    wiring = wired(30.0)
    plate = PoweredBoard(wiring)
    assert plate.refusal(1.0) is None
    wiring.tell_output(True)
    assert plate.refusal(1.0) == "the board on it is powered by supply; switch that off before heating"
    assert plate.judge(PlateState(t_s=1.0, temperature_c=40.0, wanted_heater=True)) is None
    trip = plate.judge(PlateState(t_s=2.0, temperature_c=50.0, wanted_heater=True))
    assert trip is not None
    assert trip.interlock == "powered-while-hot"
