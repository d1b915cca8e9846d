"""Two benches that work on one job in one journal, at once: nothing is numbered alike, closed twice or lost."""

from __future__ import annotations

import asyncio

import pytest

from wakerail.bench import Bench
from wakerail.journal import JournalReader
from wakerail_kit.events import type_of
from wakerail_kit.job_events import IsolationObserved, JobClosed


def numbers(told):
    return [one["number"] for one in told["isolation"]["observations"]]


@pytest.fixture
def meanwhile(monkeypatch):
    """Let something happen once, after the first request has been decided and before what it decided is kept."""

    def meanwhile_(happens):
        kept = Bench.record_job
        waiting = [happens]

        async def record_job(self, *args, **options):
            if waiting:
                await waiting.pop()()
            return await kept(self, *args, **options)

        monkeypatch.setattr(Bench, "record_job", record_job)

    return meanwhile_


async def test_no_number_is_given_twice_and_each_undo_takes_back_its_own(desk_of):
    said = ["restart", "clean without scanner", "port-check passed", "restart without display"]
    async with desk_of("bench-1") as first, desk_of("bench-2") as second:
        await first.opens()
        answers = await asyncio.gather(
            *(ask("plan-observe", job="t-114", said=text) for text in said for ask in (first, second)),
            return_exceptions=True,
        )
        taken = [answer["numbers"][0] for answer in answers if isinstance(answer, dict)]
        (refused,) = [answer for answer in answers if not isinstance(answer, dict)]
        assert "the port-check counts already" in str(refused)  # whoever of the two was second
        assert sorted(taken) == list(range(1, 2 * len(said)))
        undone = await second("plan-undo", job="t-114", number=taken[0])
        assert undone["says"].startswith(f"Observation {taken[0]} counts no more: ")
        left = await first("job-show", job="t-114")
    assert numbers(left) == sorted(set(taken) - {taken[0]})


async def test_what_another_bench_observed_meanwhile_is_counted_first(desk_of, meanwhile, url):
    async with desk_of("bench-1") as first, desk_of("bench-2") as second:
        await first.opens()
        meanwhile(lambda: second("plan-observe", job="t-114", said="restart"))
        mine = await first("plan-observe", job="t-114", said="clean without scanner", operator="mara")
        told = await first("job-show", job="t-114")
        newest = await second("plan-undo", job="t-114")
    assert mine["numbers"] == [2]
    assert [(one["number"], one["operator"]) for one in told["isolation"]["observations"]] == [(1, ""), (2, "mara")]
    assert "scanner" in newest["says"]
    with JournalReader(url) as reader:
        seen = [entry.message.data["number"] for entry in reader.events(type=type_of(IsolationObserved))]
    assert seen == [1, 2]
    assert told["stage"] == "isolate"


@pytest.mark.parametrize(
    ("verb", "args"),
    [
        ("plan-observe", {"said": "restart"}),
        ("job-close", {"resolution": "repaired"}),
        ("job-note", {"text": "cleaned", "part": "port flex"}),
        ("job-pause", {}),
        ("plan-advise", {}),
    ],
)
async def test_a_job_that_another_bench_closes_meanwhile_stays_as_it_was_closed(desk_of, meanwhile, verb, args, url):
    async with desk_of("bench-1") as first, desk_of("bench-2") as second:
        await first.opens()
        meanwhile(lambda: second("job-close", job="t-114", resolution="not-repaired"))
        with pytest.raises(first.Refused, match="job t-114 is closed"):
            await first(verb, job="t-114", **args)
        told = await first("job-show", job="t-114")
    assert (told["resolution"], told["kept"], numbers(told)) == ("not-repaired", [], [])
    with JournalReader(url) as reader:
        assert len(list(reader.events(type=type_of(JobClosed)))) == 1
