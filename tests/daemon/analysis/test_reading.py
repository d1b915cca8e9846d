"""The reader when the watch is over: finding, outcome and one plain sentence."""

from __future__ import annotations

import re

import pytest

from wakerail.analysis.cadence import cadence_of
from wakerail.analysis.hindsight.look import Verdict
from wakerail.analysis.sorts import Sort
from wakerail_kit.outcome import Finding, Outcome


def conclude(watched, trace, end_s=None):
    reading = watched.reader.finish(trace.end_s if end_s is None else end_s)
    return reading.finding, reading.outcome, reading.says


def measured(reading):
    return {measurement.name: measurement for measurement in reading.measurements}


TOO_LITTLE = (Finding.TOO_LITTLE_DATA, Outcome.INCONCLUSIVE)


@pytest.mark.parametrize("rate_hz", [5, 20, 1000])
def test_running(trace, watch, rate_hz):
    boot = trace(rate_hz).then(0.0003, 2).boot(20)
    reading = watch(boot).reader.finish(boot.end_s)
    assert (reading.finding, reading.outcome) == (Finding.RUNNING, Outcome.PASSED)
    assert reading.onset_s == pytest.approx(102, abs=1 / rate_hz)
    assert reading.running_a == pytest.approx(0.19, rel=0.05)
    assert reading.peak_a == pytest.approx(0.68, rel=0.1)
    assert reading.restarts == ()
    assert reading.cadence is None
    assert measured(reading)["restarts"].outcome is Outcome.PASSED
    assert measured(reading)["peak-current"].high == 3.0
    assert "stayed up for 24" in reading.says


def test_a_clean_watch_says_what_it_shows_given_how_it_restarted_before(trace, watch):
    """It was up for 24.05 s: of a loop of 5 s that is four intervals, of one of 30 s none."""
    boot = trace(20).then(0.0003, 2).boot(20)
    fast, slow = (cadence_of([step_s * number for number in range(5)], 0.05) for step_s in (5.0, 30.0))
    finding, outcome, says = conclude(watch(boot, cadence_before=fast), boot)
    assert (finding, outcome) == (Finding.RUNNING, Outcome.PASSED)
    assert "Before, it restarted about every 5 s; now 4 such intervals went by without a restart" in says
    assert "One clean boot" not in says
    finding, outcome, says = conclude(watch(boot, cadence_before=slow), boot)
    assert (finding, outcome) == TOO_LITTLE
    assert "stayed up for 24" in says
    assert "Watch for more than 30.1 s" in says
    assert "One clean boot shows only that" in conclude(watch(boot), boot)[2]


@pytest.mark.parametrize(
    ("log_odds", "concluded", "says"),
    [
        ((-0.5,), TOO_LITTLE, "may have restarted, likeliest 10 s into the watch (38 %); or it slept"),
        ((-0.5, -0.7, -5.0), TOO_LITTLE, "likeliest 10 s into the watch (38 %), and 1 more like it; or"),
        ((-1.0,), (Finding.RUNNING, Outcome.PASSED), "stayed up for"),
    ],
)
def test_what_may_well_have_restarted_is_not_called_running(trace, watch, log_odds, concluded, says):
    boot = trace(20).then(0.0003, 2).boot(40)
    verdicts = [
        Verdict(Sort.DIP, at_s - 0.3, at_s, 0.0, 0.0, False, odds)
        for at_s, odds in zip((110.0, 120.0, 130.0), log_odds, strict=False)
    ]
    finding, outcome, said = conclude(watch(boot, looking=lambda *_: verdicts), boot)
    assert (finding, outcome) == concluded
    assert says in said


def test_a_doubt_is_not_hidden_by_another_moment_at_the_same_time(trace, watch):
    boot = trace(20).then(0.0003, 2).boot(40)
    verdicts = [
        Verdict(sort, at_s, 110.0, 0.0, 0.0, False, odds)
        for sort, at_s, odds in ((Sort.DIP, 109.7, -0.5), (Sort.JUMP, 110.0, -9.0))
    ]
    assert conclude(watch(boot, looking=lambda *_: verdicts), boot)[:2] == TOO_LITTLE


