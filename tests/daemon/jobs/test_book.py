"""Jobs read from a real journal, in SQLite and PostgreSQL, written by one bench or several."""

from __future__ import annotations

import pytest

from wakerail.jobs import JobState
from wakerail.jobs.telling import short, whole
from wakerail.journal import JournalReader
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import RunFinished, RunStarted
from wakerail_kit.job_events import (
    IsolationObserved,
    JobClosed,
    JobNoted,
    JobPartUsed,
    JobPaused,
    JobResumed,
    JobStage,
    JobStageEntered,
    Resolution,
)
from wakerail_kit.outcome import Finding, Outcome


def started(run: str, job: str | None) -> RunStarted:
    return RunStarted(run=run, sequence="boot-watch", inputs={}, roles={}, cautions=[], job=job)


async def test_a_job_is_read_from_intake_to_handover_whichever_bench_wrote(shop):
    await shop.opens("t-114", words="It fell into the brine")
    await shop.opens("t-115")
    await shop.happens(
        JobStageEntered(job="t-114", stage=JobStage.ISOLATE),
        JobNoted(job="t-114", stage=JobStage.ISOLATE, text="corrosion", spent_s=600.0),
        JobNoted(job="t-114", stage=JobStage.ISOLATE, text="cleaned", spent_s=300.0),
        JobPaused(job="t-114", why="part on order"),
    )
    await shop.happens(
        JobResumed(job="t-114"), JobPartUsed(job="t-114", stage=JobStage.REWORK, part="scanner"), bench="bench-2"
    )
    job = shop.ask(lambda book: book.job("T-114"))
    assert (job.family, job.state, job.stage, job.bench) == ("fenmoor-t3", JobState.OPEN, JobStage.ISOLATE, "bench-2")
    assert job.spent_s == 900.0
    assert [type(note.what) for note in job.kept] == [
        JobStageEntered,
        JobNoted,
        JobNoted,
        JobPaused,
        JobResumed,
        JobPartUsed,
    ]
    assert [note.bench for note in job.kept] == ["bench-1"] * 4 + ["bench-2"] * 2
    assert job.opened == "2026-11-26T09:01:00.000000Z"


async def test_jobs_come_newest_first_and_by_state(shop):
    for name in ("t-1", "t-2", "t-3"):
        await shop.opens(name)
    await shop.happens(JobClosed(job="t-2", resolution=Resolution.REPAIRED), JobPaused(job="t-1"))
    names = {
        state: [job.name for job in shop.ask(lambda book, at=state: book.jobs(state=at))] for state in (None, *JobState)
    }
    assert names == {
        None: ["t-3", "t-2", "t-1"],
        JobState.OPEN: ["t-3"],
        JobState.PAUSED: ["t-1"],
        JobState.CLOSED: ["t-2"],
    }
    assert shop.ask(lambda book: book.job("last")).name == "t-3"


async def test_a_job_that_is_not_there_is_told_with_the_nearest_name(shop):
    await shop.happens()
    with pytest.raises(ConfigInvalid, match=r"no job 't-141'; open it first: `wakerail job open --ticket T-141`$"):
        shop.ask(lambda book: book.job("T-141"))
    await shop.opens("t-114")
    with pytest.raises(ConfigInvalid, match=r"no job 't-141'; did you mean 't-114'\?, or open it first"):
        shop.ask(lambda book: book.job("T-141"))


async def test_runs_of_a_job_are_its_own_even_from_before_it_was_opened(shop):
    """Old journals have runs whose ``--job`` nobody opened, in letters as they were typed."""
    await shop.happens(started("run-0001", "T-114"), run="run-0001")
    await shop.happens(started("run-0002", "T-1145"), run="run-0002")
    await shop.happens(started("run-0003", None), run="run-0003")
    with pytest.raises(ConfigInvalid, match="its earlier runs then belong to it"):
        shop.ask(lambda book: book.job("t-114"))
    await shop.opens("t-114")
    finished = RunFinished(
        run="run-0004", verdict="v", outcome=Outcome.FAILED, finding=Finding.RESTARTING, reason="It fell."
    )
    await shop.happens(started("run-0004", "t-114"), finished, run="run-0004", bench="bench-2")
    runs = shop.ask(lambda book: book.runs_of("t-114"))
    assert [(run.run, run.bench, run.sequence) for run in runs] == [
        ("run-0001", "bench-1", "boot-watch"),
        ("run-0004", "bench-2", "boot-watch"),
    ]


async def test_a_run_that_another_bench_observed_is_still_the_run_of_its_own_bench(shop, url):
    """An observation names the run that saw it."""
    await shop.opens("t-114")
    await shop.happens(started("run-0001", "t-114"), run="run-0001")
    seen = IsolationObserved(job="t-114", number=1, kind="boot", says="It restarts.", run="run-0001")
    await shop.happens(seen, bench="bench-2", run="run-0001")
    (run,) = shop.ask(lambda book: book.runs_of("t-114"))
    assert (run.bench, run.sequence, run.first_row) == ("bench-1", "boot-watch", 2)
    with JournalReader(url) as all_benches, JournalReader(url, bench="bench-2") as theirs:
        assert [one.bench for one in all_benches.runs()] == ["bench-1"]
        assert list(theirs.runs()) == []


async def test_the_first_of_two_openings_counts(shop):
    """Two databases may have been joined into one."""
    await shop.opens("t-114", condition="cracked")
    await shop.happens(JobNoted(job="t-114", stage=JobStage.INTAKE, text="opened it"))
    await shop.opens("t-114", condition="like new", bench="bench-2")
    job = shop.ask(lambda book: book.job("t-114"))
    assert (job.intake.condition, len(job.kept)) == ("cracked", 1)


async def test_a_job_in_short_tells_nothing_personal_and_whole_it_tells_all(shop):
    personal = {"customer": "R. Example", "serial": "SN-1", "words": "brine", "keep": "counts"}
    await shop.opens("t-114", **personal)
    await shop.happens(JobNoted(job="t-114", stage=JobStage.TRIAGE, text="seen by a neighbour"))
    job = shop.ask(lambda book: book.job("t-114"))
    assert not set(personal.values()) & set(map(str, short(job).values()))
    told = whole(job, [])
    assert told["intake"] == {"symptom": "restarts", "exposure": "", "condition": "", **personal}
    assert told["kept"] == [
        {
            "time": "2026-11-26T09:02:00.000000Z",
            "bench": "bench-1",
            "event": "job-noted",
            "stage": "triage",
            "text": "seen by a neighbour",
            "spent_s": None,
            "operator": "",
        }
    ]


async def test_a_name_that_is_a_pattern_finds_its_own_job_alone(shop):
    """``_`` stands for any letter where databases look for texts."""
    await shop.opens("a_1")
    await shop.opens("ab1")
    await shop.happens(JobNoted(job="ab1", stage=JobStage.INTAKE, text="of the other"))
    assert shop.ask(lambda book: book.job("a_1")).kept == ()
