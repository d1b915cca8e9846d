"""Motley recordings are the same for the same seed, and show what their truth says."""

from __future__ import annotations

import hashlib
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from wakerail_sim.motley import FAULTY_KINDS, HEALTHY_KINDS, KINDS, Kind, Motley, make_motley

SEEDS = range(6)
PINNED = {
    ("used and reset", 3): "f95722069b04f12dcd0f994985409f4d8c97487f59e95b68d2233c1eaeec101a",
    ("dark screen", 8): "115c016bc240232ae83dff388d9099fc891b90c009d48156d8ba4e9db761e5bd",
}


@cache
def recording(kind: Kind, seed: int) -> Motley:
    return make_motley(seed, kind)


def digest(made: Motley) -> str:
    whole = np.round(np.concatenate((made.t_s, made.current_a)) / 1e-9).astype(np.int64)
    return hashlib.sha256(whole.tobytes()).hexdigest()


def test_a_kind_is_either_faulty_or_healthy() -> None:
    assert set(KINDS) == set(FAULTY_KINDS) | set(HEALTHY_KINDS)
    assert len(KINDS) == len(FAULTY_KINDS) + len(HEALTHY_KINDS)
    assert 0.5 < len(FAULTY_KINDS) / len(KINDS) < 0.7


@pytest.mark.parametrize("kind", KINDS)
def test_a_seed_stands_for_one_recording(kind: Kind) -> None:
    made, again, other = recording(kind, 0), make_motley(0, kind), recording(kind, 1)
    np.testing.assert_array_equal(made.t_s, again.t_s)
    np.testing.assert_array_equal(made.current_a, again.current_a)
    assert (made.truth, made.telling) == (again.truth, again.telling)
    assert not np.array_equal(made.current_a[:50], other.current_a[:50])


def test_a_seed_draws_the_kind_as_well() -> None:
    kinds = [make_motley(seed).kind for seed in range(12)]
    assert kinds == [make_motley(seed).kind for seed in range(12)]
    assert len(set(kinds)) > 6


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", SEEDS)
def test_times_ascend_and_currents_are_real(kind: Kind, seed: int) -> None:
    made = recording(kind, seed)
    assert made.kind == kind
    assert made.t_s.shape == made.current_a.shape
    assert len(made.t_s) <= 300_000
    assert np.diff(made.t_s).min() > 0
    assert np.median(np.diff(made.t_s)) == pytest.approx(1 / made.rate_hz, rel=0.05)
    assert np.all(np.isfinite(made.current_a))
    assert np.ptp(made.current_a) > 0
    assert made.sample_s == made.held_samples / made.rate_hz
    assert 5 <= made.rate_hz <= 2500


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", SEEDS)
def test_truth_is_in_order_and_within_the_recording(kind: Kind, seed: int) -> None:
    made = recording(kind, seed)
    onset_s, restarts = made.truth.onset_s, made.truth.restarts
    assert all(at_s <= again_s for at_s, again_s in restarts)
    assert all(again_s < at_s for (_, again_s), (at_s, _) in pairwise(restarts))
    assert onset_s is None or 0 <= onset_s < made.t_s[-1]
    assert all((onset_s or 0) < at_s for at_s, _ in restarts)
    assert all(made.t_s[-1] - again_s > 5 / made.rate_hz for _, again_s in restarts)
    assert (made.truth.confusers, made.truth.marks) == ((), ())


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", HEALTHY_KINDS)
def test_a_healthy_device_does_not_restart(kind: Kind, seed: int) -> None:
    assert recording(kind, seed).truth.restarts == ()


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", FAULTY_KINDS)
def test_a_faulty_device_restarts_where_the_recording_is_telling(kind: Kind, seed: int) -> None:
    made = recording(kind, seed)
    assert made.truth.restarts or not made.telling


@pytest.mark.parametrize("kind", FAULTY_KINDS)
def test_nothing_flows_in_some_gap_of_some_recording(kind: Kind) -> None:
    """Somewhere a device falls far below what it draws after it began again."""
    deepest = 1.0
    for seed in SEEDS:
        made = recording(kind, seed)
        for at_s, again_s in made.truth.restarts:
            begin, again, end = np.searchsorted(made.t_s, (at_s, again_s, 2 * again_s - at_s))
            if again - begin > 3 and end > again:
                within_a, after_a = np.median(made.current_a[begin:again]), made.current_a[again:end].max()
                deepest = min(deepest, float(within_a / after_a))
    assert deepest < 0.5


@pytest.mark.parametrize("kind", KINDS)
def test_most_recordings_are_telling(kind: Kind) -> None:
    assert sum(make_motley(seed, kind).telling for seed in range(8)) >= 5


@pytest.mark.parametrize(("kind", "seed"), PINNED)
def test_recordings_stay_as_they_are(kind: Kind, seed: int) -> None:
    assert digest(make_motley(seed, kind)) == PINNED[kind, seed]