def test_what_hangs_is_said_to_hang_though_it_may_have_restarted(trace, watch):
    hung = trace(20).then(0.0003, 2).boot().then(0.19, 20, ripple=0.0)
    doubted = [Verdict(Sort.DIP, 109.7, 110.0, 0.0, 0.0, False, -0.5)]
    sure, unsure = (watch(hung, looking=lambda *_, are=are: are).reader.finish(hung.end_s) for are in ([], doubted))
    assert sure.finding is unsure.finding is Finding.STALLED
    assert unsure.probability < 0.7 * sure.probability


def test_restarting_with_its_cadence(trace, watch):
    loop = trace(20).then(0.0003, 2).loop(3).boot(3)
    reading = watch(loop).reader.finish(loop.end_s)
    assert (reading.finding, reading.outcome) == (Finding.RESTARTING, Outcome.FAILED)
    assert reading.cadence.median_s == pytest.approx(4.45, abs=0.06)
    interval = measured(reading)["restart-interval"]
    assert interval.value == reading.cadence.median_s
    assert interval.uncertainty == pytest.approx(0.051 * 2**0.5, rel=1e-6)
    assert measured(reading)["restarts"].value == 3
    assert measured(reading)["restarts"].outcome is Outcome.FAILED
    assert reading.says == "It restarted 3 times in 22.4 s, every 4.45 s; each time after about 4.05 s up."


def test_restarts_far_apart_and_near_are_not_called_regular(trace, watch):
    loop = trace(20).then(0.0003, 2)
    for run_s in (0, 10, 3):
        loop.boot(run_s).then(0.0003, 0.5)
    loop.boot()
    assert conclude(watch(loop), loop)[2] == (
        "It restarted 3 times in 32.7 s, 4.55 s to 14.5 s apart; each time after 4.05 s to 14 s up."
    )


def test_of_two_restarts_whose_first_boot_was_not_seen_there_is_one_distance(trace, watch):
    loop = trace(100).then(0.0003, 2).loop(2).boot()
    assert conclude(watch(loop), loop)[2] == (
        "It restarted 2 times in 15 s, every 4.45 s; each time after about 4.05 s up."
    )
    loop = trace(100).then(0.19, 20, ripple=0.1).then(0.0003, 0.4).loop(1).boot()
    assert conclude(watch(loop, standing_a=None), loop)[2] == (
        "It restarted 2 times in 28.9 s, 4.45 s apart; each time after about 4.05 s up."
    )


@pytest.mark.parametrize(
    ("after_s", "says"),
    [
        (0.0, "It restarted once, after 4.05 s up, and then stayed up for the 34 s until the watch ended."),
        (3.0, "It restarted once, after 4.05 s up, and stopped again 34 s later."),
    ],
)
def test_one_restart_is_a_finding_whatever_came_after(trace, watch, after_s, says):
    once = trace(100).then(0.0003, 2).loop(1).boot(30).then(0.0003, after_s)
    reading = watch(once).reader.finish(once.end_s)
    assert reading.finding is Finding.RESTARTING
    assert reading.cadence is None
    assert reading.says == says


def test_no_draw(trace, watch):
    quiet = trace(20).then(0.0003, 12)
    assert conclude(watch(quiet, prompted_s=102), quiet)[:2] == (Finding.NO_DRAW, Outcome.FAILED)


def test_no_draw_needs_the_time_that_a_device_may_take(trace, watch):
    quiet = trace(20).then(0.0003, 12)
    assert conclude(watch(quiet, prompted_s=109), quiet)[:2] == TOO_LITTLE


def test_pulses_too_short_for_a_boot_are_not_called_no_draw(trace, watch):
    hiccup = trace(100).then(0.0003, 2)
    for _ in range(6):
        hiccup.then(0.5, 0.06).then(0.0003, 1.5)
    finding, outcome, says = conclude(watch(hiccup), hiccup)
    assert (finding, outcome) == TOO_LITTLE
    assert "6 pulses" in says


