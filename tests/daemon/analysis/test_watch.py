"""The reader while it watches: onsets and restarts by the current."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wakerail.analysis.seen import Onset, Restart
from wakerail.analysis.words import level_words
from wakerail_kit.outcome import Finding, Outcome

RATES_HZ = [5, 8, 10, 20, 50, 200, 1000]
PERIOD_S = 4.05 + 0.4


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_boot_loop_gives_one_onset_and_each_restart_at_its_time(trace, watch, rate_hz):
    loop = trace(rate_hz).then(0.0003, 3).loop(4).boot(12)
    seen = watch(loop).seen
    assert [type(one) for one in seen] == [Onset, Restart, Restart, Restart, Restart]
    onset, *restarts = seen
    # at 5 samples a second a dip has two of them, and one may become sure only once others were seen
    restarts.sort(key=lambda one: one.at_s if rate_hz < 8 else one.number)
    spacing_s = 1 / rate_hz
    assert onset.at_s == pytest.approx(103, abs=spacing_s + 1e-6)
    for number, restart in enumerate(restarts, 1):
        fell_s = 103 + number * PERIOD_S - 0.4
        assert restart.number == number or rate_hz < 8
        assert restart.evidence[0] in {"current-collapse", "current-dip"}
        assert restart.probability > (0.9 if rate_hz >= 8 else 0.7)
        assert abs(restart.at_s - fell_s) <= restart.uncertainty_s + 1e-6
        assert abs(restart.again_s - (fell_s + 0.4)) <= restart.uncertainty_s + 1e-6
        assert restart.uncertainty_s == pytest.approx(spacing_s + 0.001)


@pytest.mark.parametrize("rate_hz", [rate_hz for rate_hz in RATES_HZ if rate_hz >= 8])
def test_a_collapse_to_the_measured_standing_level_is_told_at_once(trace, watch, rate_hz):
    """Within 0.15 s and what it takes to gather samples, or three samples where they are slow."""
    loop = trace(rate_hz).then(0.0003, 2).loop(1).boot()
    one_by_one = watch(trace(rate_hz))
    told_s = {}
    for frame in loop.frames([1]):
        for one in one_by_one.reader.take_frame(frame):
            told_s[type(one)] = (frame.t_s[0], one)
    due_s = max(0.15 + (0.2 if rate_hz > 50 else 0.0), 3 / rate_hz) + 1 / rate_hz + 1e-6
    at_s, onset = told_s[Onset]
    assert at_s - onset.at_s <= due_s
    at_s, restart = told_s[Restart]
    assert at_s - restart.again_s <= due_s


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    sizes=st.lists(st.integers(1, 400), min_size=1, max_size=6),
    rate_hz=st.sampled_from([5, 20, 100, 400]),
    standing_a=st.sampled_from([None, 0.0003]),
    holes=st.lists(st.tuples(st.integers(0, 3000), st.integers(1, 60)), max_size=3),
)
def test_frames_of_any_chunking_give_the_same(trace, watch, sizes, rate_hz, standing_a, holes):
    loop = trace(rate_hz).then(0.0003, 2, limiting=0.0, voltage=3.85).loop(2).boot(12)
    for at, length in holes:
        cut_out = slice(at, at + length)
        loop.current_a[cut_out] = [None] * len(loop.current_a[cut_out])
    whole = watch(loop, standing_a=standing_a)
    cut = watch(loop, sizes, standing_a=standing_a)
    readings = [watched.reader.finish(loop.end_s) for watched in (cut, whole)]
    assert readings[0] == readings[1]
    assert (*cut.seen, *readings[0].last_seen) == (*whole.seen, *readings[1].last_seen)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    times=st.integers(0, 4),
    down_s=st.floats(0.25, 3.0),
    rate_hz=st.sampled_from([10, 20, 100]),
    before_s=st.floats(0.6, 4.0),
)
def test_the_number_of_restarts_is_the_number_of_collapses(trace, watch, times, down_s, rate_hz, before_s):
    loop = trace(rate_hz).then(0.0003, before_s).loop(times, down_s=max(down_s, 3 / rate_hz)).boot(11)
    reading = watch(loop).reader.finish(loop.end_s)
    assert len(reading.restarts) == times
    assert reading.finding is (Finding.RESTARTING if times else Finding.RUNNING)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_single_spikes_and_dropouts_are_not_restarts(trace, watch, rate_hz):
    boot = trace(rate_hz).then(0.0003, 5).boot(15)
    for at_s, value in ((1, 0.8), (3, 1.2), (11, 0.0), (13, 0.0), (15, 0.0), (17, None)):
        boot.current_a[round(at_s * rate_hz)] = value
    watched = watch(boot)
    assert [type(one) for one in watched.seen] == [Onset]
    assert watched.seen[0].at_s == pytest.approx(105, abs=1 / rate_hz)
    assert watched.reader.finish(boot.end_s).outcome is Outcome.PASSED


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_sleep_above_the_standing_level_is_not_a_restart(trace, watch, rate_hz):
    boot = trace(rate_hz).then(0.0003, 2).boot(8).then(0.012, 3).then(0.19, 12, ripple=0.1)
    watched = watch(boot)
    assert [type(one) for one in watched.seen] == [Onset]
    assert watched.reader.finish(boot.end_s).finding is Finding.RUNNING


def test_without_the_standing_level_a_first_fall_to_a_small_part_counts_as_off(trace, watch):
    running = trace(20).then(0.19, 3, ripple=0.1).then(0.002, 0.4).boot(12)
    (restart,) = watch(running, standing_a=None).seen
    assert isinstance(restart, Restart)
    assert restart.at_s == pytest.approx(103)


def test_without_the_standing_level_a_leak_and_then_a_boot_is_one_onset(trace, watch):
    leaking = trace(20).then(0.04, 3).then(0.13, 0.4).then(0.7, 4).then(0.2, 12, ripple=0.1)
    (onset,) = watch(leaking, standing_a=None).seen
    assert isinstance(onset, Onset)
    assert onset.at_s == pytest.approx(103)


def test_samples_with_the_output_off_say_nothing_about_the_device(trace, watch):
    boot = trace(20).then(0.0003, 2, output=1).then(0.3, 6, output=1).then(0.0, 0.6, output=0).then(0.3, 5, output=1)
    assert [type(one) for one in watch(boot).seen] == [Onset]


def test_samples_that_come_again_or_late_are_left_out(trace, watch):
    loop = trace(20).then(0.0003, 2).loop(1).boot()
    watched = watch(loop)
    before = list(watched.seen)
    watched.take(loop)
    assert watched.seen == before


def test_a_gap_between_two_low_samples_is_not_taken_for_a_held_collapse(trace, watch):
    boot = trace(5).then(0.0003, 2).boot(6)
    boot.then(0.0, 0.2).then(None, 2).then(0.0, 0.2).boot()
    assert [type(one) for one in watch(boot).seen] == [Onset]


def test_the_sentence_of_a_restart_gives_the_length_of_the_boot_and_of_the_fall(trace, watch):
    _, restart = watch(trace(100).then(0.0003, 2).loop(1).boot()).seen
    assert restart.says == (
        "after 4.05 s up the current fell to near nothing (0.3 mA) and rose again 0.4 s later, "
        "and the boot opened as the first did"
    )


@pytest.mark.parametrize(
    ("level_a", "words"),
    [
        (0.00025, "near nothing (0.25 mA)"),
        (0.0000021, "near nothing (0 mA)"),
        (-0.0000021, "near nothing (0 mA)"),
        (-0.00005, "near nothing (-0.05 mA)"),
        (0.0041, "4.1 mA"),
    ],
)
def test_the_noise_of_a_meter_is_not_spelled_out(level_a, words):
    assert level_words(level_a) == words
