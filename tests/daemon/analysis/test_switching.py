"""A meter that is blank when it switches its range, told from a device that collapses."""

import math

import pytest

from wakerail.analysis.levels import Levels
from wakerail.analysis.switching import Switching, blank_ticks
from wakerail.analysis.trail import Trail

SPACING_S = 0.05


class Bench:
    """Levels as a meter gives them, one for each tick; the places of its short lows are kept."""

    def __init__(self, standing_a: float | None = 0.0) -> None:
        self.trail, self.levels = Trail(), Levels(standing_a)
        self.switching = Switching(self.trail, self.levels, lambda: SPACING_S)
        self.lows: list[tuple[int, int]] = []

    def at(self, level_a: float, ticks: int = 12) -> "Bench":
        for _ in range(ticks):
            self.trail.add(SPACING_S * len(self.trail), level_a, math.inf)
            self.levels.take(level_a)
        return self

    def low(self, ticks: int = 2, level_a: float = 0.0) -> "Bench":
        begin = len(self.trail)
        self.at(level_a, ticks)
        self.lows.append((begin, begin + ticks))
        return self

    def evidence(self, index: int = -1, low_a: float = 0.0) -> float:
        return self.switching.evidence(*self.lows[index], low_a)


def test_lows_at_every_crossing_are_the_meters():
    bench = Bench()
    for _ in range(4):
        bench.at(0.05).low().at(0.4).low()
    assert bench.at(0.05, 20).evidence() < -3


def test_a_device_that_loops_comes_back_over_every_border_without_a_low():
    bench = Bench()
    for _ in range(4):
        bench.at(0.05).at(0.4).low()
    assert bench.at(0.05, 20).evidence() > 2


def test_a_border_between_two_steps_is_crossed_all_the_same():
    # from 0.34 A by way of 0.17 A, which is within a meter's hysteresis of a border at 0.2 A, to 0.05 A
    bench = Bench()
    for _ in range(4):
        bench.at(0.34).at(0.17).at(0.05).low()
    assert bench.at(0.34, 20).evidence() > 2


def test_one_level_all_the_time_has_no_border_to_cross():
    bench = Bench()
    for _ in range(5):
        bench.at(0.05).low()
    assert bench.at(0.05, 20).evidence() > 1


def test_more_lows_at_crossings_are_surer():
    said = []
    for times in (1, 2, 4):
        bench = Bench()
        for _ in range(times):
            bench.at(0.05).low().at(0.4).low()
        said.append(bench.at(0.05, 20).evidence())
    assert said == sorted(said, reverse=True)


@pytest.mark.parametrize(("low_a", "restart"), [(0.003, True), (0.0, False)])
def test_a_meter_is_blank_at_nothing_a_device_that_is_off_draws_what_it_draws_standing(low_a, restart):
    bench = Bench(standing_a=0.003).at(0.2).low(level_a=low_a).at(0.2, 20)
    assert (bench.evidence(low_a=low_a) > 2) is restart


@pytest.mark.parametrize(("spacing_s", "ticks"), [(0.2, 1), (0.1, 3), (0.02, 3), (0.0, 3)])
def test_a_meter_is_blank_for_no_longer_than_0_3_s_and_three_ticks(spacing_s, ticks):
    assert blank_ticks(spacing_s) == ticks


def test_many_lows_tell_a_small_standing_level_from_a_reading_of_zero():
    # 1 mA with a noise of 0.4 mA: one low alone could be either
    def lows(standing_a: float) -> Bench:
        bench = Bench(None)
        bench.levels.know_standing(0.001, 0.0004, surely=False)
        for number in range(12):
            bench.at(0.012, 6).low(2, standing_a + (0.0004 if number % 2 else -0.0004))
        return bench.at(0.012, 20)

    assert lows(0.001).evidence(low_a=0.0006) > 2
    assert lows(0.0).evidence(low_a=0.0004) < -2
