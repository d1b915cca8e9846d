"""Every scene gives a recording that shows what its truth says."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from typing import get_args

import numpy as np
import pytest

from wakerail_sim.lifelike import (
    FAULTY_SCENES,
    HEALTHY_SCENES,
    RATES_HZ,
    SCENES,
    Family,
    FaultyScene,
    HealthyScene,
    Lifelike,
    Scene,
    make_lifelike,
)

SEEDS = (0, 1)
MOSTLY_BLIND = {"deep-sleep-wakes", "periodic-radio"}  # for which the recording may not tell


@cache
def recording(scene: Scene, seed: int) -> Lifelike:
    return make_lifelike(seed, scene)


def mean_a(made: Lifelike, from_s: float, to_s: float) -> float:
    start, end = np.searchsorted(made.t_s, [from_s, to_s])
    return float(made.current_a[start:end].mean())


@pytest.mark.parametrize("scene", SCENES)
@pytest.mark.parametrize("seed", SEEDS)
def test_times_ascend_evenly_and_currents_are_real(scene: Scene, seed: int) -> None:
    made = recording(scene, seed)
    assert made.scene == scene
    assert made.device in get_args(Family)
    assert made.t_s.shape == made.current_a.shape
    assert np.all(np.isfinite(made.current_a))
    assert made.rate_hz in RATES_HZ
    assert made.sample_s == made.held_samples / made.rate_hz
    spacing_s = np.diff(made.t_s)
    assert spacing_s.min() > 0
    assert np.median(spacing_s) == pytest.approx(1 / made.rate_hz, rel=0.02)
    assert 0 <= made.t_s[0] < 1.5 / made.rate_hz
    assert np.ptp(made.current_a) > 0


@pytest.mark.parametrize("scene", SCENES)
@pytest.mark.parametrize("seed", SEEDS)
def test_truth_is_in_order_and_within_the_recording(scene: Scene, seed: int) -> None:
    made = recording(scene, seed)
    truth, last_s = made.truth, made.t_s[-1]
    assert (truth.confusers, truth.marks) == ((), ())
    onset_s = () if truth.onset_s is None else (truth.onset_s,)
    times_s = [0.0, *onset_s, *(at_s for restart in truth.restarts for at_s in restart), last_s]
    assert all(before_s <= after_s for before_s, after_s in pairwise(times_s))
    begins_s = [*onset_s, *(again_s for _, again_s in truth.restarts)]
    assert all(before_s < after_s for before_s, after_s in pairwise([*begins_s, last_s]))


@pytest.mark.parametrize("scene", FAULTY_SCENES)
@pytest.mark.parametrize("seed", SEEDS)
def test_faulty_devices_restart(scene: FaultyScene, seed: int) -> None:
    assert recording(scene, seed).truth.restarts


@pytest.mark.parametrize("scene", HEALTHY_SCENES)
@pytest.mark.parametrize("seed", SEEDS)
def test_healthy_devices_do_not_and_nearly_all_their_recordings_tell(scene: HealthyScene, seed: int) -> None:
    made = recording(scene, seed)
    assert made.truth.restarts == ()
    assert made.telling or (scene in MOSTLY_BLIND and made.truth.onset_s is None)


@pytest.mark.parametrize("seed", SEEDS)
def test_an_onset_stands_where_the_current_begins(seed: int) -> None:
    known = [made for scene in SCENES if (made := recording(scene, seed)).truth.onset_s is not None]
    assert len(known) > len(SCENES) / 2
    for made in known:
        assert made.truth.onset_s is not None
        blind_s = 2 / made.rate_hz
        before_a = mean_a(made, made.truth.onset_s - 1.0, made.truth.onset_s - blind_s)
        after_a = mean_a(made, made.truth.onset_s + blind_s, made.truth.onset_s + max(1.0, 12 / made.rate_hz))
        assert before_a < 0.15 * after_a, (made.scene, made.device)


def test_hardly_any_current_flows_in_a_cold_gap_that_is_long_enough_to_be_seen() -> None:
    seen = 0
    for made in (recording(scene, seed) for scene in ("cold-once", "cold-long-gap") for seed in range(6)):
        for ended_s, again_s in made.truth.restarts:
            if not made.telling or again_s - ended_s < max(0.3, 8 * made.sample_s):
                continue
            seen += 1
            gap_a = mean_a(made, 0.5 * (ended_s + again_s), again_s - 1.5 * made.sample_s)
            assert gap_a < 0.1 * mean_a(made, ended_s - 1.0, ended_s - made.sample_s)
            assert gap_a < 0.1 * mean_a(made, again_s + made.sample_s, again_s + 1.0)
    assert seen > 8


@pytest.mark.parametrize("seed", range(4))
def test_a_warm_restart_is_no_gap(seed: int) -> None:
    made = recording("warm-no-fall", seed)
    assert all(ended_s == again_s for ended_s, again_s in made.truth.restarts)


@pytest.mark.parametrize("scene", [None, "loop-fixed", "meter-trouble"])
def test_the_same_seed_gives_the_same_bytes_and_another_does_not(scene: Scene | None) -> None:
    one, same, other = (make_lifelike(seed, scene) for seed in (3, 3, 4))
    assert one.t_s.tobytes() == same.t_s.tobytes()
    assert one.current_a.tobytes() == same.current_a.tobytes()
    assert (one.scene, one.truth, one.telling) == (same.scene, same.truth, same.telling)
    assert one.current_a.tobytes() != other.current_a.tobytes()


def test_scenes_devices_and_rates_of_every_kind_come_about() -> None:
    made = [recording(scene, seed) for scene in SCENES for seed in SEEDS]
    assert {one.device for one in made} == set(get_args(Family))
    assert {one.rate_hz for one in made} == set(RATES_HZ)
    assert len(set(SCENES)) == len(FAULTY_SCENES) + len(HEALTHY_SCENES)
    assert len({make_lifelike(seed).scene for seed in range(40)}) > 20


def test_a_seed_means_what_it_always_has() -> None:
    """Results on this corpus can only be compared as long as it stays the same."""
    switched_off, panicking = make_lifelike(12), make_lifelike(13, "panic-reboot")
    assert (switched_off.scene, switched_off.device, len(switched_off.t_s)) == ("power-off-end", "cell-modem", 9353)
    assert switched_off.current_a.mean() == pytest.approx(0.028938353, rel=1e-6)
    assert (panicking.scene, panicking.device, len(panicking.t_s)) == ("panic-reboot", "cell-modem", 53470)
    assert panicking.truth.restarts == (pytest.approx((18.486, 23.506), abs=0.001),)
    assert panicking.current_a.mean() == pytest.approx(0.186594522, rel=1e-6)