@pytest.mark.parametrize("told", [True, False])
def test_standing_draw_measured_before_or_seen_before_the_prompt(trace, watch, told):
    leaking = trace(20).then(0.04, 20)
    watched = watch(leaking, standing_a=0.04 if told else None, prompted_s=105)
    reading = watched.reader.finish(leaking.end_s)
    if told:
        assert (reading.finding, reading.outcome) == (Finding.STANDING_DRAW, Outcome.FAILED)
    assert reading.standing_a == pytest.approx(0.04, rel=0.05)
    assert measured(reading)["standing-current"].outcome is Outcome.FAILED
    assert reading.finding is Finding.STANDING_DRAW


def test_standing_current_that_was_measured_before_is_not_given_again(trace, watch):
    boot = trace(20).then(0.0003, 12).boot(20)
    assert "standing-current" not in measured(watch(boot, standing_a=0.0003).reader.finish(boot.end_s))
    seen = watch(boot, standing_a=None, prompted_s=110).reader.finish(boot.end_s)
    assert measured(seen)["standing-current"].value == pytest.approx(0.0003, rel=0.05)


def test_hard_short(trace, watch):
    short = trace(20).then(0.0, 1, voltage=0.0, limiting=0, output=0)
    short.then(3.0, 4, ripple=0.001, voltage=0.15, limiting=1, output=1)
    finding, outcome, says = conclude(watch(short), short)
    assert (finding, outcome) == (Finding.HARD_SHORT, Outcome.FAILED)
    assert "limit of 3 A" in says
    assert "150 mV" in says


def test_charging_capacitors_is_not_a_hard_short(trace, watch):
    boot = trace(100).then(3.0, 0.1, voltage=0.5, limiting=1).then(0.0003, 3, voltage=3.85, limiting=0)
    boot.boot(15)
    assert conclude(watch(boot), boot)[0] is Finding.RUNNING


@pytest.mark.parametrize("says_so", [True, False])
def test_supply_limited_comes_before_restarting_and_names_the_limit_to_try(trace, watch, says_so):
    limited = trace(50).then(0.0003, 2, voltage=3.85, limiting=0 if says_so else None)
    for _ in range(3):
        limited.then(0.26, 1, voltage=3.8, limiting=0 if says_so else None)
        limited.then(0.5, 0.5, ripple=0.001, voltage=2.9, limiting=1 if says_so else None)
        limited.then(0.0003, 0.4, voltage=3.85, limiting=0 if says_so else None)
    watched = watch(limited, limit_a=0.5)
    finding, outcome, says = conclude(watched, limited)
    assert (finding, outcome) == (Finding.SUPPLY_LIMITED, Outcome.INCONCLUSIVE)
    assert "try a limit of 1 A" in says
    assert len(watched.reader.finish(limited.end_s).restarts) == 2


@pytest.mark.parametrize("when", ["just before the fall", "told late, after it"])
def test_one_limited_sample_at_the_fall_is_enough(trace, watch, when):
    starved = trace(20).then(0.0003, 2, limiting=0).then(0.26, 1.5, limiting=0)
    if when == "just before the fall":
        starved.then(0.5, 0.05, limiting=1).then(0.0003, 15, limiting=0)
    else:
        starved.then(0.0003, 0.05, limiting=1).then(0.0003, 15, limiting=0)
    assert conclude(watch(starved, limit_a=0.5), starved)[0] is Finding.SUPPLY_LIMITED


def test_a_supply_that_has_not_yet_said_that_it_limits_is_believed_by_its_current(trace, watch):
    starved = trace(20).then(0.0003, 2, limiting=0).then(0.26, 1.5, limiting=0)
    starved.then(0.5, 0.05, ripple=0.001, limiting=0).then(0.0003, 15, limiting=0)
    assert conclude(watch(starved, limit_a=0.5), starved)[0] is Finding.SUPPLY_LIMITED


def test_one_limited_sample_that_a_boot_survives_is_no_finding(trace, watch):
    boot = trace(20).then(0.0003, 2, limiting=0).then(0.5, 0.05, limiting=1).then(0.65, 4, limiting=0)
    boot.then(0.19, 15, ripple=0.1, limiting=0)
    assert conclude(watch(boot), boot)[0] is Finding.RUNNING


