"""Each interlock of a plate by itself, on numbers and times: what trips it, and what must not."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np
import pytest

from wakerail.bench.interlocks.cooling import Cooling
from wakerail.bench.interlocks.fast_rise import FastRise
from wakerail.bench.interlocks.hot_time import HotTime, Session
from wakerail.bench.interlocks.no_rise import NoRise, StandsStill
from wakerail.bench.interlocks.over_temperature import Overshoot, OverTemperature
from wakerail.bench.interlocks.plate_state import PlateGuard, PlateState
from wakerail.bench.interlocks.presence import Attended, Presence
from wakerail.bench.interlocks.setpoint import SecondSource, SetpointHeld
from wakerail.bench.interlocks.silence import Silence
from wakerail.bench.interlocks.unheated_rise import UnheatedRise

PERIOD_S = 0.1


def heated(t_s: float, at_c: float | None, **changes: object) -> PlateState:
    """A plate that heats to 230 degC, as it was told."""
    usual: dict[str, object] = {
        "temperature_c": at_c, "shown_c": at_c, "setpoint_c": 230.0, "heater": True,
        "wanted_heater": True, "wanted_c": 230.0, "wanted_s": 0.0,
    }  # fmt: skip
    return PlateState(t_s=t_s, **(usual | changes))  # type: ignore[arg-type]


def unheated(t_s: float, at_c: float | None, **changes: object) -> PlateState:
    """A plate whose heater was switched off at 0 s."""
    return heated(t_s, at_c, **({"heater": False, "wanted_heater": False, "off_s": 0.0} | changes))


def tripped_at(guard: PlateGuard, states: Iterable[PlateState]) -> tuple[str, float] | None:
    """Return the interlock and the time of the first trip."""
    for state in states:
        trip = guard.judge(state) or guard.check(state.t_s, heating=state.heating)
        if trip is not None:
            assert trip.says
            return trip.interlock, state.t_s
    return None


def over(
    course: Callable[[float], float | None],
    until_s: float,
    state: Callable[..., PlateState] = heated,
    **changes: object,
) -> list[PlateState]:
    """States of a plate that follows a course of temperatures over time."""
    return [state(t_s, course(t_s), **changes) for t_s in np.arange(0, until_s, PERIOD_S).tolist()]


# --- temperature ---


def test_a_single_sample_above_the_ceiling_trips_heated_or_not() -> None:
    guard = OverTemperature(260.0)
    assert guard.judge(heated(0, 260.0)) is None
    assert guard.judge(heated(0, None)) is None
    for state in (heated(0, 260.1), unheated(0, 260.1)):
        trip = guard.judge(state)
        assert trip is not None
        assert (trip.interlock, trip.value, trip.limit, trip.unit) == ("over-temperature", 260.1, 260.0, "Cel")


def test_a_plate_that_goes_on_above_its_set_point_does_not_regulate() -> None:
    guard = Overshoot(20.0, 15.0)
    assert tripped_at(guard, over(lambda t_s: 200 + t_s, 100)) == ("overshoot", pytest.approx(50.1, abs=0.2))
    guard.reset()
    swings = over(lambda t_s: 230 + 12 * math.sin(t_s / 10), 300)  # an oven's two-point control
    assert tripped_at(guard, swings) is None


def test_a_lower_set_point_is_no_overshoot_while_the_plate_follows() -> None:
    cools = over(lambda t_s: 230 - t_s, 100, setpoint_c=100.0, wanted_c=100.0)
    assert tripped_at(Overshoot(20.0, 15.0), cools) is None


@pytest.mark.parametrize("rate", [-3.0, 0.5, 2.3, 3.0])
@pytest.mark.parametrize("noise_k", [0.0, 0.3, 1.5, 3.0])
def test_a_rise_within_the_heaters_power_is_let_be_with_its_noise(rate: float, noise_k: float) -> None:
    for seed in range(5):
        noise = np.random.default_rng(seed)
        course = over(lambda t_s, noise=noise: 150 + rate * t_s + noise.normal(0, noise_k), 60)
        assert tripped_at(FastRise(4.0), course) is None


def test_a_rise_faster_than_the_heaters_power_trips_in_seconds() -> None:
    course = over(lambda t_s: 150 + 2.0 * t_s + 6.0 * max(0.0, t_s - 20), 60)
    interlock, at_s = tripped_at(FastRise(4.0), course) or ("", 0.0)
    assert interlock == "fast-rise"
    assert 20 < at_s < 24


# --- heat without effect, effect without heat ---


def test_a_heater_without_rise_trips_after_its_time() -> None:
    noise = np.random.default_rng(1)
    assert tripped_at(NoRise(20.0), over(lambda _: 25 + noise.normal(0, 0.2), 60)) == (
        "no-rise", pytest.approx(20.1, abs=3.0),
    )  # fmt: skip
    assert tripped_at(NoRise(20.0), over(lambda t_s: 25 + 0.2 * t_s, 600)) is None


def test_a_plate_at_its_set_point_need_not_rise() -> None:
    assert tripped_at(NoRise(20.0), over(lambda _: 228.0, 300)) is None
    assert tripped_at(NoRise(20.0), over(lambda _: 25.0, 300, unheated)) is None


def test_a_sensor_that_comes_off_the_plate_is_seen_by_its_fall() -> None:
    falls = over(lambda t_s: 25 + 205 * math.exp(-max(0.0, t_s - 10) / 30), 60)
    interlock, at_s = tripped_at(NoRise(20.0), falls) or ("", 0.0)
    assert interlock == "no-rise"
    assert at_s < 10 + 5


def test_a_reading_that_stands_still_below_the_set_point_trips() -> None:
    """The plate's own control takes it for true, and heats on."""
    assert tripped_at(StandsStill(20.0), over(lambda t_s: 225.0 if t_s > 10 else 215.0 + t_s, 60)) == (
        "no-rise", pytest.approx(30.2, abs=0.2),
    )  # fmt: skip
    assert tripped_at(StandsStill(20.0), over(lambda _: 229.5, 300)) is None
    assert tripped_at(StandsStill(20.0), over(lambda _: 25.0, 300, unheated)) is None
    assert tripped_at(StandsStill(20.0), over(lambda t_s: 225.0 + 0.1 * (round(t_s) % 10 == 0), 300)) is None


