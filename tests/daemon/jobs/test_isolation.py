"""A job's isolation as a course, what closed jobs teach it, and what a run tells it."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import pytest

from wakerail.family_plans import load_family_plan
from wakerail.jobs import Happened, fold
from wakerail.jobs.isolation import isolation_of, learned_plan, observed, to_undo
from wakerail.jobs.plan_answers import advised, answer_of, ended, stats_of
from wakerail.jobs.run_tells import RunSeen, told_by
from wakerail.planning.belief import prior
from wakerail.planning.branches import branches
from wakerail.planning.course import opened
from wakerail.planning.model import Likelihood, Watching
from wakerail.planning.observations import BootWatched, CheckSeen, SignSeen
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.job_events import (
    Intake,
    IsolationUndone,
    JobClosed,
    JobForgotten,
    JobOpened,
    JobResumed,
    Resolution,
)
from wakerail_kit.messages import CERTAINTY, Measurement, SequenceRef, StepResult, Verdict
from wakerail_kit.outcome import Finding, Outcome

FAMILY = "fenmoor-t3"
NONE = frozenset[str]()
SIGNS = frozenset({"fast-loop", "near-three-minutes", "same-stage", "irregular"})
BOOT = BootWatched(NONE, 0.99, 3.2, boots=1)


@pytest.fixture(name="plan", scope="module")
def _plan(project):
    return load_family_plan(project / "config" / "devices" / "fenmoor-t3.yaml")


def jobs_of(*events):
    """Return the jobs of these events, a minute between each two."""
    return fold(
        Happened(event, f"2026-11-26T09:{minute:02}:00Z", "bench-1", minute) for minute, event in enumerate(events)
    )


def opening(job="t-1", family=FAMILY):
    return JobOpened(job=job, family=family, intake=Intake(symptom="restarts"))


def observing(*observations, job="t-1", finding="", run=None):
    events = [observed(job, number, one) for number, one in enumerate(observations, 1)]
    return [msgspec.structs.replace(one, run=run, name=finding or one.name) for one in events]


def closing(job, *causes, resolution=Resolution.REPAIRED):
    return [opening(job), JobClosed(job=job, resolution=resolution, causes=list(causes))]


def isolation(plan, *events, boots=1):
    jobs = jobs_of(opening(), *events)
    return isolation_of(jobs["t-1"], plan, jobs.values(), boots=boots)


def verdict(
    finding, outcome=Outcome.FAILED, *, certainty=None, sequence="boot-watch", steps=("watch",), job="t-1", run="r1"
):
    measured = [] if certainty is None else [Measurement(name=CERTAINTY, value=certainty, unit="1", outcome="Passed")]
    results = [
        StepResult(number=number, verb=verb.split()[0], title="", outcome=Outcome.FAILED if "!" in verb else None)
        for number, verb in enumerate(steps, 1)
    ]
    return Verdict(
        id="v", bench="bench-1", run=run, job=job, sequence=SequenceRef(name=sequence, sha256="0" * 64), inputs={},
        started="", ended="", outcome=outcome, finding=finding, reason="So it was.", steps=results,
        measurements=measured, evidence=[], instruments=[], operator="", software_version="0",
    )  # fmt: skip


# --- the course ---


def test_observations_come_back_as_they_were_kept(plan):
    without = BootWatched(opened(plan, ["scanner"]), 0.04, boots=1)
    seen = [BOOT, SignSeen("fast-loop"), CheckSeen("port-check", 1.0), without]
    found = isolation(plan, *observing(*seen))
    assert found.course.observations == tuple(seen)
    assert [one.number for one in found.seen] == [1, 2, 3, 4]
    assert found.course.done == {"back-cover", "scanner"}


def test_what_was_undone_counts_no_more_and_numbers_stay(plan):
    events = observing(BOOT, SignSeen("fast-loop"), BOOT)
    found = isolation(plan, *events, IsolationUndone(job="t-1", number=2))
    assert found.course.observations == (BOOT, BOOT)
    assert [one.number for one in found.seen] == [1, 3]
    assert to_undo(found.job, None).number == 3
    assert to_undo(found.job, 1).number == 1
    with pytest.raises(ConfigInvalid, match="no observation 2 that counts; there are 1, 3"):
        to_undo(found.job, 2)
    assert found.with_seen(BOOT).seen[-1].number == 4


@pytest.mark.parametrize("again", [SignSeen("fast-loop"), CheckSeen("port-check", 0.0), CheckSeen("port-check", 1.0)])
def test_the_same_check_or_sign_does_not_count_twice(plan, again):
    found = isolation(plan, *observing(BOOT, SignSeen("fast-loop"), CheckSeen("port-check", 1.0)))
    number = 2 if isinstance(again, SignSeen) else 3
    with pytest.raises(ConfigInvalid, match=rf"counts already, as observation {number}; undo that one first"):
        found.with_seen(again)
    without = isolation(
        plan,
        *observing(BOOT, SignSeen("fast-loop"), CheckSeen("port-check", 1.0)),
        IsolationUndone(job="t-1", number=number),
    )
    assert without.with_seen(again).seen[-1].number == 4


def test_what_contradicts_the_rest_is_said_with_its_number_and_can_be_undone(plan):
    """Somebody has sharpened the plan since: a failed port check now means the port and nothing else."""
    sure = [replace(check, fails=Likelihood({"charge-port": 1.0}, 0.0)) for check in plan.checks]
    sharp = replace(plan, checks=tuple(sure), pairs=0.0, watching=Watching(120.0, 0.0, 0.0))
    events = observing(BOOT, CheckSeen("port-check", 1.0), BootWatched(opened(plan, ["port-board"]), 1.0, boots=1))
    first = IsolationUndone(job="t-1", number=1)
    with pytest.raises(
        ConfigInvalid, match=r"^observation 3 \(the fault with port-board off\) contradicts what was seen"
    ):
        isolation(sharp, *events, first)
    job = jobs_of(opening(), *events, first)["t-1"]
    assert to_undo(job, None).number == 3
    fits = isolation(sharp, *events, first, IsolationUndone(job="t-1", number=3))
    with pytest.raises(
        ConfigInvalid, match=r"^this \(the fault with port-board off\) contradicts what was seen before"
    ):
        fits.with_seen(BootWatched(opened(plan, ["port-board"]), 1.0, boots=1))


def test_what_the_plan_does_not_know_is_said_with_its_number(plan):
    with pytest.raises(ConfigInvalid, match="job t-1, observation 2: 'fast-lop' is no sign of fenmoor-t3"):
        isolation(plan, *observing(BOOT, SignSeen("fast-lop")))


def test_each_boot_counts_by_itself_and_for_less_where_the_fault_comes_and_goes(plan):
    off = BootWatched(opened(plan, ["scanner"]), 0.0, boots=1)
    once, thrice = isolation(plan, *observing(off)), isolation(plan, *observing(off, off, off))
    fears = isolation(plan, *observing(off), boots=3)
    scanner = [one.course.belief.share["scanner"] for one in (fears, once, thrice)]
    assert scanner == sorted(scanner)
    assert scanner[0] < scanner[1] < scanner[2]
    assert fears.plan.watching.boots == 3


def test_clean_boots_where_the_fault_was_seen_show_that_it_comes_and_goes(plan):
    """And then a clean boot without the scanner says little of the scanner; one of a steady fault says much."""
    clean, off = BootWatched(NONE, 0.05, boots=1), BootWatched(opened(plan, ["scanner"]), 0.05, boots=1)
    steady = isolation(plan, *observing(BOOT, BOOT, BOOT, off)).course
    unsteady = isolation(plan, *observing(BOOT, clean, clean, off)).course
    assert steady.miss < 0.1 < 0.4 < unsteady.miss
    assert unsteady.belief.share["scanner"] < 0.35 < 0.5 < steady.belief.share["scanner"]


def test_a_fault_that_comes_and_goes_is_not_given_up_after_one_boot(plan):
    clean = BootWatched(NONE, 0.02, boots=1)
    for count, boots, ends in ((1, 1, True), (1, 3, False), (2, 3, False), (3, 3, True)):
        found = isolation(plan, *observing(*[clean] * count), boots=boots)
        end = ended(answer_of(found, ()))
        assert (end is not None) == ends
        assert end is None or "does not show with everything connected" in end.says


# --- learning ---


def test_closed_jobs_teach(plan):
    events = [*closing("t-2", "scanner"), *closing("t-3", "scanner", "speaker"), *closing("t-4", "keypad")]
    jobs = jobs_of(opening(), *events, JobForgotten(job="t-2"))
    learned = isolation_of(jobs["t-1"], plan, jobs.values()).plan
    assert learned.strength == plan.strength + 3
    assert prior(learned).share["scanner"] > prior(plan).share["scanner"]


@pytest.mark.parametrize(
    "events",
    [
        closing("t-2"),
        closing("t-2", "scanner", resolution=Resolution.NO_FAULT_FOUND),
        closing("t-2", "scanner", "speaker", "keypad"),
        closing("t-2", "a-part-that-is-gone"),
        [*closing("t-2", "scanner"), JobResumed(job="t-2")],
        [opening("t-2", "another"), JobClosed(job="t-2", resolution=Resolution.REPAIRED, causes=["scanner"])],
    ],
    ids=["no cause", "no fault", "three", "unknown", "open again", "another family"],
)
def test_what_teaches_nothing(plan, events):
    learned = learned_plan(plan, jobs_of(*events).values())
    assert prior(learned).share == pytest.approx(prior(plan).share)
    assert learned.strength == plan.strength


def test_a_job_does_not_teach_itself(plan):
    jobs = jobs_of(*closing("t-1", "scanner"))
    assert prior(isolation_of(jobs["t-1"], plan, jobs.values()).plan).share == pytest.approx(prior(plan).share)


# --- what a run tells ---


def tells(plan, run, *events, done=NONE, interval_s=None, sign=None):
    told = told_by(isolation(plan, *events), RunSeen(run, done, interval_s, sign), SIGNS)
    return told.observations, told.says


def test_a_restart_counts_as_sure_as_it_is(plan):
    seen, _ = tells(plan, verdict(Finding.RESTARTING, certainty=0.9), interval_s=3.2)
    assert seen == (BootWatched(NONE, 0.9, 3.2, boots=1),)


def test_a_boot_that_came_up_is_as_clean_as_it_is_sure(plan):
    (seen,), _ = tells(plan, verdict(Finding.RUNNING, Outcome.PASSED, certainty=0.8))
    assert (seen.shown, seen.interval_s) == (pytest.approx(0.2), None)


def test_a_cadence_is_evidence_once(plan):
    run = verdict(Finding.RESTARTING, certainty=0.99, run="r2")
    seen, _ = tells(plan, run, interval_s=3.2, sign="fast-loop")
    assert seen[1:] == (SignSeen("fast-loop"),)
    seen, _ = tells(plan, run, *observing(BOOT, SignSeen("fast-loop")), interval_s=8.0, sign="same-stage")
    assert len(seen) == 1
    seen, _ = tells(plan, run, interval_s=60.0, sign="near-one-minute")
    assert len(seen) == 1, "the plan has no such sign"


@pytest.mark.parametrize(
    ("finding", "outcome"),
    [
        (Finding.BENCH_FAULT, Outcome.INCONCLUSIVE),
        (Finding.STOPPED, Outcome.ABORTED),
        (Finding.INTERLOCK, Outcome.ABORTED),
        (Finding.SUPPLY_LIMITED, Outcome.INCONCLUSIVE),
        (Finding.TOO_LITTLE_DATA, Outcome.INCONCLUSIVE),
    ],
)
def test_what_is_no_finding_about_the_device_tells_nothing(plan, finding, outcome):
    seen, says = tells(plan, verdict(finding, outcome))
    assert seen == ()
    assert f"({outcome}, {finding}) tells nothing of the cause: So it was." in says


def test_a_boot_that_hangs_or_runs_under_load_weighs_as_little_as_it_tells(plan):
    run = verdict(Finding.STALLED, Outcome.INCONCLUSIVE, certainty=0.5)
    (seen,), _ = tells(plan, run, *observing(BOOT), done=opened(plan, ["scanner"]))
    found = isolation(plan, *observing(BOOT))
    assert found.course.seen(seen).belief.share == pytest.approx(found.course.belief.share)


@pytest.mark.parametrize(
    ("first", "then", "shown"),
    [
        (Finding.RESTARTING, Finding.STALLED, True),  # neither comes up
        (Finding.RESTARTING, Finding.NO_DRAW, None),  # nobody pressed the key
        (Finding.RESTARTING, Finding.HARD_SHORT, None),  # something was trapped
        (Finding.RESTARTING, Finding.STANDING_DRAW, None),
        (Finding.HARD_SHORT, Finding.HARD_SHORT, True),
        (Finding.HARD_SHORT, Finding.RESTARTING, False),  # the short is gone
        (Finding.STANDING_DRAW, Finding.HARD_SHORT, None),
        (Finding.NO_DRAW, Finding.NO_DRAW, True),
        (Finding.NO_DRAW, Finding.RUNNING, False),
    ],
)
def test_the_fault_is_what_the_device_came_to_at_first(plan, first, then, shown):
    before = observing(BootWatched(NONE, 0.99, boots=1), finding=first)
    outcome = Outcome.PASSED if then is Finding.RUNNING else Outcome.FAILED
    seen, says = tells(plan, verdict(then, outcome), *before, done=opened(plan, ["scanner"]))
    assert [one.shown >= 0.5 for one in seen] == ([] if shown is None else [shown])
    assert ("tells nothing of the cause" in says) == (shown is None)


def test_a_check_that_failed_at_first_failed(plan):
    run = verdict(Finding.PORT_CLEAR, Outcome.PASSED, sequence="port-check", steps=("test !", "prompt", "test"))
    seen, says = tells(plan, run)
    assert seen == (CheckSeen("port-check", 1.0),)
    assert "failed at first" in says
    run = verdict(Finding.RAIL_QUIET, Outcome.PASSED, sequence="rail-check", steps=("measure",))
    assert tells(plan, run)[0] == (CheckSeen("rail-check", 0.0),)


@pytest.mark.parametrize(
    ("run", "says"),
    [
        (verdict(Finding.RUNNING, job="t-2"), "run r1 belongs to job t-2, not to t-1"),
        (verdict(Finding.RUNNING, job=None), "run r1 belongs to no job, not to t-1"),
        (verdict(Finding.CHECKS_PASSED, sequence="soak", steps=("wait",)), "run r1 is a soak; a boot watch tells"),
        (verdict(Finding.RUNNING, run="r9"), "run r9 counts already, as observation 1"),
        (verdict(Finding.PORT_FAULT, sequence="port-check"), "the port-check counts already, as observation 2"),
    ],
)
def test_a_run_that_cannot_tell_is_refused(plan, run, says):
    before = [*observing(BOOT, run="r9")[:1], *observing(BOOT, CheckSeen("port-check", 1.0))[1:]]
    with pytest.raises(ConfigInvalid, match=says):
        tells(plan, run, *before)


def test_what_the_missing_sensor_causes_by_itself_is_no_fault(plan):
    """Known to be fast, the fault would have shown long before; not known, the restart tells nothing."""
    off = opened(plan, ["front-sensor"])
    run = verdict(Finding.RESTARTING, certainty=0.99)
    fast = observing(BOOT)
    (seen,), says = tells(plan, run, *fast, done=off, interval_s=180.0, sign="near-three-minutes")
    assert says.startswith("Without the front sensor it restarts after about three minutes; that is no fault.")
    assert "counts as clean" in says
    before, after = (isolation(plan, *fast).course.belief, isolation(plan, *fast).course.seen(seen).belief)
    assert after.share["front-sensor"] > 4 * before.share["front-sensor"]
    slow = observing(BootWatched(NONE, 0.99, 170.0, boots=1))
    (seen,), says = tells(plan, run, *slow, done=off, interval_s=180.0)
    assert "tells nothing" in says
    found = isolation(plan, *slow).course
    assert found.seen(seen).belief.share == pytest.approx(found.belief.share)


# --- what is answered ---


def test_an_answer_says_all_that_hands_need(plan):
    found = isolation(plan, *observing(BOOT, BootWatched(opened(plan, ["scanner"]), 0.99, 3.2, boots=1)))
    answer = answer_of(found, ())
    assert [deed.says for deed in answer.off] == ["take off the back cover", "unplug the scanner"]
    assert [one.says for one in answer.seen][1] == "the fault with scanner off, every 3.2 s, 99 % sure"
    assert answer.usual_s == 3.2
    event = advised(answer)
    assert (event.after, event.kind) == (2, "try")
    assert event.shares == {one.cause: one.share for one in answer.ranked}
    assert event.to_do == [deed.action for deed in answer.next.to_do]


def test_branches_show_the_way_not_taken(plan):
    found = isolation(plan, *observing(BOOT, SignSeen("fast-loop"), BootWatched(opened(plan, ["scanner"]), 1.0)))
    boot, sign, without = branches(found.course)
    assert boot.shares == pytest.approx(prior(plan).share, abs=0.01)
    assert sign.other is None
    assert without.shares == pytest.approx(found.course.belief.share)
    assert without.other_says == "a clean boot with scanner off"
    assert without.other["scanner"] > 0.4 > without.shares["scanner"]


def test_the_shop_sees_what_it_has_seen(plan):
    jobs = jobs_of(opening(), *closing("t-2", "scanner"), *closing("t-3", "scanner", "keypad"))
    stats = stats_of(plan, jobs, ())
    assert (stats.closed, stats.taught, stats.two_causes, stats.isolation_s) == (2, 2, 1, None)
    scanner = next(one for one in stats.causes if one.cause == "scanner")
    assert scanner.jobs == 2
    assert scanner.learned > scanner.stated
    assert sum(one.learned for one in stats.causes) == pytest.approx(1.0, abs=1e-5)