def test_stalled_when_it_began_and_went_dark(trace, watch):
    dark = trace(20).then(0.0003, 2).boot().then(0.0003, 15)
    finding, outcome, says = conclude(watch(dark), dark)
    assert (finding, outcome) == (Finding.STALLED, Outcome.FAILED)
    assert "did not come back" in says


@pytest.mark.parametrize("rate_hz", [5, 20, 1000])
def test_stalled_when_the_current_does_not_move(trace, watch, rate_hz):
    hung = trace(rate_hz).then(0.0003, 2).then(0.09, 0.4).then(0.26, 20, ripple=0.003)
    finding, outcome, says = conclude(watch(hung), hung)
    assert (finding, outcome) == (Finding.STALLED, Outcome.FAILED)
    assert "unmoving 260 mA" in says.replace("259", "260").replace("261", "260")


def test_stalled_when_it_never_left_its_first_level(trace, watch):
    hung = trace(100).then(0.0003, 2).then(0.09, 20, ripple=0.06)
    finding, outcome, says = conclude(watch(hung), hung)
    assert (finding, outcome) == (Finding.STALLED, Outcome.FAILED)
    assert "never left" in says


def test_busy_to_the_end_is_only_suspected_of_stalling(trace, watch):
    busy = trace(100).then(0.0003, 2).then(0.09, 0.4).then(0.26, 20, ripple=0.06)
    finding, outcome, _ = conclude(watch(busy), busy)
    assert (finding, outcome) == (Finding.STALLED, Outcome.INCONCLUSIVE)


def test_a_flat_low_end_may_be_sleep_and_is_no_claim(trace, watch):
    asleep = trace(20).then(0.0003, 2).boot(5).then(0.012, 20)
    assert conclude(watch(asleep), asleep)[:2] == TOO_LITTLE


def test_too_few_samples(trace, watch):
    few = trace(5).then(0.0003, 1)
    assert conclude(watch(few), few)[:2] == TOO_LITTLE
    nothing = trace(5)
    assert conclude(watch(nothing), nothing, end_s=160)[:2] == TOO_LITTLE


def test_a_gap_in_which_a_restart_could_hide_is_no_pass(trace, watch):
    gap = trace(20).then(0.0003, 2).boot(8)
    gap.then(None, 3).then(0.19, 15, ripple=0.1)
    finding, outcome, says = conclude(watch(gap), gap)
    assert (finding, outcome) == TOO_LITTLE
    assert "3.05 s" in says


def test_samples_that_end_before_the_watch_are_no_pass(trace, watch):
    boot = trace(20).then(0.0003, 2).boot(20)
    assert conclude(watch(boot), boot, end_s=boot.end_s + 5)[:2] == TOO_LITTLE


@pytest.mark.parametrize("run_s", [0, 3])
def test_a_watch_that_ends_in_the_boot_is_no_pass(trace, watch, run_s):
    short = trace(20).then(0.0003, 20).boot(run_s)
    assert conclude(watch(short), short)[:2] == TOO_LITTLE


def test_a_level_that_is_still_going_up_is_no_pass(trace, watch):
    rising = trace(20).then(0.0003, 2).boot(4)
    for step in range(12):
        rising.then(0.05 * 1.2**step, 1, ripple=0.1)
    assert conclude(watch(rising), rising)[:2] == TOO_LITTLE


def test_off_at_the_end_of_the_watch_is_not_yet_a_stall(trace, watch):
    cut = trace(20).then(0.0003, 2).boot(5).then(0.0003, 2)
    assert conclude(watch(cut), cut)[:2] == TOO_LITTLE


def test_an_unknown_first_level_that_stays_is_not_judged(trace, watch):
    steady = trace(20).then(0.3, 30, ripple=0.05)
    finding, outcome, says = conclude(watch(steady, standing_a=None), steady)
    assert (finding, outcome) == TOO_LITTLE
    assert "Measure that first" in says


