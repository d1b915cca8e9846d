"""A meter reads what flows, but for the errors that it has."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np
import pytest

from wakerail_sim.lifelike.devices import FAMILIES, draw_device
from wakerail_sim.lifelike.meter import Meter, draw_meter
from wakerail_sim.lifelike.readings import Readings, read
from wakerail_sim.noise import Floats

RATE_HZ, OVERSAMPLING, LENGTH_S = 100.0, 20, 40.0
PERFECT = Meter(rate_hz=RATE_HZ)
T_S = np.arange(int(LENGTH_S * RATE_HZ * OVERSAMPLING)) / (RATE_HZ * OVERSAMPLING)
SLOW_A = 0.5 + 0.3 * np.sin(2 * np.pi * 0.2 * T_S)


def readings(
    drawn_a: Floats = SLOW_A, *, seed: int = 1, never_lost_s: Collection[float] = (), **errors: object
) -> Readings:
    meter = replace(PERFECT, **errors)  # type: ignore[arg-type]
    return read(np.random.default_rng(seed), meter, drawn_a, OVERSAMPLING, never_lost_s)


def test_a_perfect_meter_gives_the_mean_of_each_sample() -> None:
    made = readings()
    np.testing.assert_allclose(made.t_s, np.arange(len(made.t_s)) / RATE_HZ)
    np.testing.assert_allclose(made.current_a, SLOW_A.reshape(-1, OVERSAMPLING).mean(axis=1))
    np.testing.assert_array_equal(made.current_a, made.true_a)


def test_a_point_sampler_misses_what_falls_between_and_an_averaging_meter_does_not() -> None:
    spiky_a = np.full(len(T_S), 0.1)
    spiky_a[OVERSAMPLING // 2 :: OVERSAMPLING] = 2.1
    assert readings(spiky_a, aperture=0.0).current_a == pytest.approx(0.1)
    assert readings(spiky_a, aperture=1.0).current_a == pytest.approx(0.2)


def test_a_samples_time_is_taken_within_its_aperture() -> None:
    early_s, late_s = (readings(aperture=0.5, stamped_at=part).t_s for part in (0.0, 1.0))
    np.testing.assert_allclose(late_s - early_s, 0.5 / RATE_HZ)


def test_gain_and_offset_are_the_meters() -> None:
    np.testing.assert_allclose(readings(gain=1.02, offset_a=0.003).current_a, 1.02 * readings().true_a + 0.003)


def test_noise_has_its_deviation_and_readings_their_resolution() -> None:
    noisy = readings(noise_a=0.01)
    assert (noisy.current_a - noisy.true_a).std() == pytest.approx(0.01, rel=0.1)
    steps = readings(noise_a=0.01, quantum_a=0.05).current_a / 0.05
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)


def test_hum_is_at_the_mains_frequency_and_averaged_away() -> None:
    point, mean = (readings(np.full(len(T_S), 0.5), hum_a=0.1, hum_hz=30.0, aperture=part) for part in (0.0, 1.0))
    strength = np.abs(np.fft.rfft(point.current_a - 0.5))
    assert np.fft.rfftfreq(len(point.t_s), 1 / RATE_HZ)[strength.argmax()] == pytest.approx(30.0, abs=0.05)
    assert np.ptp(mean.current_a) == pytest.approx(np.sinc(0.3) * np.ptp(point.current_a), rel=0.02)


def test_a_held_reading_comes_again_instead_of_new_ones() -> None:
    held_a = readings(held_samples=5, noise_a=0.01).current_a.reshape(-1, 5)
    assert np.all(np.ptp(held_a, axis=1) == 0)
    assert np.all(np.diff(held_a[:, 0]) != 0)


def test_a_filter_smooths() -> None:
    step_a = np.where(T_S < 20, 0.0, 1.0)
    assert np.abs(np.diff(readings(step_a).current_a)).max() == pytest.approx(1.0)
    assert np.abs(np.diff(readings(step_a, smoothing_samples=3.0).current_a)).max() < 0.4


def test_drift_is_slow() -> None:
    drifted_a = readings(np.full(len(T_S), 0.5), drift_a=0.1).current_a
    assert np.ptp(drifted_a) > 0.05
    assert np.abs(np.diff(drifted_a)).max() < 0.001


def test_jittered_times_ascend_whether_the_meter_tells_or_not() -> None:
    spreads_s = []
    for seed in range(10):
        spacing_s = np.diff(readings(jitter=0.2, seed=seed).t_s)
        assert spacing_s.min() > 0
        spreads_s.append(float(spacing_s.std()))
    assert min(spreads_s) < 1e-9
    assert max(spreads_s) > 0.1 / RATE_HZ


def test_gaps_lose_samples_but_none_near_the_times_that_count() -> None:
    lost = 0
    for seed in range(20):
        made = readings(gaps=4, seed=seed, never_lost_s=(10.0, 20.0))
        lost += int(LENGTH_S * RATE_HZ) - len(made.t_s)
        for at_s in (10.0, 20.0):
            assert np.sum(np.abs(made.t_s - at_s) < 0.9) >= 1.8 * RATE_HZ - 1
    assert lost > 20 * RATE_HZ / 10


def test_a_meter_that_switches_ranges_is_wrong_for_a_moment_after_a_crossing() -> None:
    square_a = np.where(T_S % 10 < 5, 0.0, 1.0)
    habits = set()
    for seed in range(12):
        made = readings(square_a, switches_ranges=True, offset_a=0.01, seed=seed)
        wrong = np.flatnonzero(np.abs(made.current_a - made.true_a - 0.01) > 1e-9)
        since_s = made.t_s[wrong] % 5
        assert np.all(since_s < 0.05)
        rise = int(5 * RATE_HZ)
        shown_a = float(made.current_a[rise])
        habits.add("spike" if shown_a > 1.2 else "not yet" if shown_a < 0.5 else "none")
    assert habits == {"spike", "not yet"}


def test_glitches_are_rare_and_far_off() -> None:
    made = readings(glitches_hz=0.3)
    wrong_a = np.abs(made.current_a - made.true_a)
    assert 4 <= np.sum(wrong_a > 0.01) <= 25


def test_a_clipping_meter_cuts_what_is_far_above_the_rest() -> None:
    spiky_a = SLOW_A.copy()
    spiky_a[: 2 * OVERSAMPLING] = 9.0
    assert readings(spiky_a).current_a.max() == pytest.approx(9.0)
    assert readings(spiky_a, clips=True).current_a.max() == pytest.approx(0.8 * 1.15, rel=0.01)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_drawn_meter_lets_the_boot_be_seen(family: str) -> None:
    for seed in range(30):
        chance = np.random.default_rng(seed)
        device = draw_device(chance, family)  # type: ignore[arg-type]
        rate_hz = 25 / device.boot_s
        meter = draw_meter(chance, device, rate_hz, averaging=True, troubled=False, timely=False)
        assert meter.aperture >= 0.3
        assert meter.quantum_a <= 0.25 * device.contrast_a
        assert meter.held_samples == 1 or device.boot_s * rate_hz / meter.held_samples >= 15
        assert draw_meter(chance, device, 1000.0, averaging=False, troubled=True, timely=True).held_samples == 1
