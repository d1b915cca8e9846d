"""Recordings of devices that are sums of parts are the same for the same seed, and show what their truth says."""

from __future__ import annotations

import hashlib
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from wakerail_sim.assembled import FAULTY_KINDS, HEALTHY_KINDS, KINDS, Assembled, Kind, make_assembled
from wakerail_sim.assembled.source import Source
from wakerail_sim.assembled.telling import boots_stand_out
from wakerail_sim.motley.meter import Readings

SEEDS = range(6)
PINNED = {
    ("stops in use", 3): "008a11a569541139678c6d65572b83ee4f9037753f8284630b480c37b4248407",
    ("sleeps at will", 8): "599d15a7f91c308e9e0d47f4826b1566f8edb192d426b280f4c7a9dcfaf2e1ec",
}


@cache
def recording(kind: Kind, seed: int) -> Assembled:
    return make_assembled(seed, kind)


@pytest.mark.parametrize("kind", KINDS)
def test_a_seed_stands_for_one_recording(kind: Kind) -> None:
    made, again, other = recording(kind, 0), make_assembled(0, kind), recording(kind, 1)
    np.testing.assert_array_equal(made.t_s, again.t_s)
    np.testing.assert_array_equal(made.current_a, again.current_a)
    assert (made.truth, made.telling) == (again.truth, again.telling)
    assert not np.array_equal(made.current_a[:50], other.current_a[:50])


@pytest.mark.parametrize(("kind", "seed"), PINNED)
def test_recordings_stay_as_they_were(kind: Kind, seed: int) -> None:
    made = make_assembled(seed, kind)
    whole = np.round(np.concatenate((made.t_s, made.current_a)) / 1e-9).astype(np.int64)
    assert hashlib.sha256(whole.tobytes()).hexdigest() == PINNED[kind, seed]


def test_a_seed_draws_the_kind_as_well() -> None:
    kinds = [make_assembled(seed).kind for seed in range(12)]
    assert kinds == [make_assembled(seed).kind for seed in range(12)]
    assert len(set(kinds)) > 5


@pytest.mark.parametrize("kind", KINDS)
def test_truth_is_in_order_and_within_the_recording(kind: Kind) -> None:
    for seed in SEEDS:
        made = recording(kind, seed)
        onset_s, restarts = made.truth.onset_s, made.truth.restarts
        assert np.diff(made.t_s).min() > 0
        assert np.all(np.isfinite(made.current_a))
        assert bool(restarts) == (kind in FAULTY_KINDS) or not made.telling
        assert all(at_s < again_s for at_s, again_s in restarts)
        assert all(again_s < at_s for (_, again_s), (at_s, _) in pairwise(restarts))
        assert all((onset_s or 0) < at_s for at_s, _ in restarts)
        assert all(again_s < made.t_s[-1] for _, again_s in restarts)


@pytest.mark.parametrize("kind", sorted(set(FAULTY_KINDS) - {"resets warm", "resets in part"}))
def test_a_device_draws_less_while_it_is_stopped(kind: Kind) -> None:
    """Mostly: what it draws in reset may be as much as the least that it draws in use."""
    less = []
    for seed in SEEDS:
        made = recording(kind, seed)
        for at_s, again_s in made.truth.restarts:
            before, first, last, after = np.searchsorted(
                made.t_s, [2 * at_s - again_s, at_s, again_s, 2 * again_s - at_s]
            )
            if last - first > 8 and before > 0:
                stopped_a = np.median(made.current_a[first + 2 : last - 1])
                less.append(stopped_a < max(made.current_a[before:first].max(), made.current_a[last:after].max()))
    assert np.mean(less) > 0.95


def test_a_part_that_survives_goes_on_drawing() -> None:
    """Reset in part, a device draws more while it is stopped than before it came on, if a part was on."""
    more = []
    for seed in range(30):
        made = make_assembled(seed, "resets in part")
        onset_s = made.truth.onset_s
        if onset_s is None or not made.telling:
            continue
        off_a = np.median(made.current_a[made.t_s < onset_s])
        stopped = np.zeros(len(made.t_s), dtype=bool)
        for at_s, again_s in made.truth.restarts:
            stopped |= (made.t_s > at_s + made.sample_s) & (made.t_s < again_s - made.sample_s)
        if stopped.sum() > 3:
            more.append(np.median(made.current_a[stopped]) > off_a)
    assert len(more) > 5
    assert np.mean(more) > 0.75


def test_no_two_boots_are_the_same_but_all_are_alike() -> None:
    for seed in SEEDS:
        made = recording("loops at a step", seed)
        (_, first_s), (_, second_s) = made.truth.restarts[:2]
        first, second = np.searchsorted(made.t_s, [first_s, second_s])
        count = min(second - first, len(made.t_s) - second) // 2
        one, other = made.current_a[first : first + count], made.current_a[second : second + count]
        assert not np.array_equal(one, other)
        assert np.abs(one.mean() - other.mean()) < 0.5 * one.mean()


def test_a_source_comes_on_by_its_course_and_stays_at_its_level() -> None:
    source = Source(
        level_a=0.2,
        course=np.array([3.0, 1.0]),
        comes_on_s=1.0,
        wobble=0.0,
        wobble_s=1.0,
        burst=0.0,
        burst_every_s=1.0,
        burst_share=0.1,
        steady=True,
    )
    drawn_a = source.draw_a(np.random.default_rng(0), 3000, 1000.0, stretch=2.0)
    assert drawn_a[0] == pytest.approx(0.6)
    assert drawn_a[1000] == pytest.approx(0.4)  # half way, for it takes twice as long
    np.testing.assert_allclose(drawn_a[2000:], 0.2)


def test_boots_that_nothing_else_is_like_stand_out() -> None:
    t_s = np.arange(0, 60, 0.01)
    boots_s = (5.0, 20.0, 40.0)

    def draws(*begins_s: float) -> Readings:
        current_a = np.full(len(t_s), 0.1)
        for begin_s in begins_s:
            since_s = t_s - begin_s
            current_a[(since_s >= 0) & (since_s < 1)] = 0.4
            current_a[(since_s >= 1) & (since_s < 2)] = 0.2
        return Readings(t_s, current_a)

    assert boots_stand_out(draws(*boots_s), boots_s, 2.0, 0.01, 0.001)
    assert not boots_stand_out(draws(*boots_s, 50.0), boots_s, 2.0, 0.01, 0.001)  # one that was none
    assert not boots_stand_out(draws(*boots_s[:2]), boots_s, 2.0, 0.01, 0.001)  # one that does not show
    assert not boots_stand_out(draws(*boots_s), boots_s, 2.0, 0.5, 0.001)  # too few samples


def test_most_recordings_tell() -> None:
    told = [recording(kind, seed).telling for kind in KINDS for seed in SEEDS]
    assert np.mean(told) > 0.85


def test_some_begin_while_the_device_runs() -> None:
    running = [recording(kind, seed).truth.onset_s is None for kind in KINDS for seed in SEEDS]
    assert 0.1 < np.mean(running) < 0.4


def test_healthy_devices_do_not_restart() -> None:
    assert all(not recording(kind, seed).truth.restarts for kind in HEALTHY_KINDS for seed in SEEDS)