def test_a_rise_without_heater_trips_once_the_element_has_had_its_time() -> None:
    interlock, at_s = tripped_at(UnheatedRise(15.0), over(lambda t_s: 100 + 2 * t_s, 60, unheated)) or ("", 0.0)
    assert interlock == "unheated-rise"
    assert 15 < at_s < 23


def test_heat_that_was_in_the_element_is_no_stuck_relay() -> None:
    coasts = over(lambda t_s: 230 + 8 * (1 - math.exp(-t_s / 3)) - 0.5 * max(0.0, t_s - 8), 120, unheated)
    assert tripped_at(UnheatedRise(15.0), coasts) is None
    noise = np.random.default_rng(5)
    assert tripped_at(UnheatedRise(15.0), over(lambda _: 25 + noise.normal(0, 1.5), 600, unheated)) is None


# --- time ---


def test_silence_trips_by_the_clock_and_by_the_next_reading() -> None:
    guard = Silence(2.0)
    assert guard.judge(heated(10.0, 200.0)) is None
    assert guard.check(12.0, heating=True) is None
    assert guard.check(12.1, heating=False) is None
    trip = guard.check(12.1, heating=True)
    assert trip is not None
    assert trip.interlock == "lost-communication"
    assert guard.judge(heated(13.0, 200.0)) is not None
    assert guard.judge(heated(13.1, 200.0)) is None


def test_a_reading_without_temperature_does_not_end_the_silence() -> None:
    guard = Silence(2.0)
    guard.judge(heated(10.0, 200.0))
    assert tripped_at(guard, [heated(10 + 0.1 * step, None) for step in range(40)]) == (
        "lost-communication", pytest.approx(12.1),
    )  # fmt: skip


def test_hot_for_too_long_trips_only_while_it_is_heated() -> None:
    assert tripped_at(HotTime(48.0, 60.0), over(lambda _: 200.0, 100)) == ("hot-time", pytest.approx(60.1))
    assert tripped_at(HotTime(48.0, 60.0), over(lambda _: 200.0, 100, unheated)) is None
    assert tripped_at(HotTime(48.0, 60.0), over(lambda t_s: 200.0 if t_s % 50 > 1 else 40.0, 300)) is None


def test_a_session_lasts_from_the_first_heat_until_the_plate_is_off_and_cool() -> None:
    guard = Session(48.0, 60.0)
    heats = over(lambda _: 100.0, 40)
    waits_hot = [unheated(40 + 0.1 * step, 90.0) for step in range(300)]
    again = [heated(70 + 0.1 * step, 90.0) for step in range(10)]
    assert tripped_at(guard, heats + waits_hot + again) == ("session", pytest.approx(70.0))
    guard.reset()
    cool = [unheated(40.0, 40.0)]
    assert tripped_at(guard, heats + cool + again) is None


