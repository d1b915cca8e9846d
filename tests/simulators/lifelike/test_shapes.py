"""The shapes have the heights, times and spectra that they say."""

from __future__ import annotations

import numpy as np
import pytest

from wakerail_sim.lifelike.shapes import Form, add_bump, box_events, low_pass, pink, telegraph

RATE_HZ = 1000.0


def chance() -> np.random.Generator:
    return np.random.default_rng(5)


def test_rectangles_add_up_and_end_with_the_samples() -> None:
    drawn = box_events(10, 10.0, [0.1, 0.3, 0.8], [0.4, 0.1, 9.0], [1.0, 2.0, 5.0])
    np.testing.assert_array_equal(drawn, [0, 1, 1, 3, 1, 0, 0, 0, 5, 5])


def test_the_shortest_rectangle_is_one_sample_and_none_is_nothing() -> None:
    assert box_events(5, 10.0, [0.2], [1e-6], [1.0]).tolist() == [0, 0, 1, 0, 0]
    assert box_events(5, 10.0, [], [], []).tolist() == [0] * 5


@pytest.mark.parametrize("tail", [0.0, 1.1])
def test_a_telegraph_is_on_for_its_share_and_for_its_time(tail: float) -> None:
    drawn = telegraph(chance(), 400_000, RATE_HZ, 0.1, 0.3, tail)
    assert len(drawn) == 400_000
    assert set(np.unique(drawn)) == {0.0, 1.0}
    assert drawn.mean() == pytest.approx(0.25, abs=0.04)
    switched_on = np.sum(np.diff(drawn) > 0)
    assert drawn.sum() / RATE_HZ / switched_on == pytest.approx(0.1, rel=0.2)


def test_pink_noise_has_unit_variance_and_less_power_the_higher_the_frequency() -> None:
    noise = pink(chance(), 400_000, RATE_HZ)
    assert noise.std() == pytest.approx(1.0, rel=0.25)
    power = np.abs(np.fft.rfft(noise)) ** 2
    hz = np.fft.rfftfreq(len(noise), 1 / RATE_HZ)
    low, high = (power[(hz >= from_hz) & (hz < to_hz)].mean() for from_hz, to_hz in ((0.2, 0.4), (6.4, 12.8)))
    assert 8 < low / high < 128, "32 if it goes as 1/f"


@pytest.mark.parametrize("tau_samples", [4.0, 300.0])
def test_a_low_pass_has_done_63_percent_of_a_step_after_its_time_constant(tau_samples: float) -> None:
    step = np.concatenate([np.full(100, 2.0), np.full(4000, 3.0)])
    smoothed = low_pass(step, tau_samples)
    np.testing.assert_allclose(smoothed[:100], 2.0, atol=1e-9)
    assert smoothed[100 + int(tau_samples)] == pytest.approx(2.0 + 1 - np.exp(-1), abs=0.09)
    assert smoothed[-1] == pytest.approx(3.0, abs=1e-3)


def test_a_low_pass_faster_than_the_samples_changes_nothing() -> None:
    step = np.array([0.0, 1.0, 0.0])
    np.testing.assert_array_equal(low_pass(step, 0.1), step)


@pytest.mark.parametrize(
    ("form", "area"), [("box", 1.0), ("triangle", 0.5), ("saw", 0.5), ("hump", 0.69), ("decay", 0.99)]
)
def test_a_bump_has_its_height_and_its_forms_area(form: Form, area: float) -> None:
    current_a = np.full(1000, 0.1)
    add_bump(current_a, RATE_HZ, form, 0.2, 0.1, 3.0)
    bump_a = current_a - 0.1
    assert bump_a.max() == pytest.approx(3.0, rel=0.02)
    assert bump_a.sum() / (3.0 * 0.1 * RATE_HZ) == pytest.approx(area, abs=0.02)
    assert np.all(bump_a[:200] == 0)


def test_a_bump_outside_is_not_drawn_and_one_at_the_border_is_cut() -> None:
    current_a = np.zeros(100)
    add_bump(current_a, RATE_HZ, "box", 0.2, 0.1, 1.0)
    assert not current_a.any()
    add_bump(current_a, RATE_HZ, "box", -0.05, 0.06, 1.0)
    assert current_a.tolist() == [1.0] * 10 + [0.0] * 90
