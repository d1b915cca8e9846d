"""A stage is at its level and shows its features."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wakerail_sim.lifelike.features import (
    Bump,
    Bursts,
    Cores,
    Decay,
    Frames,
    Periodic,
    Pink,
    Profile,
    Pwm,
    Rise,
    Sawtooth,
    SpinUp,
    Telegraph,
    Wobble,
    draw_bumps,
    draw_knots,
)
from wakerail_sim.lifelike.stage import Stage, draw_stage
from wakerail_sim.noise import Floats

RATE_HZ, SAMPLES = 1000.0, 20_000
FLAT = Stage("flat", level_a=0.2)


def drawn(stage: Stage, *, before_a: float | None = None, spread: float = 0.0, seed: int = 3, **more: int) -> Floats:
    return draw_stage(
        np.random.default_rng(seed), stage, SAMPLES, RATE_HZ, before_a=before_a, level_spread=spread, **more
    )


def test_a_stage_settles_at_its_level() -> None:
    current_a = drawn(replace(FLAT, settle_s=0.1), before_a=1.2)
    assert current_a[0] == 1.2
    assert current_a[100] == pytest.approx(0.2 + np.exp(-1))
    assert current_a[-1] == pytest.approx(0.2)


def test_the_first_stage_of_a_recording_has_nothing_to_settle_from() -> None:
    assert set(drawn(FLAT)) == {0.2}


def test_levels_spread_from_one_time_to_the_next() -> None:
    levels_a = [drawn(FLAT, spread=0.05, seed=seed)[-1] for seed in range(200)]
    assert np.std(levels_a) == pytest.approx(0.05 * 0.2, rel=0.25)


def test_a_slope_and_a_rise_go_by_how_much_of_the_whole_stage_is_done() -> None:
    sloping = replace(FLAT, slope=0.5)
    assert drawn(sloping)[-1] == pytest.approx(0.3, abs=1e-4)
    assert drawn(sloping, whole_samples=2 * SAMPLES)[-1] == pytest.approx(0.25, abs=1e-4)
    rising_a = drawn(replace(FLAT, rise=Rise(height_a=0.4, begin=0.25, end=0.75)))
    assert rising_a[[0, SAMPLES // 4, SAMPLES // 2, 3 * SAMPLES // 4, -1]] == pytest.approx([0.2, 0.2, 0.4, 0.6, 0.6])


def test_a_decay_dies_away() -> None:
    current_a = drawn(replace(FLAT, decay=Decay(height_a=1.0, tau_s=1.0)))
    assert current_a[[0, 1000, -1]] == pytest.approx([1.2, 0.2 + np.exp(-1), 0.2], abs=1e-6)


def test_a_motor_draws_most_at_its_start() -> None:
    current_a = drawn(replace(FLAT, spin_up=SpinUp(height_a=0.8, tau_s=1.0)))
    assert 0.9 < current_a.max() < 1.05
    assert current_a.argmax() < 200
    assert current_a[-1] == pytest.approx(0.2, abs=1e-6)


def test_a_profile_goes_through_its_knots_or_stays_at_each() -> None:
    steps_a = drawn(replace(FLAT, profile=Profile("stepped", knots=(0, 1, 2, 3), height_a=0.1)))
    assert sorted({round(float(current_a), 6) for current_a in steps_a}) == [0.2, 0.3, 0.4]
    line_a = drawn(replace(FLAT, profile=Profile("linear", knots=(0, 1, 2, 3), height_a=0.1)))
    assert np.all(np.diff(line_a) > 0)
    assert line_a[SAMPLES // 2] == pytest.approx(0.35, abs=0.01)


def test_bumps_are_at_their_places_each_time() -> None:
    bumped = replace(FLAT, bumps=(Bump("box", at=0.5, width_s=1.0, height_a=0.3),))
    for seed in range(5):
        raised = np.flatnonzero(drawn(bumped, seed=seed) > 0.4)
        assert raised[0] == pytest.approx(SAMPLES / 2, rel=0.02)
        assert len(raised) == pytest.approx(RATE_HZ, rel=0.1)


def test_bursts_come_at_their_rate() -> None:
    current_a = drawn(replace(FLAT, bursts=Bursts(rate_hz=2.0, width_s=(0.002, 0.004), height_a=(0.1, 0.3))))
    rises_a = np.diff(current_a)[np.diff(current_a) > 0]
    assert len(rises_a) == pytest.approx(40, abs=18)
    assert 0.1 - 1e-9 < rises_a.min() <= rises_a.max() < 0.3 + 1e-9


def test_a_periodic_burst_comes_evenly() -> None:
    current_a = drawn(replace(FLAT, periodic=(Periodic(period_s=0.5, width_s=0.01, height_a=0.1, jitter=0.001),)))
    rises = np.flatnonzero(np.diff(current_a) > 0.05)
    assert np.diff(rises) == pytest.approx(500, abs=4)


def test_frames_come_sixty_times_a_second() -> None:
    current_a = drawn(replace(FLAT, frames=Frames(height_a=0.1)))
    assert np.sum(np.diff(current_a) > 0.03) == pytest.approx(60 * SAMPLES / RATE_HZ, rel=0.02)


def test_a_dimmed_light_is_on_for_its_duty() -> None:
    current_a = drawn(replace(FLAT, pwm=Pwm(frequency_hz=7.0, duty=0.3, height_a=0.1)))
    assert np.mean(current_a > 0.25) == pytest.approx(0.3, abs=0.01)


@pytest.mark.parametrize(
    ("feature", "least_a", "most_a"),
    [
        ({"telegraph": Telegraph(on_s=0.1, off_s=0.1, height_a=0.1)}, 0.2, 0.3),
        ({"cores": Cores(count=2, height_a=0.1, on_s=0.1, off_s=0.1)}, 0.2, 0.392),
        ({"sawtooth": Sawtooth(period_s=0.3, height_a=0.1)}, 0.14, 0.26),
        ({"wobble": Wobble(period_s=0.5, height_a=0.1)}, 0.1, 0.3),
    ],
)
def test_what_is_drawn_at_random_stays_within_its_height(
    feature: dict[str, object], least_a: float, most_a: float
) -> None:
    current_a = drawn(replace(FLAT, **feature))  # type: ignore[arg-type]
    assert (current_a.min(), current_a.max()) == (pytest.approx(least_a, abs=1e-3), pytest.approx(most_a, abs=1e-3))


def test_a_pink_load_has_its_deviation() -> None:
    assert drawn(replace(FLAT, pink=Pink(deviation_a=0.01))).std() == pytest.approx(0.01, rel=0.4)


def test_knots_and_bumps_are_drawn_within_their_ranges() -> None:
    chance = np.random.default_rng(1)
    for smooth in (False, True):
        knots = draw_knots(chance, 300, smooth=smooth)
        assert len(knots) == 300
        assert -1.8 <= min(knots) < -1 < 1 < max(knots) <= 1.8
    bumps = draw_bumps(chance, 300, width_s=(0.01, 0.1), height_a=(0.2, 0.5))
    assert {bump.form for bump in bumps} == {"box", "decay", "hump", "triangle"}
    assert all(0.0 < bump.at < 1.0 and 0.01 <= bump.width_s <= 0.1 and 0.2 <= bump.height_a <= 0.5 for bump in bumps)
