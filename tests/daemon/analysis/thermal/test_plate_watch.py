"""The plate followed as it heats: time to go, and a plate that stops behaving like itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from wakerail.analysis.thermal.plate_model import PlateModel, PlateState
from wakerail.analysis.thermal.plate_watch import PlateWatch, command_of

SETPOINT_C = 230.0
STEP_S = 0.5


@dataclass
class Bench:
    """A plate with a thermostat of its own: full heat until near its set point, then what holding takes."""

    plate: PlateModel
    noise_k: float = 0.1
    seed: int = 0

    def __post_init__(self) -> None:
        self.state = PlateState(self.plate.room_c)
        self.now_s = 0.0
        self.heater = False
        self._noise = np.random.default_rng(self.seed)

    def step(self) -> float:
        """Move on by a step; return what the sensor shows."""
        needed = self.plate.holding(SETPOINT_C).heat
        wanted = needed + 0.08 * (SETPOINT_C - self.state.temperature_c) if self.heater else 0.0
        self.state = self.plate.run(self.state, np.array([min(max(wanted, 0.0), 1.0)]), STEP_S).state(-1)
        self.now_s += STEP_S
        return round(self.state.temperature_c + float(self._noise.normal(0.0, self.noise_k)), 1)


def follow(
    bench: Bench, watch: PlateWatch, until: Callable[[float], bool], *, at_most_s: float = 2000.0
) -> list[tuple[float, float]]:
    """Feed the watch until the sensor shows something."""
    shown = []
    while not shown or (not until(shown[-1][1]) and bench.now_s < at_most_s):
        c = bench.step()
        shown.append((bench.now_s, c))
        watch.take(bench.now_s, c, command_of(bench.heater, SETPOINT_C, c))
    return shown


PLATES = [
    PlateModel(2.3, 315.0, 2.5, 0.5, 25.0, 0.0),
    PlateModel(1.6, 350.0, 15.0, 3.0, 18.0),
    PlateModel(3.0, 250.0, 6.0, 1.0, 30.0, 1.0),
]


@pytest.mark.parametrize("plate", PLATES[::2])
def test_time_to_go_comes_true_within_its_interval_going_up_and_coming_down(plate):
    bench, watch = Bench(plate), PlateWatch()
    bench.heater = True
    follow(bench, watch, lambda c: c >= 120.0)
    up, from_s = watch.time_to(210.0), bench.now_s
    follow(bench, watch, lambda c: c >= 210.0)
    assert up.least_s - 1 <= bench.now_s - from_s <= up.most_s + 1
    follow(bench, watch, lambda c: c >= SETPOINT_C - 1)
    follow(bench, watch, lambda c: False, at_most_s=bench.now_s + 120.0)
    assert watch.time_to(SETPOINT_C) is None
    bench.heater = False
    follow(bench, watch, lambda c: c <= 150.0)
    down, from_s = watch.time_to(48.0, command=0.0), bench.now_s
    follow(bench, watch, lambda c: c <= 48.0, at_most_s=6000.0)
    took_s = bench.now_s - from_s
    assert down.likely_s == pytest.approx(took_s, rel=0.35)
    assert down.least_s - 1 <= took_s <= down.most_s + 1
    assert watch.misbehaviour is None


@pytest.mark.parametrize(("noise_k", "plate"), [(0.05, 1), (1.0, 2)])
def test_an_honest_plate_never_misbehaves(noise_k, plate):
    bench, watch = Bench(PLATES[plate], noise_k, seed=plate), PlateWatch()
    bench.heater = True
    follow(bench, watch, lambda c: c >= 200.0)
    bench.heater = False
    follow(bench, watch, lambda c: False, at_most_s=bench.now_s + 200.0)
    assert watch.misbehaviour is None


def test_a_plate_that_loses_half_its_heat_is_told_in_words():
    bench, watch = Bench(PLATES[0]), PlateWatch()
    bench.heater = True
    follow(bench, watch, lambda c: c >= 120.0)
    broken_s = bench.now_s
    bench.plate = PlateModel(1.15, 315.0, 2.5, 0.5, 25.0, 0.0)
    follow(bench, watch, lambda c: watch.misbehaviour is not None)
    assert watch.misbehaviour.at_s - broken_s < 30.0
    assert watch.misbehaviour.measured_k < watch.misbehaviour.expected_k
    assert "does not behave as it did" in watch.misbehaviour.says


def test_a_plate_that_is_still_heated_with_its_heater_off_is_told():
    bench, watch = Bench(PLATES[0]), PlateWatch()
    bench.heater = True
    follow(bench, watch, lambda c: c >= 150.0)
    bench.heater = False
    follow(bench, watch, lambda c: False, at_most_s=bench.now_s + 90.0)
    assert watch.misbehaviour is None
    stuck_s = bench.now_s
    while watch.misbehaviour is None and bench.now_s < stuck_s + 60.0:
        bench.heater = True
        watch.take(bench.now_s, bench.step(), 0.0)
    assert watch.misbehaviour.at_s - stuck_s < 30.0
    assert watch.misbehaviour.measured_k > watch.misbehaviour.expected_k


def test_a_plate_that_a_fan_cools_is_not_told():
    bench, watch = Bench(PLATES[0]), PlateWatch()
    bench.heater = True
    follow(bench, watch, lambda c: c >= 200.0)
    bench.heater = False
    follow(bench, watch, lambda c: False, at_most_s=bench.now_s + 90.0)
    bench.plate = PlateModel(2.3, 80.0, 2.5, 0.5, 25.0, 0.0)
    follow(bench, watch, lambda c: c < 40.0)
    assert watch.misbehaviour is None


def test_a_plate_too_weak_for_its_set_point_is_not_expected_to_get_there():
    bench, watch = Bench(PlateModel(0.6, 250.0, 5.0, 1.0, 22.0, 0.0)), PlateWatch()
    bench.heater = True
    follow(bench, watch, lambda c: c >= 120.0)
    assert watch.time_to(SETPOINT_C).likely_s is None


def test_nothing_is_told_before_enough_was_seen():
    bench, watch = Bench(PLATES[0]), PlateWatch()
    bench.heater = True
    follow(bench, watch, lambda c: c >= 30.0)
    assert watch.plate is None
    assert watch.time_to(SETPOINT_C) is None


def test_a_heat_cut_short_near_its_set_point_is_not_taken_for_one_that_was_held():
    bench, watch = Bench(PLATES[0]), PlateWatch()
    bench.heater = True
    follow(bench, watch, lambda c: c >= SETPOINT_C - 8)
    bench.heater = False
    follow(bench, watch, lambda c: False, at_most_s=bench.now_s + 60.0)
    assert watch.time_to(48.0, command=0.0) is None


def test_a_plate_still_warm_from_the_last_heat_is_identified_in_a_room_of_25_degrees():
    bench, watch = Bench(PlateModel(2.3, 315.0, 2.5, 0.5, 25.0)), PlateWatch()
    bench.state, bench.heater = PlateState(90.0), True
    follow(bench, watch, lambda c: c >= 180.0)
    assert watch.plate.model.room_c == 25.0
    assert watch.plate.model.heat_rate_k_per_s == pytest.approx(2.3, rel=0.15)


@pytest.mark.parametrize(
    ("heater", "setpoint_c", "now_c", "command"),
    [
        (False, 230.0, 25.0, 0.0),
        (True, 230.0, 25.0, 1.0),
        (True, 230.0, 228.0, None),
        (True, 230.0, 236.0, 0.0),
        (True, None, 100.0, None),
        (True, 230.0, None, None),
    ],
)
def test_what_a_thermostat_sends_is_known_only_away_from_its_set_point(heater, setpoint_c, now_c, command):
    assert command_of(heater, setpoint_c, now_c) == command
