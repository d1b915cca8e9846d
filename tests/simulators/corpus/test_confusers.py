"""What looks like a restart is there where it was asked for, and says so."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest

from wakerail_sim.corpus import CONFUSERS, LIFE_CONFUSERS, Case, Confuser, Mark, Recording, make_recording

SEEDS = range(4)


def healthy(*confusers: Confuser, seed: int, rate_hz: float = 100.0, noise: float = 0.0, **more: bool) -> Recording:
    return make_recording(Case(rate_hz, 600.0, confusers=confusers, noise=noise, **more), seed)


def within(recording: Recording, mark: Mark) -> np.ndarray:
    return recording.current_a[(recording.t_s > mark.start_s + 0.01) & (recording.t_s < mark.end_s - 0.01)]


@pytest.mark.parametrize("kind", CONFUSERS)
@pytest.mark.parametrize("seed", SEEDS)
def test_each_alone_is_in_the_truth_and_is_no_restart(kind: Confuser, seed: int) -> None:
    truth = healthy(kind, seed=seed, noise=1.0).truth
    assert truth.confusers == (kind,)
    assert truth.restarts == ()
    assert {mark.kind for mark in truth.marks} <= {kind}


def test_none_asked_for_none_there() -> None:
    truth = healthy(seed=1).truth
    assert truth.confusers == ()
    assert truth.marks == ()


@pytest.mark.parametrize("seed", SEEDS)
def test_a_sleeping_device_draws_2_to_30_ma_above_standing_and_wakes_to_its_running_load(seed: int) -> None:
    recording = healthy("sleep-wake", seed=seed)
    standing_a = recording.current_a[0]
    asleep = [mark for mark in recording.truth.marks if mark.end_s < recording.t_s[-1]]
    assert len(asleep) >= 2
    for mark in asleep:
        sleep_a = within(recording, mark) - standing_a
        assert 0.0015 < sleep_a.min() <= sleep_a.max() < 0.032
        woken_a = recording.current_a[(recording.t_s > mark.end_s + 0.31) & (recording.t_s < mark.end_s + 0.4)]
        assert woken_a.min() > 2 * sleep_a.max()


@pytest.mark.parametrize("seed", SEEDS)
def test_a_screen_that_goes_off_takes_a_good_part_of_the_load_with_it(seed: int) -> None:
    recording = healthy("screen-off", seed=seed)
    lit = np.ones(len(recording.t_s), dtype=bool)
    for mark in recording.truth.marks:
        lit &= (recording.t_s < mark.start_s) | (recording.t_s > mark.end_s)
    dark_a = np.concatenate([within(recording, mark) for mark in recording.truth.marks])
    assert 0.2 < np.median(dark_a) / np.median(recording.current_a[lit]) < 0.75


@pytest.mark.parametrize(("kind", "longest_s"), [("charging-pulses", 2.0), ("radio-duty", 0.1)])
@pytest.mark.parametrize("seed", SEEDS)
def test_pulses_come_evenly(kind: Confuser, longest_s: float, seed: int) -> None:
    recording = make_recording(Case(1000.0, 120.0, confusers=(kind,), noise=0.0), seed)
    (mark,) = recording.truth.marks
    pulsing_a = within(recording, mark)
    rises = np.flatnonzero(np.diff(pulsing_a) > 0.4 * np.diff(pulsing_a).max())
    rises = rises[np.diff(rises, prepend=-10) > 2]  # the samples of one edge count once
    every_s = np.diff(rises) / 1000
    assert len(every_s) > 5
    assert np.mean(np.abs(every_s - np.median(every_s)) < 0.05 * np.median(every_s) + 0.003) > 0.6
    assert np.median(every_s) < 10 * longest_s + 2.0


@pytest.mark.parametrize("seed", SEEDS)
def test_spikes_stand_out_of_the_running_load(seed: int) -> None:
    recording = make_recording(Case(1000.0, 300.0, confusers=("load-spikes",), noise=0.0), seed)
    (mark,) = recording.truth.marks
    running_a = within(recording, mark)
    assert running_a.max() > 1.2 * np.median(running_a)


@pytest.mark.parametrize("rate_hz", [5.0, 20.0, 1000.0])
def test_a_meter_that_switches_ranges_is_blind_for_a_few_samples(rate_hz: float) -> None:
    seen = set()
    for seed in range(12):
        recording = healthy("range-switching", seed=seed, rate_hz=rate_hz)
        t_s, current_a = recording.t_s, recording.current_a
        assert recording.truth.marks
        for mark in recording.truth.marks:
            start, end = np.searchsorted(t_s, [mark.start_s - 1e-9, mark.end_s + 1e-9])
            assert 1 <= end - start <= 3
            assert mark.end_s - mark.start_s <= 0.3
            shown_a = current_a[start:end]
            assert np.ptp(shown_a) == 0.0
            seen.add("zero" if shown_a[0] == 0.0 else "hold" if shown_a[0] == current_a[start - 1] else "spike")
    assert seen == {"zero", "hold", "spike"}


@pytest.mark.parametrize("seed", SEEDS)
def test_samples_are_missing_in_gaps_and_nowhere_else(seed: int) -> None:
    recording = healthy("gaps", seed=seed)
    spacing_s = np.diff(recording.t_s)
    inside = np.zeros(len(recording.t_s), dtype=bool)
    for mark in recording.truth.marks:
        assert 0.02 <= mark.end_s - mark.start_s <= 3.0
        inside |= (recording.t_s >= mark.start_s) & (recording.t_s < mark.end_s)
    assert not inside.any()
    assert 1 <= np.sum(spacing_s > 0.0101) <= len(recording.truth.marks)


@pytest.mark.parametrize("seed", range(8))
def test_no_gap_hides_a_restart(seed: int) -> None:
    recording = make_recording(Case(20.0, 400.0, "after-running", ("gaps",)), seed)
    for mark in recording.truth.marks:
        assert all(mark.end_s < at_s or mark.start_s > again_s for at_s, again_s in recording.truth.restarts)


def test_jitter_moves_samples_but_never_past_each_other() -> None:
    even, uneven = (np.diff(healthy(*kinds, seed=2).t_s) for kinds in ((), ("jitter",)))
    assert np.std(even) < 1e-9
    assert np.std(uneven) > 0.0003
    assert uneven.min() > 0


def test_a_coarse_meter_reads_whole_steps_of_10_ma() -> None:
    steps = healthy("quantised", seed=2, noise=1.0).current_a / 0.010
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)
    assert len(np.unique(np.round(steps))) > 3


def test_drift_is_slow_and_small() -> None:
    def floor_a(recording: Recording) -> np.ndarray:
        return np.array([np.quantile(part, 0.1) for part in np.array_split(recording.current_a[20_000:], 8)])

    still, moving = (np.ptp(floor_a(healthy(*kinds, seed=2))) for kinds in ((), ("drift",)))
    assert moving > 3 * still
    assert moving < 0.05


@pytest.mark.parametrize("seed", SEEDS)
def test_hum_is_at_the_mains_frequency(seed: int) -> None:
    recording = make_recording(Case(1000.0, 60.0, confusers=("hum",), noise=0.0), seed)
    quiet_a = recording.current_a[:2000] - recording.current_a[:2000].mean()  # before the onset: nothing else moves
    strongest_hz = np.fft.rfftfreq(len(quiet_a), 0.001)[np.argmax(np.abs(np.fft.rfft(quiet_a)))]
    assert strongest_hz in (pytest.approx(50, abs=0.6), pytest.approx(60, abs=0.6))


def test_truth_names_only_what_came_about() -> None:
    brief = make_recording(Case(20.0, 40.0, "after-running", ("sleep-wake", "gaps", "jitter")), 1).truth
    marked = {mark.kind for mark in brief.marks}
    assert set(brief.confusers) - {"jitter"} == marked
    assert "jitter" in brief.confusers


@pytest.mark.parametrize(
    ("case", "says"),
    [
        ({"fault": "fixed-stage", "confusers": ("sleep-wake",)}, "at a stage of its boot"),
        ({"fault": "watchdog", "warm": True, "begins_running": True}, "warm"),
        ({"warm": True}, "warm"),
        ({"length_s": 5.0}, "at least 20 s"),
        ({"rate_hz": 0.0}, "samples/s"),
    ],
)
def test_a_case_that_makes_no_sense_is_refused(case: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Case(**({"rate_hz": 20.0, "length_s": 60.0} | case))  # type: ignore[arg-type]


def test_every_confuser_is_known_to_be_the_devices_or_the_meters() -> None:
    assert set(CONFUSERS) == set(get_args(Confuser))
    assert set(CONFUSERS) > LIFE_CONFUSERS
