"""Every kind gives a recording that shows what its truth says."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from typing import get_args

import numpy as np
import pytest

from wakerail_sim.held_out import (
    FAULTY_KINDS,
    HEALTHY_KINDS,
    KINDS,
    FaultyKind,
    HealthyKind,
    HeldOut,
    Kind,
    make_held_out,
)
from wakerail_sim.held_out.devices.device import Family

SEEDS = (0, 1)
ON_PURPOSE: Kind = "update-reboot"


@cache
def recording(kind: Kind, seed: int) -> HeldOut:
    return make_held_out(seed, kind)


def between_a(made: HeldOut, from_s: float, to_s: float) -> float:
    start, end = np.searchsorted(made.t_s, [from_s, to_s])
    return float(np.median(made.current_a[start:end]))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", SEEDS)
def test_times_ascend_and_currents_are_real(kind: Kind, seed: int) -> None:
    made = recording(kind, seed)
    assert made.kind == kind
    assert made.device in get_args(Family)
    assert made.t_s.shape == made.current_a.shape
    assert np.all(np.isfinite(made.current_a))
    assert made.sample_s == made.held_samples / made.rate_hz
    spacing_s = np.diff(made.t_s)
    assert spacing_s.min() > 0
    assert np.median(spacing_s) == pytest.approx(1 / made.rate_hz, rel=0.02)
    assert 19 < made.t_s[-1] < 600
    assert np.ptp(made.current_a) > 0


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", SEEDS)
def test_truth_is_in_order_and_within_the_recording(kind: Kind, seed: int) -> None:
    made = recording(kind, seed)
    truth, last_s = made.truth, made.t_s[-1]
    assert (truth.confusers, truth.marks) == ((), ())
    assert len(made.seen) == len(truth.restarts)
    assert made.telling == (False not in made.seen)
    onset_s = () if truth.onset_s is None else (truth.onset_s,)
    times_s = [0.0, *onset_s, *(at_s for restart in truth.restarts for at_s in restart), last_s]
    assert all(before_s <= after_s for before_s, after_s in pairwise(times_s))
    begins_s = [*onset_s, *(again_s for _, again_s in truth.restarts)]
    assert all(before_s < after_s for before_s, after_s in pairwise([*begins_s, last_s]))


@pytest.mark.parametrize("kind", FAULTY_KINDS)
@pytest.mark.parametrize("seed", SEEDS)
def test_faulty_devices_restart(kind: FaultyKind, seed: int) -> None:
    assert recording(kind, seed).truth.restarts


@pytest.mark.parametrize("kind", HEALTHY_KINDS)
@pytest.mark.parametrize("seed", SEEDS)
def test_healthy_devices_restart_only_on_purpose(kind: HealthyKind, seed: int) -> None:
    assert len(recording(kind, seed).truth.restarts) == (kind == ON_PURPOSE)


def test_nearly_all_restarts_can_be_seen() -> None:
    seen = [shown for kind in KINDS for seed in SEEDS for shown in recording(kind, seed).seen]
    assert len(seen) > 100
    assert 0.9 < np.mean(seen) <= 1


@pytest.mark.parametrize("kind", ["boot-idle", "boot-use", "heavy-app", "brownout-load", "crash-random", "late-single"])
def test_the_current_rises_at_an_onset(kind: Kind) -> None:
    made = recording(kind, 0)
    onset_s, blind_s = made.truth.onset_s, 2 / made.rate_hz
    assert onset_s is not None
    before_a = between_a(made, 0, onset_s - blind_s)
    assert before_a < 0.15 * between_a(made, onset_s + blind_s, onset_s + max(3.0, 12 / made.rate_hz))


def test_hardly_any_current_flows_in_a_gap_that_is_long_enough_to_be_seen() -> None:
    gaps = 0
    for made in (
        recording(kind, seed) for kind in ("thermal", "button-line", "pmic", "intermittent") for seed in SEEDS
    ):
        for ended_s, again_s in made.truth.restarts:
            if again_s - ended_s < max(0.3, 8 * made.sample_s):
                continue
            gaps += 1
            gap_a = between_a(made, 0.5 * (ended_s + again_s), again_s - 1.5 * made.sample_s)
            assert gap_a < 0.1 * between_a(made, again_s + made.sample_s, again_s + 3.0), (made.kind, made.device)
    assert gaps > 8


@pytest.mark.parametrize("seed", SEEDS)
def test_a_glitch_of_the_reset_line_is_no_gap(seed: int) -> None:
    assert all(ended_s == again_s for ended_s, again_s in recording("reset-glitch", seed).truth.restarts)


@pytest.mark.parametrize("kind", ["mid-running", "mid-asleep", "midstart", "never-boots"])
def test_what_is_on_before_or_never_has_no_onset(kind: Kind) -> None:
    assert recording(kind, 0).truth.onset_s is None


@pytest.mark.parametrize("kind", [None, "crash-random", "weak-holds"])
def test_the_same_seed_gives_the_same_bytes_and_another_does_not(kind: Kind | None) -> None:
    one, same, other = (make_held_out(seed, kind) for seed in (3, 3, 4))
    assert one.t_s.tobytes() == same.t_s.tobytes()
    assert one.current_a.tobytes() == same.current_a.tobytes()
    assert (one.kind, one.device, one.truth, one.seen) == (same.kind, same.device, same.truth, same.seen)
    assert one.current_a.tobytes() != other.current_a.tobytes()


def test_devices_and_kinds_of_all_sorts_come_about() -> None:
    assert {recording(kind, seed).device for kind in KINDS for seed in SEEDS} == set(get_args(Family))
    assert len(set(KINDS)) == len(FAULTY_KINDS) + len(HEALTHY_KINDS) == 36
    assert len({make_held_out(seed).kind for seed in range(24)}) > 12


def test_a_seed_means_what_it_always_has() -> None:
    """What is reported on this corpus can only be compared as long as it stays the same."""
    wet, crashing = make_held_out(12), make_held_out(13, "crash-random")
    assert (wet.kind, wet.device, wet.rate_hz, len(wet.t_s)) == ("water", "hand-game", 5.0, 686)
    assert wet.current_a.mean() == pytest.approx(1.1283586006, rel=1e-6)
    assert wet.seen == (True, True, False)
    assert (crashing.device, crashing.rate_hz, len(crashing.t_s)) == ("page-reader", 250.0, 45680)
    assert crashing.current_a.mean() == pytest.approx(0.1092946415, rel=1e-6)
    assert crashing.truth.onset_s == pytest.approx(5.6925336, abs=1e-6)
    ended_s = [ended_s for ended_s, again_s in crashing.truth.restarts if ended_s == again_s]
    assert ended_s == pytest.approx([66.9064126, 118.3820515], abs=1e-6)
