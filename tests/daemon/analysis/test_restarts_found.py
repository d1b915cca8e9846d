"""Which restarts are found, and what is taken for none: each a kind of trace that was once read wrong."""

import numpy as np
import pytest

from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail_sim.corpus import draw_faulty, draw_healthy, make_recording

RATE_HZ = 50.0
OFF_A = 0.0026
STAGES = ((0.24, 0.14), (0.075, 0.3), (0.055, 0.2))


def begins(watched, made):
    return [restart.again_s for restart in watched.reader.finish(made.end_s).restarts]


def test_a_loop_that_is_off_for_most_of_the_time_is_found_in_a_watch_that_begins_in_it(trace, watch):
    made, expected = trace(RATE_HZ), []
    for _ in range(20):
        for level_a, for_s in STAGES:
            made.then(level_a, for_s)
        made.then(OFF_A, 1.05)
        expected.append(made.end_s)
    for level_a, for_s in STAGES:
        made.then(level_a, for_s)
    found = begins(watch(made, standing_a=None), made)
    assert len(found) >= 18  # of the first, nobody knows what to make
    assert all(min(abs(np.array(expected) - at_s)) < 0.1 for at_s in found)


def test_pulses_of_a_charger_in_a_sleep_are_no_boots(trace, watch):
    made = trace(RATE_HZ)
    for number in range(12):
        made.then(0.2, 11.0 + number % 3).then(0.27, 2.0).then(0.2, 4.0)
        made.then(0.024, 1.5 + 0.3 * (number % 2)).then(0.093, 1.6).then(0.024, 4.0)
    made.then(0.2, 10.0)
    assert not begins(watch(made, standing_a=None), made)


def test_bursts_that_fall_elsewhere_in_each_boot_hide_no_warm_loop(trace, watch):
    rng = np.random.default_rng(3)
    made, expected = trace(RATE_HZ).then(0.0009, 3.0), []
    for _ in range(16):
        expected.append(made.end_s)
        until_s = made.end_s + 1.5
        while made.end_s < until_s - 0.6:
            made.then(0.145, float(rng.uniform(0.05, 0.4))).then(0.22, 0.06)
        made.then(0.145, until_s - made.end_s).then(0.062, 0.38).then(0.16, 0.3).then(0.073, 0.22)
    made.then(0.145, 1.0)
    found = begins(watch(made, standing_a=None), made)
    right = [at_s for at_s in found if min(abs(np.array(expected) - at_s)) < 0.15]
    assert len(right) == len(found)
    assert len(right) >= 13


def test_long_sleeps_of_a_device_that_ran_from_the_first_sample_on_are_no_restarts(trace, watch):
    """What it draws when off is not known; but who draws 2 mA for half a minute, again and again, sleeps."""
    made = trace(20.0)
    for awake_s, asleep_s in ((60.0, 43.0), (10.0, 28.0), (7.0, 55.0), (9.0, 37.0), (11.0, 41.0), (20.0, 30.0)):
        made.then(0.32, awake_s * 0.4).then(0.21, awake_s * 0.6).then(0.0021, asleep_s)
    made.then(0.32, 10.0)
    assert not begins(watch(made, standing_a=None), made)


def test_hum_that_the_meter_shows_only_later_hides_no_loop(trace, watch):
    """At 20 samples a second the mains' hum beats slowly: it was low before the onset, and is high later."""
    rng = np.random.default_rng(5)
    made, expected = trace(20.0), []
    made.current_a = (0.0008 * rng.standard_normal(60)).tolist()
    made.then(None, 3.0)
    made.current_a = made.current_a[:60]
    for number in range(20):
        if number:
            expected.append(made.end_s)
        made.then(0.165, 0.4)
        beat_a = 0.004 * np.sin(number / 3)
        for _ in range(7):
            made.then(max(beat_a + 0.0015 * float(rng.standard_normal()), 0.0), 0.05)
    found = begins(watch(made, standing_a=None), made)
    assert sum(min(abs(np.array(found) - at_s)) < 0.11 for at_s in expected) >= 18


