"""Recordings of plain devices are the same for the same seed, and show what their truth says."""

from __future__ import annotations

import hashlib
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from wakerail_sim.plain import FAULTY_KINDS, HEALTHY_KINDS, KINDS, Kind, Plain, make_plain

SEEDS = range(6)
PINNED = {
    ("steady loop", 3): "aa1a6b43f5ec0cbbdf91fe916230e579ec46598f8c7d7dee6b507a809f44f5cf",
    ("duty cycle", 8): "de93654eedb30380944c624a2ded7dbb01a69f48e49ff395f279b8556c9625b6",
}


@cache
def recording(kind: Kind, seed: int) -> Plain:
    return make_plain(seed, kind)


def level_a(made: Plain) -> float:
    """Return what is drawn when on, by what is drawn long after each begin."""
    return float(np.median(made.current_a[made.current_a > 0.3 * np.quantile(made.current_a, 0.9)]))


@pytest.mark.parametrize("kind", KINDS)
def test_a_seed_stands_for_one_recording(kind: Kind) -> None:
    made, again, other = recording(kind, 0), make_plain(0, kind), recording(kind, 1)
    np.testing.assert_array_equal(made.t_s, again.t_s)
    np.testing.assert_array_equal(made.current_a, again.current_a)
    assert (made.truth, made.telling) == (again.truth, again.telling)
    assert not np.array_equal(made.current_a[:50], other.current_a[:50])


@pytest.mark.parametrize(("kind", "seed"), PINNED)
def test_recordings_stay_as_they_were(kind: Kind, seed: int) -> None:
    made = make_plain(seed, kind)
    whole = np.round(np.concatenate((made.t_s, made.current_a)) / 1e-9).astype(np.int64)
    assert hashlib.sha256(whole.tobytes()).hexdigest() == PINNED[kind, seed]


def test_a_seed_draws_the_kind_as_well() -> None:
    kinds = [make_plain(seed).kind for seed in range(12)]
    assert kinds == [make_plain(seed).kind for seed in range(12)]
    assert len(set(kinds)) > 5


@pytest.mark.parametrize("kind", KINDS)
def test_truth_is_in_order_and_within_the_recording(kind: Kind) -> None:
    for seed in SEEDS:
        made = recording(kind, seed)
        onset_s, restarts = made.truth.onset_s, made.truth.restarts
        assert np.diff(made.t_s).min() > 0
        assert np.all(np.isfinite(made.current_a))
        assert bool(restarts) == (kind in FAULTY_KINDS)
        assert all(at_s < again_s for at_s, again_s in restarts)
        assert all(again_s < at_s for (_, again_s), (at_s, _) in pairwise(restarts))
        assert all((onset_s or 0) < at_s for at_s, _ in restarts)
        assert all(again_s < made.t_s[-1] for _, again_s in restarts)


@pytest.mark.parametrize("kind", FAULTY_KINDS)
def test_a_restart_falls_to_off_and_comes_back_to_the_level(kind: Kind) -> None:
    for seed in SEEDS:
        made = recording(kind, seed)
        assert made.telling
        on_a = level_a(made)
        for at_s, again_s in made.truth.restarts:
            first, last = np.searchsorted(made.t_s, [at_s, again_s + made.sample_s])
            assert made.current_a[first:last].min() < 0.1 * on_a
            after = made.current_a[last : last + 6 * made.held_samples]
            assert after.max() > 0.3 * on_a


@pytest.mark.parametrize(
    "kind", sorted(set(HEALTHY_KINDS) - {"duty cycle", "switched off", "never on", "troubled meter"})
)
def test_a_healthy_device_stays_well_above_off_while_it_is_on(kind: Kind) -> None:
    for seed in SEEDS:
        made = recording(kind, seed)
        begun_s = 0.0 if made.truth.onset_s is None else made.truth.onset_s
        on_a = made.current_a[made.t_s > begun_s + 10 * made.sample_s]
        low = np.mean(on_a < 0.02 * np.quantile(on_a, 0.9))
        assert low < 0.05  # but for readings that the meter lost


def test_a_healthy_device_sleeps_deeply_but_not_as_low_as_it_is_off() -> None:
    fell = 0
    for seed in range(40):
        made = recording("duty cycle", seed)
        if made.truth.onset_s is None or not made.telling:
            continue
        began = int(np.searchsorted(made.t_s, made.truth.onset_s))
        off_a, asleep_a = np.median(made.current_a[:began]), np.quantile(made.current_a[began:], 0.1)
        assert asleep_a > off_a
        fell += asleep_a < 0.1 * level_a(made)
    assert fell > 3


def test_a_device_that_runs_from_the_begin_has_no_restart() -> None:
    made = [recording(kind, seed) for kind in KINDS for seed in SEEDS]
    assert all(one.truth.onset_s is not None for one in made if one.truth.restarts)


def test_most_recordings_tell() -> None:
    told = [recording(kind, seed).telling for kind in KINDS for seed in SEEDS]
    assert np.mean(told) > 0.95


def test_some_begin_while_the_device_runs() -> None:
    running = [recording(kind, seed).truth.onset_s is None for kind in KINDS for seed in SEEDS if kind in HEALTHY_KINDS]
    assert 0.3 < np.mean(running) < 0.8


def test_what_is_on_already_shows_no_inrush_at_the_begin() -> None:
    """A recording that begins while the device runs does not begin with what comes with switching on."""
    for seed in range(60):
        made = make_plain(seed, "stays on")
        if made.truth.onset_s is None and made.telling:
            first_a, later_a = made.current_a[: made.held_samples].max(), np.median(made.current_a[:40])
            assert first_a < 1.6 * later_a
