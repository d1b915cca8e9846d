"""A meter's readings are those of the current, but for what that meter gets wrong."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wakerail_sim.held_out.devices import DEVICES
from wakerail_sim.held_out.devices.device import Device
from wakerail_sim.held_out.meter import METERS, Meter
from wakerail_sim.held_out.readings import Readings, read
from wakerail_sim.noise import Floats

RATE_HZ, OVERSAMPLING, SAMPLES = 50.0, 20, 4000
SEEDS = range(12)
EXACT = Meter(
    "monitor",
    rates_hz=(RATE_HZ,),
    averages=True,
    noise_part=0.0,
    noise_a=0.0,
    resolution=1e-6,
    offset_a=0.0,
    drift_a=0.0,
)
RAMP_A = np.linspace(0.0, 2.0, SAMPLES * OVERSAMPLING)
EVEN_A = np.full(SAMPLES * OVERSAMPLING, 0.2)


def readings_of(meter: Meter, drawn_a: Floats = RAMP_A, seed: int = 1) -> Readings:
    return read(np.random.default_rng(seed), meter, RATE_HZ, drawn_a, OVERSAMPLING, boot_s=10.0)


@pytest.mark.parametrize("averages", [True, False])
def test_an_exact_meter_reads_the_current_at_its_times_but_for_its_gain(averages: bool) -> None:
    readings = readings_of(replace(EXACT, averages=averages))
    assert len(readings.t_s) == SAMPLES
    true_a = np.interp(readings.t_s, np.arange(len(RAMP_A)) / (RATE_HZ * OVERSAMPLING), RAMP_A)
    if not averages:
        true_a += 2.0 / SAMPLES / 2  # a point is in the middle of its sample
    gain = readings.current_a[-1] / true_a[-1]
    assert gain == pytest.approx(1, abs=0.02)
    np.testing.assert_allclose(readings.current_a, gain * true_a, atol=3e-5)
    assert readings.held_samples == 1


def test_noise_hum_and_resolution_are_as_large_as_the_error_that_it_tells() -> None:
    noisy = readings_of(replace(EXACT, noise_a=0.003), EVEN_A)
    assert noisy.error_a == 0.003
    assert noisy.current_a.std() == pytest.approx(0.003, rel=0.1)
    humming = [readings_of(replace(EXACT, noise_a=0.001, hums=True), EVEN_A, seed) for seed in SEEDS]
    assert {humming_one.error_a > 0.001 for humming_one in humming} == {True, False}
    coarse = readings_of(replace(EXACT, resolution=0.01))
    assert coarse.error_a == 0.005
    np.testing.assert_allclose(coarse.current_a, np.round(coarse.current_a / 0.01) * 0.01)


def test_small_currents_are_blanked() -> None:
    blanked_a = readings_of(replace(EXACT, blanks_below_a=0.1)).current_a
    assert np.all((blanked_a == 0) | (blanked_a >= 0.1))
    assert 0 < np.mean(blanked_a == 0) < 0.1


def test_a_coarse_meter_may_give_each_reading_several_times() -> None:
    made = [readings_of(replace(EXACT, coarse=True), seed=seed) for seed in SEEDS]
    assert len({readings.held_samples for readings in made}) > 1
    for readings in made:
        places = np.arange(SAMPLES) // readings.held_samples * readings.held_samples
        np.testing.assert_array_equal(readings.current_a, readings.current_a[places])


def test_a_meter_that_jitters_or_loses_samples_still_gives_them_in_order() -> None:
    made = [readings_of(replace(EXACT, jitters=True, loses=True), seed=seed) for seed in SEEDS]
    assert any(len(readings.t_s) < SAMPLES for readings in made)
    assert any(np.ptp(np.diff(readings.t_s[:20])) > 1e-3 for readings in made)
    assert all(np.diff(readings.t_s).min() > 0 for readings in made)


def test_while_it_switches_ranges_it_gives_nothing_or_what_it_gave_last() -> None:
    steps_a = np.repeat([0.005, 0.05, 0.5, 0.005], SAMPLES * OVERSAMPLING // 4)
    switching = replace(EXACT, resolution=None, ranges_a=(0.01, 0.1, 1.0, 10.0))
    made = [readings_of(switching, steps_a, seed) for seed in SEEDS]
    dropping = [readings for readings in made if len(readings.t_s) < SAMPLES]
    assert 0 < len(dropping) < len(made)
    assert [readings.error_a for readings in made] == pytest.approx([5e-6] * len(made))
    holding = [readings for readings in made if len(readings.t_s) == SAMPLES]
    for readings in holding:
        just_before_a, just_after_a = readings.current_a[SAMPLES // 2 - 1 : SAMPLES // 2 + 1]
        assert just_after_a == pytest.approx(just_before_a, abs=1e-5)
        assert just_before_a == pytest.approx(0.05, rel=0.02)
        assert readings.current_a[SAMPLES // 2 + 10] == pytest.approx(0.5, rel=0.02)


@pytest.mark.parametrize("device", DEVICES, ids=lambda device: device.family)
def test_each_device_can_be_seen_by_some_meter_at_rates_that_it_has(device: Device) -> None:
    usable = {meter.name: meter.usable_hz(device) for meter in METERS}
    assert any(usable.values())
    for meter in METERS:
        assert set(usable[meter.name]) <= set(meter.rates_hz)
        assert all(rate_hz * device.boot_s >= 40 for rate_hz in usable[meter.name])
