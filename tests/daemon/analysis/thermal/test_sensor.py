"""The check of a temperature sensor: what it cuts, what it sets aside, and what it lets stand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.analysis.thermal.sensor import DoubtSort, SensorWatch, believed_of, doubts_of

PERIOD_S = 0.05


def noisy(count: int, noise_k: float = 0.05, rate_k_per_s: float = 1.0, seed: int = 3) -> list[float]:
    """A ramp with noise, in steps of 0.1 K."""
    noise = np.random.default_rng(seed).normal(0, noise_k, count)
    return [round(60.0 + rate_k_per_s * PERIOD_S * index + noise[index], 1) for index in range(count)]


def times(count: int) -> list[float]:
    return [PERIOD_S * index for index in range(count)]


def cuts_of(values: list[float | None], **kwargs) -> list[tuple[DoubtSort, float]]:
    doubts = doubts_of(times(len(values)), values, **kwargs)
    return [(doubt.sort, round(doubt.at_s / PERIOD_S)) for doubt in doubts if doubt.cuts]


@given(noise_k=st.floats(0.0, 3.0), rate_k_per_s=st.floats(-4.0, 3.0), seed=st.integers(0, 1000))
@settings(max_examples=25, deadline=None)
def test_a_plate_that_moves_as_plates_do_is_believed_whatever_its_noise(noise_k, rate_k_per_s, seed) -> None:
    noise = np.random.default_rng(seed).normal(0, noise_k, 400)
    values = [round(150.0 + rate_k_per_s * PERIOD_S * index + noise[index], 2) for index in range(400)]
    assert cuts_of(values) == []


@pytest.mark.parametrize("value_c", [0.0, 32.0, 64.0, 128.0, 1023.75, 4096.0, -200.0, 120.3])
def test_one_false_reading_cuts_in_the_same_reading(value_c: float) -> None:
    values = noisy(300)
    values[200] = value_c
    assert [at for _, at in cuts_of(values)] == [200]
    assert believed_of(times(300), values).index(False) == 200


def test_a_lone_small_spike_is_set_aside_and_cuts_nothing() -> None:
    values = noisy(300)
    values[200] += 5.3
    (doubt,) = doubts_of(times(300), values)
    assert (doubt.sort, doubt.cuts, round(doubt.at_s / PERIOD_S)) == (DoubtSort.FALSE, False, 200)


def test_three_of_them_within_ten_seconds_are_a_bad_contact() -> None:
    values = noisy(300)
    for at in (150, 200, 250):
        values[at] -= 4.7
    assert cuts_of(values) == [(DoubtSort.FALSE, 250)]


def test_a_sensor_that_is_lifted_off_falls_faster_than_any_plate() -> None:
    fall = [round(90.0 * math.exp(-PERIOD_S * index / 2.0) - 90.0, 1) for index in range(100)]
    values = noisy(200) + [70.0 + fallen for fallen in fall]
    sort, at = cuts_of(values)[0]
    assert sort is DoubtSort.JUMP
    assert 200 < at <= 220


def test_a_rail_is_never_believed_however_long_it_stands() -> None:
    watch = SensorWatch()
    for index in range(1000):
        assert watch.add(PERIOD_S * index, 0.0, heating=False)
        assert watch.believed_c is None
    for index in range(1000, 2000):
        watch.add(PERIOD_S * index, 512.0, heating=False)
        assert watch.believed_c is None


def test_a_reading_that_stands_still_while_others_never_did_cuts() -> None:
    values = noisy(1200, rate_k_per_s=0.2)
    stuck = values + [values[-1]] * 600
    sort, at = cuts_of(stuck)[0]
    assert sort is DoubtSort.STUCK
    assert (at - 1200) * PERIOD_S < 15.0


def test_a_sensor_without_noise_may_stand_still_at_its_hold() -> None:
    values = [round(60.0 + min(index, 800) * PERIOD_S, 1) for index in range(3000)]
    assert cuts_of(values) == []


def test_a_sensor_whose_noise_is_below_its_steps_may_stand_still() -> None:
    """Between two steps it flickers, in the middle of one it does not."""
    noise = np.random.default_rng(4).normal(0, 0.2, 4000)
    true = [25.5 if index < 600 else 200.0 for index in range(4000)]
    ramp = [25.5 + 0.1 * index for index in range(1745)]
    whole = [round(at_c + noise[index]) for index, at_c in enumerate(true[:600] + ramp + true[600:2255])]
    assert cuts_of([float(value) for value in whole]) == []


def test_a_sensor_that_stood_still_before_heat_cuts_when_it_is_heated() -> None:
    values = noisy(600, rate_k_per_s=0.0)
    values += [values[-1]] * 600
    (first, *_) = cuts_of(values, heating=[index >= 1000 for index in range(1200)])
    assert first == (DoubtSort.STUCK, 1000)


def test_a_sensor_that_is_not_heated_may_stand_still() -> None:
    values = noisy(400, rate_k_per_s=0.0)
    values += [values[-1]] * 2000
    assert cuts_of(values, heating=[False] * len(values)) == []


def test_nothing_is_believed_before_a_few_readings_agree() -> None:
    watch = SensorWatch()
    for index, value in enumerate(noisy(40)):
        watch.add(PERIOD_S * index, value, heating=False)
        assert watch.settled == (PERIOD_S * index >= 0.5 - 1e-9)