@pytest.mark.parametrize(("told_after_s", "limited"), [(0.5, True), (3.0, False)])
def test_a_supply_may_tell_of_its_limit_a_moment_after_the_fall(trace, watch, told_after_s, limited):
    """It is asked for it less often than for the current; what it says much later is not about this fall."""
    off, on = {"limiting": 0.0, "voltage": 3.85}, {"limiting": 1.0, "voltage": 3.85}
    starved = trace(20).then(0.0003, 2, **off).then(0.26, 1.2, **off).then(0.0003, told_after_s, **off)
    starved.then(0.0003, 0.05, **on).then(0.0003, 12, **off)
    finding, outcome, _ = conclude(watch(starved, limit_a=0.5), starved)
    assert (finding is Finding.SUPPLY_LIMITED) == limited
    assert (outcome is Outcome.INCONCLUSIVE) == limited


def test_a_device_that_came_back_before_the_supply_told_of_its_limit_was_starved_all_the_same(trace, watch):
    off, on = {"limiting": 0.0, "voltage": 3.85}, {"limiting": 1.0, "voltage": 3.85}
    starved = trace(20).then(0.0003, 2, **off).then(0.26, 1.2, **off).then(0.0003, 0.3, **off)
    starved.then(0.26, 0.2, **off).then(0.26, 0.05, **on).then(0.26, 0.3, **off).then(0.19, 15, ripple=0.1, **off)
    watched = watch(starved, limit_a=0.5)
    assert conclude(watched, starved)[:2] == (Finding.SUPPLY_LIMITED, Outcome.INCONCLUSIVE)
    assert len(watched.reader.finish(starved.end_s).restarts) == 1


def test_a_limit_met_long_after_a_restart_is_not_about_it(trace, watch):
    off, on = {"limiting": 0.0, "voltage": 3.85}, {"limiting": 1.0, "voltage": 3.85}
    looping = trace(20).then(0.0003, 2, **off).then(0.26, 1.2, **off).then(0.0003, 0.3, **off)
    looping.then(0.26, 2, **off).then(0.26, 0.05, **on).then(0.26, 0.3, **off).then(0.19, 15, ripple=0.1, **off)
    assert conclude(watch(looping, limit_a=0.5), looping)[0] is Finding.RESTARTING


@pytest.mark.parametrize("seen", [True, False])
def test_a_device_starved_before_it_drew_for_long_is_not_called_dead(trace, watch, seen):
    """Its draw may fall between two samples: then only the supply has noticed."""
    off, on = {"limiting": 0.0, "voltage": 3.85}, {"limiting": 1.0, "voltage": 3.85}
    starved = trace(20).then(0.0003, 2, **off).then(0.3 if seen else 0.0003, 0.05, **off).then(0.0003, 0.4, **off)
    starved.then(0.0003, 0.05, **on).then(0.0003, 15, **off)
    assert conclude(watch(starved, limit_a=0.5), starved)[:2] == (Finding.SUPPLY_LIMITED, Outcome.INCONCLUSIVE)


def test_of_a_trace_of_power_every_sentence_is_in_watts(trace, watch):
    def off():
        return trace(20).then(0.0003, 2)

    traces = (
        off().boot(20),  # running
        off().boot().then(0.4, 20, ripple=0.0),  # hangs
        off().boot().then(0.6, 20),  # busy
        off().boot().then(0.0003, 12),  # fell
        off().boot().then(0.1, 8).then(0.5, 6),  # still going
        off().then(0.0003, 20),  # no draw
        trace(20).then(0.05, 20),  # standing draw
        trace(20).then(0.05, 0.2),  # too few
    )
    told = set()
    for one in traces:
        for standing_a in (0.0003, 0.05, None):
            in_a, in_w = (
                watch(one, standing_a=standing_a, limit_a=None, unit=unit).reader.finish(one.end_s) for unit in "AW"
            )
            assert (in_w.finding, in_w.probability) == (in_a.finding, in_a.probability)
            assert re.sub(r"(?<=\d )([mµ]?)A\b", r"\1W", in_a.says).replace("current", "power") == in_w.says
            assert {one.name for one in in_w.measurements} <= {
                "standing-power",
                "peak-power",
                "running-power",
                "restarts",
            }
            told.add(in_w.finding)
    assert told == {Finding.RUNNING, Finding.STALLED, Finding.NO_DRAW, Finding.STANDING_DRAW, Finding.TOO_LITTLE_DATA}
