"""What a recording without noise shows is what its truth says."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail_sim.corpus import FAULTS, Case, Fault, Recording, draw_faulty, draw_healthy, make_recording

FAULTY_SEEDS = range(5)
COLD_AND_WARM = [(fault, warm) for fault in FAULTS for warm in (False, True)]


def drawn_a(recording: Recording, from_s: float, to_s: float) -> np.ndarray:
    start, end = np.searchsorted(recording.t_s, [from_s, to_s])
    return recording.current_a[start:end]


def clean(fault: Fault | None, seed: int, *, warm: bool = False, rate_hz: float = 1000.0) -> Recording:
    return make_recording(Case(rate_hz, 400.0, fault, warm=warm, noise=0.0), seed)


@pytest.mark.parametrize("seed", FAULTY_SEEDS)
def test_nothing_but_the_standing_current_flows_before_the_onset(seed: int) -> None:
    recording = clean(None, seed)
    onset_s = recording.truth.onset_s
    assert onset_s is not None
    assert onset_s >= 2.0
    before_a = drawn_a(recording, 0.0, onset_s)
    assert np.ptp(before_a) == 0.0
    assert 0.0 <= before_a[0] <= 0.005
    assert drawn_a(recording, onset_s + 0.02, onset_s + 0.04).min() > before_a[0] + 0.002


@pytest.mark.parametrize(("fault", "seed"), [(fault, seed) for fault in FAULTS for seed in FAULTY_SEEDS])
def test_a_cold_restart_is_a_collapse_to_standing_and_a_boot(fault: Fault, seed: int) -> None:
    recording = clean(fault, seed)
    standing_a = recording.current_a[0]
    assert recording.truth.restarts
    for at_s, again_s in recording.truth.restarts:
        assert 0.04 < again_s - at_s < 2.3
        assert np.all(drawn_a(recording, at_s + 0.001, again_s) == standing_a)
        assert drawn_a(recording, at_s - 0.01, at_s).min() > standing_a
        assert drawn_a(recording, again_s + 0.02, again_s + 0.04).min() > standing_a + 0.002


@pytest.mark.parametrize("fault", FAULTS)
def test_a_warm_restart_goes_back_to_the_level_of_the_onset(fault: Fault) -> None:
    alike, breaks = [], []
    for seed in FAULTY_SEEDS:
        recording = clean(fault, seed, warm=True)
        onset_s = recording.truth.onset_s
        assert onset_s is not None
        assert recording.truth.restarts
        first_a = drawn_a(recording, onset_s + 0.03, onset_s + 0.05).min()
        for at_s, again_s in recording.truth.restarts:
            assert 0.0 <= again_s - at_s <= 0.001, "less than a sample"
            before_a = np.median(drawn_a(recording, at_s - 0.02, at_s))
            again_a = drawn_a(recording, again_s + 0.03, again_s + 0.05).min()
            alike.append(again_a == pytest.approx(first_a, rel=0.25))
            breaks.append(abs(again_a - before_a) > 0.15 * max(again_a, before_a))
    # a burst or some work may fall on any one of them
    assert np.mean(alike) > 0.9
    assert np.mean(breaks) > 0.85


@pytest.mark.parametrize(("fault", "warm"), COLD_AND_WARM)
@given(seed=st.integers(0, 10_000), rate_hz=st.sampled_from([5.0, 20.0, 100.0]))
@settings(max_examples=10, deadline=None)
def test_truth_is_in_order_and_within_the_recording(fault: Fault, warm: bool, seed: int, rate_hz: float) -> None:
    recording = clean(fault, seed, warm=warm, rate_hz=rate_hz)
    truth, last_s = recording.truth, recording.t_s[-1]
    assert truth.onset_s is not None
    begins_s = [truth.onset_s, *(again_s for _, again_s in truth.restarts)]
    assert truth.restarts, "a faulty device restarts"
    assert fault != "single" or len(truth.restarts) == 1
    for begin_s, (at_s, again_s) in zip(begins_s, truth.restarts, strict=False):
        # to a sample: that is how exact the truth of what can be seen is
        assert at_s - begin_s >= max(0.15, 3 / rate_hz) - 1 / rate_hz, "the boot that was running is visible"
        assert at_s <= again_s
    assert last_s - begins_s[-1] >= min(2.0, 12 / rate_hz), "so is the one that follows"
    assert np.all(np.diff(recording.t_s) > 0)
    assert np.all(np.isfinite(recording.current_a))


@pytest.mark.parametrize("rate_hz", [5.0, 50.0])
def test_a_recording_that_begins_while_the_device_runs_has_no_onset(rate_hz: float) -> None:
    for seed in range(8):
        healthy = make_recording(Case(rate_hz, 60.0, begins_running=True), seed)
        assert healthy.truth.onset_s is None
        assert healthy.truth.restarts == ()
        assert healthy.current_a[:5].min() > 0.004
        faulty = make_recording(Case(rate_hz, 300.0, "after-running", begins_running=True), seed)
        assert faulty.truth.onset_s is None
        assert faulty.truth.restarts[0][0] >= 1.5


def test_an_averaging_meter_smooths_what_it_measures_and_keeps_the_charge() -> None:
    even, points = (make_recording(Case(20.0, 60.0, averaged=averaged, noise=0.0), 2) for averaged in (True, False))
    assert even.truth == points.truth
    assert np.abs(even.current_a - points.current_a).max() > 0.01
    assert even.current_a.mean() == pytest.approx(points.current_a.mean(), rel=0.02)


def test_the_voltage_sags_with_the_current() -> None:
    recording = make_recording(Case(50.0, 60.0, with_voltage=True), 4)
    assert recording.voltage_v is not None
    assert np.corrcoef(recording.voltage_v, recording.current_a)[0, 1] < -0.5
    assert make_recording(Case(50.0, 60.0), 4).voltage_v is None


@given(seed=st.integers(0, 10_000), faulty=st.booleans(), rate_hz=st.sampled_from([5.0, 20.0, 100.0]))
@settings(max_examples=10, deadline=None)
def test_the_same_seed_gives_the_same_bytes_and_another_does_not(seed: int, faulty: bool, rate_hz: float) -> None:
    case = draw_faulty(seed, rate_hz) if faulty else draw_healthy(seed, rate_hz)
    one, same, other = (make_recording(case, number) for number in (seed, seed, seed + 1))
    assert one.t_s.tobytes() == same.t_s.tobytes()
    assert one.current_a.tobytes() == same.current_a.tobytes()
    assert one.truth == same.truth
    assert one.current_a.tobytes() != other.current_a.tobytes()
