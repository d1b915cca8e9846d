"""How a job restarted before, found in a real journal."""

from __future__ import annotations

import pytest

from wakerail.journal import Journal, JournalReader
from wakerail.recordings.cadences import cadence_before, cadence_before_run
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.events import make_event
from wakerail_kit.job_events import IsolationObserved


async def test_the_newest_run_of_the_job_that_has_a_cadence_tells(watches):
    await watches.add(job="T-114", restarts_s=(20.0, 40.0, 60.0))
    await watches.add(job="T-114", restarts_s=(9.0, 18.0, 27.0))
    await watches.add(job="T-114", restarts_s=(5.0,))  # one restart has no cadence
    await watches.add(job="T-114")
    await watches.add(job="T-115", restarts_s=(3.0, 6.0))
    await watches.add(job="T-114", sequence="soak", restarts_s=(3.0, 6.0))
    with JournalReader(watches.path) as reader:
        cadence = cadence_before(reader, "T-114", "boot-watch")
        assert cadence_before(reader, "T-116", "boot-watch") is None
    assert (cadence.count, cadence.median_s) == (3, pytest.approx(9.0))
    assert cadence.up_s == pytest.approx(8.6)


async def test_a_restart_that_was_taken_back_does_not_count(watches):
    run = await watches.add(job="T-114", restarts_s=(10.0, 13.0, 20.0), taken_back=(2,))
    with JournalReader(watches.path) as reader:
        cadence = cadence_before(reader, "T-114", "boot-watch")
        assert cadence_before_run(reader, run) is None  # nothing was before it
    assert (cadence.count, cadence.longest_s) == (2, pytest.approx(10.0))


async def test_a_run_without_a_job_has_no_before(watches):
    await watches.add(restarts_s=(9.0, 18.0))
    await watches.add()
    with JournalReader(watches.path) as reader:
        assert cadence_before_run(reader, "last") is None


async def test_a_restart_for_want_of_a_part_is_no_cadence_of_the_fault(watches):
    await watches.add(job="t-114", restarts_s=(6.0, 12.0, 18.0))
    run = await watches.add(job="t-114", restarts_s=(9.0, 18.0, 27.0))
    async with await Journal.open(watches.path, bench="bench-1", clock=SimulatedClock()) as journal:
        data = IsolationObserved(job="t-114", number=1, kind="boot", run=run, by_itself=True, says="No fault.")
        event = make_event(data, clock=SimulatedClock(), bench="bench-1", owner="job", subject="t-114", run=run)
        await journal.append(topics.job("bench-1", "t-114"), event)
    with JournalReader(watches.path) as reader:
        cadence = cadence_before(reader, "T-114", "boot-watch")
    assert cadence.median_s == pytest.approx(6.0)
