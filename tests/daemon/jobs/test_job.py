"""Laws of the fold: whatever order events come in, it makes jobs, with notes and observations as they were."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.jobs import Happened, Job, JobState, fold
from wakerail.jobs.book import JOB_TYPES
from wakerail_kit.event_data import EventData
from wakerail_kit.job_events import (
    Intake,
    IsolationAdvised,
    IsolationEnded,
    IsolationObserved,
    IsolationUndone,
    JobClosed,
    JobFileKept,
    JobForgotten,
    JobNoted,
    JobOpened,
    JobPartUsed,
    JobPaused,
    JobResumed,
    JobStage,
    JobStageEntered,
    Resolution,
)

NAMES = st.sampled_from(["t-1", "t-2"])
STAGES = st.sampled_from(JobStage)
NUMBERS = st.integers(1, 6)
OPENED = JobOpened(job="t-1", family="fenmoor-t3", intake=Intake(symptom="restarts"))
FILE = {"sha256": "0" * 64, "name": "a", "media_type": "image/png", "size_bytes": 1}
ENDED = {"sort": "confirmed", "causes": ["scanner"], "probability": 1.0, "says": "the scanner"}
SORTS: list[st.SearchStrategy[EventData]] = [
    st.builds(JobOpened, job=NAMES, family=st.just("fenmoor-t3"), intake=st.just(Intake(symptom="again"))),
    st.builds(JobStageEntered, job=NAMES, stage=STAGES),
    st.builds(JobNoted, job=NAMES, stage=STAGES, text=st.text(max_size=5), spent_s=st.none() | st.floats(0, 100)),
    st.builds(JobPartUsed, job=NAMES, stage=STAGES, part=st.just("flex")),
    st.builds(JobFileKept, job=NAMES, stage=STAGES, **{key: st.just(value) for key, value in FILE.items()}),
    st.builds(JobPaused, job=NAMES),
    st.builds(JobResumed, job=NAMES),
    st.builds(JobClosed, job=NAMES, resolution=st.sampled_from(Resolution)),
    st.builds(JobForgotten, job=NAMES),
    st.builds(IsolationAdvised, job=NAMES, after=NUMBERS, kind=st.just("try"), says=st.just(""), shares=st.just({})),
    st.builds(IsolationObserved, job=NAMES, number=NUMBERS, kind=st.just("boot"), says=st.just("clean")),
    st.builds(IsolationUndone, job=NAMES, number=NUMBERS),
    st.builds(IsolationEnded, job=NAMES, **{key: st.just(value) for key, value in ENDED.items()}),
]
EVENTS = st.lists(st.one_of(SORTS), max_size=25)
LAWS = settings(max_examples=60, deadline=None)


def folded(events: Sequence[EventData]) -> dict[str, Job]:
    return fold(
        Happened(data, f"2026-11-26T09:{number:02}:00Z", f"bench-{number % 2}", number)
        for number, data in enumerate(events)
    )


def test_every_event_of_a_job_is_among_those_of_the_laws():
    assert len(SORTS) == len(JOB_TYPES)


@LAWS
@given(EVENTS)
def test_any_order_of_events_makes_jobs_and_only_those_that_were_opened(events):
    jobs = folded(events)
    assert jobs.keys() == {data.job for data in events if isinstance(data, JobOpened)}


@LAWS
@given(EVENTS)
def test_notes_are_kept_in_their_order_and_their_times_add_up(events):
    job = folded([OPENED, *events])["t-1"]
    noted = [data for data in events if isinstance(data, JobNoted) and data.job == "t-1"]
    assert [note.what for note in job.kept if isinstance(note.what, JobNoted)] == noted
    assert job.spent_s == sum(data.spent_s or 0.0 for data in noted)


@LAWS
@given(EVENTS)
def test_an_observation_counts_until_it_is_undone(events):
    job = folded([OPENED, *events])["t-1"]
    expected: list[IsolationObserved] = []
    for data in events:
        if data.job != "t-1":
            continue
        if isinstance(data, IsolationObserved):
            expected.append(data)
        elif isinstance(data, IsolationUndone):
            expected = [one for one in expected if one.number != data.number]
    assert list(job.observations) == expected
    numbers = [data.number for data in events if isinstance(data, IsolationObserved) and data.job == "t-1"]
    assert job.last_number == max(numbers, default=0)


@LAWS
@given(EVENTS, NUMBERS)
def test_undoing_twice_is_undoing_once_and_what_is_not_there_changes_nothing(events, number):
    undone = IsolationUndone(job="t-1", number=number)
    once, twice = folded([OPENED, *events, undone])["t-1"], folded([OPENED, *events, undone, undone])["t-1"]
    assert once == twice
    assert all(one.number != number for one in once.observations)


@LAWS
@given(EVENTS, EVENTS)
def test_what_happens_to_another_job_changes_nothing(events, others):
    """However the two are interleaved; here, one after the other with the same times."""
    mine = [Happened(data, "2026-11-26T09:00:00Z", "bench-1", 1) for data in [OPENED, *events] if data.job == "t-1"]
    theirs = [Happened(data, "2026-11-26T09:00:00Z", "bench-2", 2) for data in others if data.job == "t-2"]
    mixed = [pair for both in zip(mine, theirs, strict=False) for pair in both]
    mixed += mine[len(theirs) :] + theirs[len(mine) :]
    assert fold(mixed)["t-1"] == fold(mine)["t-1"]


@LAWS
@given(EVENTS)
def test_a_job_is_open_paused_or_closed_as_it_was_last_said(events):
    job = folded([OPENED, *events])["t-1"]
    states = {JobPaused: JobState.PAUSED, JobResumed: JobState.OPEN, JobClosed: JobState.CLOSED}
    said = [states[type(data)] for data in events if data.job == "t-1" and type(data) in states]
    assert job.state is (said[-1] if said else JobState.OPEN)