# --- who commands it ---


def test_a_set_point_that_is_not_taken_trips_when_its_time_is_over() -> None:
    course = over(lambda _: 100.0, 10, setpoint_c=25.0)
    assert tripped_at(SetpointHeld(3.0), course) == ("setpoint-not-held", pytest.approx(3.1))
    assert tripped_at(SetpointHeld(3.0), over(lambda _: 100.0, 10, setpoint_c=None)) is not None
    assert tripped_at(SetpointHeld(3.0), over(lambda _: 100.0, 10, setpoint_c=230.4)) is None


def test_a_set_point_that_drifts_away_trips_though_no_step_is_large() -> None:
    states = [heated(t_s, 200.0, setpoint_c=230 + 0.05 * t_s) for t_s in np.arange(0, 60, 0.1).tolist()]
    interlock, at_s = tripped_at(SetpointHeld(3.0), states) or ("", 0.0)
    assert interlock == "setpoint-not-held"
    assert at_s == pytest.approx(23.1, abs=0.3)
    assert tripped_at(SecondSource(), states) is None


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (heated(0, 200.0), heated(0.1, 200.0, setpoint_c=300.0)),
        (heated(0, 200.0), heated(0.1, 200.0, heater=False)),
        (unheated(0, 30.0), unheated(0.1, 30.0, heater=True)),
    ],
)
def test_another_hand_is_seen_in_the_first_reading(before: PlateState, after: PlateState) -> None:
    guard = SecondSource()
    assert guard.judge(before) is None
    trip = guard.judge(after)
    assert trip is not None
    assert trip.interlock == "second-source"
    assert "nobody here did it" in trip.says


def test_what_was_commanded_here_is_no_other_hand() -> None:
    guard = SecondSource()
    assert guard.judge(heated(0, 200.0, setpoint_c=150.0, wanted_c=150.0)) is None
    assert guard.judge(heated(0.1, 200.0)) is None
    assert guard.judge(unheated(0.2, 200.0, setpoint_c=48.0)) is None
    assert guard.judge(heated(0.3, 200.0, wanted_heater=None, heater=False)) is None


# --- a person ---


def test_heat_is_refused_and_ends_without_a_person() -> None:
    presence = Presence(180.0)
    guard = Attended(presence)
    assert guard.refusal(0.0) == "heat needs a person at the bench, and none has confirmed it within the last 180 s"
    presence.confirm(10.0)
    assert guard.refusal(10.0) is None
    assert presence.left_s(100.0) == pytest.approx(90.0)
    assert guard.check(189.9, heating=True) is None
    assert guard.check(190.1, heating=False) is None
    trip = guard.check(190.1, heating=True)
    assert trip is not None
    assert trip.interlock == "unattended"
    presence.confirm(190.2)
    assert guard.check(190.3, heating=True) is None


# --- after the cut ---


def cooling(course: Callable[[float], float | None], until_s: float) -> list[float]:
    """Return when a person is alarmed, for a plate cut at 0 s that follows a course."""
    watch = Cooling(260.0, 48.0, 15.0, 60.0)
    watch.begin(0.0, course(0.0))
    times_s = np.arange(0, until_s, PERIOD_S).tolist()
    return [t_s for t_s in times_s if watch.judge(t_s, course(t_s)) is not None]


def test_a_plate_that_cools_alarms_nobody() -> None:
    coasts = cooling(lambda t_s: 25 + 205 * math.exp(-max(0.0, t_s - 5) / 300) + min(t_s, 5.0), 1200)
    assert coasts == []
    assert cooling(lambda _: 50.0, 600) == []  # so near to cool that nothing can be told


def test_a_plate_that_goes_on_rising_alarms_when_it_must_have_stopped_and_again() -> None:
    alarms_s = cooling(lambda t_s: 150 + t_s, 100)
    assert alarms_s[0] == pytest.approx(15.0, abs=0.2)
    assert alarms_s[1] == pytest.approx(45.0, abs=0.4)


def test_a_plate_that_passes_its_ceiling_after_the_cut_alarms_at_once() -> None:
    assert cooling(lambda t_s: 255 + t_s, 20)[0] == pytest.approx(5.1, abs=0.2)


def test_a_plate_that_stays_as_hot_as_it_was_alarms_when_its_time_is_over() -> None:
    assert cooling(lambda _: 200.0, 100)[0] == pytest.approx(60.0, abs=0.2)


def test_a_plate_that_cannot_be_seen_alarms_too() -> None:
    assert cooling(lambda _: None, 30)[0] == pytest.approx(15.0, abs=0.2)