#: Of the seeds that the reader may be tuned on: what is in it, and how many restarts may be missed and invented.
ONCE_READ_WRONG = (
    (61045, 50.0, "its standing level drifts", 5, 5),
    (41018, 20.0, "its hum beats with the samples", 2, 1),
    (101025, 200.0, "a stage of its boot is like the opening", 0, 2),
    (61018, 50.0, "it is in an even loop as the recording begins", 8, 3),
    (65017, 50.0, "a low of a second is known better than its noise, and as it was standing", 0, 2),
    (65032, 50.0, "its first boot is too short for a shape", 1, 1),
    (105011, 200.0, "it sleeps as the recording begins, and falls lower at each restart", 1, 1),
    (107050, 200.0, "as the recording begins it runs, and its boot opens at levels it knows", 2, 1),
    (47056, 20.0, "the bursts of its first stage look like its opening again", 0, 8),
    (29021, 10.0, "two jumps to the opening each stood for the other, without end", 6, 0),
    (88018, 100.0, "its standing current is all noise, and the first ticks are alike by chance", 1, 3),
    (63177, 50.0, "its meter had stood still, so that the fall after its inrush looks like a step of the meter", 1, 1),
    (88027, 100.0, "warm, on a meter that switches its range: the opening was too little by itself", 10, 1),
    (106000, 200.0, "warm, and every restart looks like chance where it is looked at alone", 10, 1),
    (68026, 50.0, "cold, and its first stage is full of bursts", 1, 5),
    (83139, 100.0, "warm, and a blip before its onset was taken for the onset", 5, 0),
    (103090, 200.0, "warm, and nothing was told live", 0, 0),
)
#: Healthy ones: how many restarts may be invented.
ONCE_READ_AS_LOOPS = (
    (115000, 200.0, "pulses of charging above a screen's light, as the recording begins", 0),
    (97021, 100.0, "pulses of a radio and of charging: what they add is the same on top of whatever is drawn", 0),
    (57024, 20.0, "the same, as the recording begins", 0),
    (55006, 20.0, "pulses above an idle that was taken for standing", 3),
)


@pytest.mark.parametrize(("seed", "rate_hz", "why", "missed", "invented"), ONCE_READ_WRONG)
def test_recordings_that_were_once_read_wrong(seed, rate_hz, why, missed, invented):
    made = make_recording(draw_faulty(seed, rate_hz), seed)
    reader = BootReader(ReaderSettings())
    reader.take(made.t_s, made.current_a)
    found = [restart.again_s for restart in reader.finish(float(made.t_s[-1])).restarts]
    expected = [again_s for _, again_s in made.truth.restarts]
    right = sum(min(abs(np.array(found) - again_s)) < max(0.5, 3 / rate_hz) for again_s in expected)
    assert len(expected) - right <= missed, why
    assert len(found) - right <= invented, why


@pytest.mark.parametrize(("seed", "rate_hz", "why", "invented"), ONCE_READ_AS_LOOPS)
def test_healthy_recordings_that_were_once_read_as_loops(seed, rate_hz, why, invented):
    made = make_recording(draw_healthy(seed, rate_hz), seed)
    reader = BootReader(ReaderSettings())
    reader.take(made.t_s, made.current_a)
    assert len(reader.finish(float(made.t_s[-1])).restarts) <= invented, why


def test_what_was_drawn_before_the_onset_is_no_standing_level_once_the_device_falls_below_it(trace, watch):
    made, expected = trace(20.0), []
    made.then(0.012, 4.0).then(0.15, 4.0)  # asleep, and awake
    for _ in range(8):
        made.then(0.0003, 0.9)
        expected.append(made.end_s)
        made.then(0.07, 1.5).then(0.2, 1.2).then(0.04, 0.8).then(0.15, 6.0).then(0.012, 3.0).then(0.15, 3.0)
    assert begins(watch(made, standing_a=None), made) == pytest.approx(expected, abs=0.11)


def test_a_sleep_above_a_standing_level_that_was_measured_is_no_restart_however_it_wakes(trace, watch):
    made = trace(50.0)
    made.then(0.0006, 3.0).then(0.33, 0.2).then(0.18, 0.3).then(0.4, 0.3).then(0.2, 12.0)
    for asleep_s in (3.0, 1.2, 2.4, 5.0, 1.1, 2.0, 1.3, 4.0):
        made.then(0.019, asleep_s).then(0.35, 0.1).then(0.2, 9.0)
    assert not begins(watch(made, standing_a=None), made)
