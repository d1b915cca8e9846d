"""The report of a job: what is in it, and that each figure is the journal's."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import jsonschema
import msgspec
import pytest

from wakerail.jobs import Job, JobState, NoteKept
from wakerail.journal import JournalReader, RunSummary
from wakerail.report.job.document import document_of
from wakerail.report.job.job_report import report_of
from wakerail.report.job.material import Material, RunSeen, boots_of
from wakerail.report.job.plain_words import boot, found_in_plain_words, spoken
from wakerail_kit.events import RunStarted
from wakerail_kit.job_events import (
    Intake,
    JobClosed,
    JobFileKept,
    JobForgotten,
    JobNoted,
    JobPaused,
    JobStage,
    Resolution,
)
from wakerail_kit.messages import Measurement, SequenceRef, StepResult, Verdict
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.schema import file_schemas

MADE = datetime(2026, 11, 27, 16, 5, tzinfo=UTC)
UNKNOWN = "What exactly was at fault was not found."
MADE_OF = {"plan": None, "device": "", "charts": [], "software_version": "0"}


def test_the_figures_are_those_of_the_verdicts(whole, path_of_whole):
    report, _, _ = whole
    with JournalReader(path_of_whole) as reader:
        verdicts = {entry.message.run: entry for entry in reader.verdicts()}
    assert [run.run for run in report.runs] == list(verdicts)
    for run in report.runs:
        entry = verdicts[run.run]
        assert (run.verdict, run.verdict_row) == (entry.message, entry.row)
        assert run.first_row < entry.row <= run.last_row
    restarts = {m.name: m.value for m in report.runs[1].verdict.measurements}["restarts"]
    chart = report.charts[0]
    assert chart.run == report.runs[1].run
    assert f"{restarts:.0f} restarts, at 3.8 s, 7 s, 10.2 s, 13.4 s and 16.6 s." in chart.says


def test_what_was_found_is_told_to_the_customer_first(whole):
    report, _, _ = whole
    boots = (
        "When it was tried on the bench: it started, switched itself off again and started over, 5 times in "
        "20 seconds, about every 3.2 seconds. When it was tried last: it started, and stayed on for the 60 seconds "
        "that it was watched."
    )
    assert report.found_for_customer == [
        boots,
        "Its charge port had a fault at first, and is sound now.",
        "Its stacked boards were parted on a heated plate, within the limits for its solder and parts.",
        "At fault: the charge port.",
        "Of 2 functions that were tried, not all work. The answer was no to: Is the test tone clear?",
        "The device is repaired. The charge port was corroded; its flex was replaced.",
    ]


def test_the_isolation_tells_what_was_told_then_and_what_the_opposite_would_have_meant(whole):
    report, _, material = whole
    isolation = report.isolation
    told = {advice.after: advice.shares for advice in material.job.advice}
    assert isolation.before == told[0]
    assert [step.shares for step in isolation.steps] == [told[after] for after in range(1, 6)]
    clean = isolation.steps[2]
    assert clean.other_says == "the fault with port-board off"
    assert clean.shares["charge-port"] > 0.7 > 0.1 > clean.other_shares["charge-port"]
    assert sum(clean.other_shares.values()) == pytest.approx(1, abs=1e-4)
    assert isolation.ended.causes == ["charge-port"]


def test_work_is_told_by_stage_with_parts_and_time(whole):
    report, _, _ = whole
    assert report.spent_by_stage_s == {"triage": 600.0, "rework": 2700.0}
    assert report.spent_s == sum(report.spent_by_stage_s.values())
    assert [(part.part, part.count) for part in report.parts] == [("charge port flex", 1)]
    assert [deed.event for deed in report.deeds][-1] == "job-closed"


def test_questions_that_a_person_answered_are_the_checklist(whole):
    report, _, _ = whole
    found = {one.says: (one.outcome, one.detail) for one in report.functions}
    assert found["Does the scanner read a label?"] == (Outcome.PASSED, "yes")
    assert found["Is the test tone clear?"] == (Outcome.FAILED, "no: it rattles")
    assert found["Does it find the network?"] == (None, "not there")
    assert found["The lines of the charge port"] == (Outcome.PASSED, "port-clear")  # the newest, not the first
    assert found["It starts, and stays on"] == (Outcome.PASSED, "measured")


def test_instruments_have_their_identity_and_calibration(whole):
    report, _, _ = whole
    supply, plate = report.instruments
    assert (supply.identity.serial, supply.calibrated, len(supply.runs)) == ("SN3307", "2026-03-01", 5)
    assert (plate.identity, plate.calibrated) == (None, "")
    (grid,) = next(one for one in document_of(report).sections if one.name == "instruments").blocks
    assert [getattr(row[3], "text", row[3]) for row in grid.rows] == ["2026-03-01", "not stated"]


def test_the_twin_follows_its_schema(whole):
    report, _, _ = whole
    twin = msgspec.json.encode(report)
    jsonschema.validate(msgspec.json.decode(twin), file_schemas()["job-report"])
    assert msgspec.json.decode(twin, type=type(report)) == report


async def test_a_job_that_is_not_finished_says_so(bench, told):
    await bench.open()
    await bench.boot(restarts=2)
    await bench.journal.flush()
    report, charts, _ = told(bench.path)
    assert report.interim
    assert [chart.told.title for chart in charts] == ["The boot that showed the fault"]
    assert report.found_for_customer[0].endswith("Its start has not been watched again since.")
    assert report.found_for_customer[-1] == "The work is not finished; this is what is known so far."
    document = document_of(report)
    assert document.title == "Interim report on job T-114"
    assert "isolation" not in {section.name for section in document.sections}
    await bench.close()


async def test_a_job_without_anything_yet(bench, told):
    await bench.open(Intake(symptom="dead"))
    await bench.close()
    report, charts, _ = told(bench.path, plan=None)
    assert (charts, report.runs, report.isolation) == ([], [], None)
    assert report.found_for_customer[0] == "It has not been watched starting yet."
    sections = {section.name: section for section in document_of(report).sections}
    assert sections["functions"].blocks[0].text == "No function has been checked."


async def test_a_run_without_a_verdict_is_told(bench, told):
    await bench.open()
    started = RunStarted(run="r-1", sequence="boot-watch", inputs={}, roles={}, cautions=[], job=bench.job)
    await bench._told(started, "r-1")
    await bench.close()
    report, _, _ = told(bench.path)
    assert (report.runs[0].run, report.runs[0].verdict) == ("r-1", None)
    assert "Under way: it has no verdict." in [getattr(block, "text", "") for block in blocks_of(report, "detail")]


async def test_of_a_forgotten_job_nothing_personal_is_told(bench, told):
    photo = {"sha256": "ab" * 32, "name": "me.jpg", "media_type": "image/jpeg", "size_bytes": 9}
    kept = JobFileKept(job=bench.job, stage=JobStage.TRIAGE, **photo)
    await bench.open()
    await bench.happens(JobNoted(job=bench.job, stage=JobStage.TRIAGE, text="Their counts were saved.", spent_s=60.0))
    await bench.happens(kept)
    await bench.happens(JobForgotten(job=bench.job))
    await bench.close()
    report, _, _ = told(bench.path)  # its words are still there, as where another bench's copy was not emptied
    said = msgspec.json.encode(report).decode() + repr(document_of(report))
    for personal in ("T3-004417", "day's counts", "again and again", "were saved", "me.jpg", "abab"):
        assert personal not in said
    assert report.intake.symptom.startswith("restarts")
    assert [(deed.says, deed.removed) for deed in report.deeds] == [("(removed)", True)] * 2
    assert said.count("what was personal in this job was forgotten") == 3  # serial, words, what must not be lost


def test_the_customers_name_stands_only_where_it_was_given():
    heads = [
        dict(document_of(report_of(Material(job_of(intake)), made=MADE, **MADE_OF)).head)
        for intake in (Intake(symptom="x"), Intake(symptom="x", customer="Harbour Cold Store"))
    ]
    assert ["Customer" in head for head in heads] == [False, True]
    assert heads[1]["Customer"] == "Harbour Cold Store"


def test_a_newest_boot_with_parts_off_is_told_as_that(whole):
    """It must not sound as if the device were well."""
    _, _, material = whole
    third = material.runs[3]
    cut = Material(material.job, material.runs[:4], before=material.before, after=third)
    said = found_in_plain_words(cut, [])[0]
    assert "with back cover and port board off, it started, and stayed on" in said


@pytest.mark.parametrize(
    ("resolution", "says"),
    [
        (Resolution.NO_FAULT_FOUND, ["No fault was found."]),
        (
            Resolution.NOT_REPAIRED,
            ["What exactly was at fault was not found.", "The device was not repaired. No part."],
        ),
    ],
)
def test_how_it_ended_is_told_once(resolution, says):
    closed = JobClosed(job="j", resolution=resolution, says="" if len(says) == 1 else "No part")
    job = replace(job_of(Intake(symptom="x")), closed=closed)
    assert found_in_plain_words(Material(job), [])[1:] == says


def test_which_boots_are_before_and_after():
    good, bad, none = (seen(Finding.RUNNING), seen(Finding.RESTARTING, Outcome.FAILED), RunSeen(summary()))
    limited = seen(Finding.SUPPLY_LIMITED, Outcome.INCONCLUSIVE)
    assert boots_of([none, limited]) == (None, None)
    assert boots_of([good]) == (good, None)
    assert boots_of([good, bad, limited]) == (bad, None)
    assert boots_of([bad, none, good]) == (bad, good)


@pytest.mark.parametrize("finding", [one for one in Finding if one.value in {"no-draw", "stalled", "hard-short"}])
def test_each_way_not_to_start_has_its_words(finding):
    said = boot(verdict_of(finding, Outcome.FAILED), finding)
    assert said.endswith(".")
    assert finding.value not in said


@pytest.mark.parametrize(
    ("time_s", "says"),
    [(1.0, "1 second"), (3.24, "3.2 seconds"), (25.0, "25 seconds"), (120.0, "2 minutes"), (3600.0, "60 minutes")],
)
def test_times_as_one_says_them(time_s, says):
    assert spoken(time_s) == says


def blocks_of(report, name):
    return next(section for section in document_of(report).sections if section.name == name).blocks


def job_of(intake):
    note = NoteKept("2026-11-27T09:00:00Z", "bench-1", 2, JobPaused(job="j", why="a part"))
    return Job("j", "f", intake, "2026-11-27T08:00:00Z", "bench-1", state=JobState.PAUSED, kept=(note,))


def summary():
    return RunSummary(
        run="r", bench="b", first_row=1, last_row=2, sequence="boot-watch", started="2026-11-27T08:00:00Z"
    )


def verdict_of(finding, outcome=Outcome.PASSED):
    fields = {"id": "v", "bench": "b", "run": "r", "inputs": {}, "reason": "", "evidence": [], "instruments": []}
    times = {"started": "2026-11-27T08:00:00Z", "ended": "2026-11-27T08:01:00Z"}
    steps = [StepResult(number=1, verb="watch", title="Watch", outcome=outcome, finding=finding, duration_s=20.0)]
    measured: list[Measurement] = []
    return Verdict(
        sequence=SequenceRef(name="boot-watch", sha256="0" * 64), outcome=outcome, finding=finding, steps=steps,
        measurements=measured, operator="", software_version="", **fields, **times,
    )  # fmt: skip


def seen(finding, outcome=Outcome.PASSED):
    return RunSeen(summary(), verdict_of(finding, outcome), 3)
