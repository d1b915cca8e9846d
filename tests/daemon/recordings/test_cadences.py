"""How a job restarted before, found in a real journal."""

from __future__ import annotations

import pytest

from wakerail.journal import JournalReader
from wakerail.recordings.cadences import cadence_before, cadence_before_run


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
