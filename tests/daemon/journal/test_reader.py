"""The read side: what is asked for comes back, while another process writes."""

from __future__ import annotations

import asyncio
import sys
from datetime import datetime, timedelta

import pytest

from wakerail.journal import Journal, JournalReader, RunSummary
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import RestartSeen, WorkerDied, make_event, type_of
from wakerail_kit.messages import Event, Verdict
from wakerail_kit.outcome import Finding, Outcome

BENCH = "bench-1"
RUNS = ("0193aaaa-0001", "0193aaaa-0002", "0193bbbb-0002")


@pytest.fixture
async def filled(url, clock, samples):
    """Three runs, the last one still under way; the first has a verdict of the second sort."""
    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:
        for run in RUNS:
            await journal.append("t", samples.started(run))
            await journal.append("t", samples.prompt(run))
            clock.advance(60)
            await journal.append("t", samples.event(run))
        await journal.append("t", samples.verdict(RUNS[0], outcome=Outcome.PASSED, finding=Finding.RUNNING))
        await journal.append("t", samples.verdict(RUNS[1], reason="it restarts"))
    with JournalReader(url) as reader:
        yield reader


async def test_a_run_is_cut_off_if_the_worker_died_after_it_began(url, clock, samples):
    def died(bench: str) -> Event:
        return make_event(WorkerDied(how="hung", not_reached=[]), clock=clock, bench=bench, owner="daemon")

    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:
        await journal.append("t", samples.started(RUNS[0]))
        await journal.append("t", samples.verdict(RUNS[0]))
        await journal.append("t", samples.started(RUNS[1]))
        await journal.append("t", died(BENCH))
        await journal.append("t", samples.started(RUNS[2]))
    async with await Journal.open(url, bench="bench-2", clock=clock) as journal:  # another bench's death is not ours
        await journal.append("t", died("bench-2"))
    with JournalReader(url) as reader:
        assert {one.run: one.cut_off for one in reader.runs()} == {RUNS[0]: False, RUNS[1]: True, RUNS[2]: False}


def test_messages_come_in_their_order_and_by_run_type_row_and_number(filled):
    everything = list(filled.messages())
    assert len(everything) == 11
    assert [entry.row for entry in everything] == sorted(entry.row for entry in everything)
    of_run = list(filled.messages(run=RUNS[1]))
    assert of_run == [
        entry
        for entry in everything
        if RUNS[1] in (getattr(entry.message, "run", None), getattr(entry.message, "runid", None))
    ]
    assert list(filled.messages(since_row=everything[4].row)) == everything[5:]
    assert list(filled.messages(limit=4)) == everything[:4]
    assert list(filled.messages(limit=0)) == []
    restarts = list(filled.messages(type=type_of(RestartSeen)))
    assert [entry.message.runid for entry in restarts] == list(RUNS)
    assert list(filled.messages(run="no such run")) == []


def test_events_and_verdicts_alone(filled):
    everything = list(filled.messages())
    assert list(filled.events()) == [entry for entry in everything if isinstance(entry.message, Event)]
    assert list(filled.verdicts()) == [entry for entry in everything if isinstance(entry.message, Verdict)]
    assert [entry.message.run for entry in filled.verdicts(run=RUNS[1])] == [RUNS[1]]
    assert len(list(filled.events(run=RUNS[0], type=type_of(RestartSeen)))) == 1


def test_the_newest_messages_come_oldest_first(filled):
    everything = list(filled.messages())
    assert filled.newest(3) == everything[-3:]
    assert filled.newest(100) == everything
    assert filled.newest(0) == []


async def test_more_messages_than_one_read_takes_come_all(path, clock, samples, monkeypatch):
    monkeypatch.setattr("wakerail.journal.reader._MESSAGES_A_READ", 7)
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        rows = [await journal.append("t", samples.event()) for _ in range(30)]
    with JournalReader(path) as reader:
        for limit in (None, 6, 7, 8, 14, 29, 30, 31):
            assert [entry.row for entry in reader.messages(limit=limit)] == rows[:limit]


def test_runs_come_newest_first_with_what_is_known_of_them(filled):
    under_way, failed, passed = filled.runs()
    assert [one.run for one in (passed, failed, under_way)] == list(RUNS)
    assert isinstance(failed, RunSummary)
    assert (failed.outcome, failed.finding, failed.reason) == (Outcome.FAILED, Finding.RESTARTING, "it restarts")
    assert (failed.bench, failed.sequence, failed.job) == (BENCH, "boot-watch", "J-1")
    assert (under_way.outcome, under_way.ended, under_way.verdict) == (None, None, None)
    assert under_way.started
    assert [one.run for one in filled.runs(limit=1)] == [RUNS[2]]


@pytest.mark.parametrize(
    ("which", "run"), [("last", RUNS[2]), (RUNS[0], RUNS[0]), ("0001", RUNS[0]), ("bbbb-0002", RUNS[2])]
)
def test_a_run_is_found_by_its_id_an_ending_of_it_or_as_the_last(filled, which, run):
    assert filled.find_run(which) == run
    assert filled.run(which).run == run


@pytest.mark.parametrize(
    ("which", "says"),
    [("0002", "more than one run ends in '0002'"), ("001", "no run '001'"), ("", "no run ''"), ("%", "no run '%'")],
)
def test_a_run_that_is_not_there_or_not_the_only_one_is_said(filled, which, says):
    with pytest.raises(ConfigInvalid, match=says):
        filled.find_run(which)


def test_a_verdict_is_found_as_the_last_by_its_run_or_its_own_id(filled):
    last = filled.verdict("last")
    assert last.run == RUNS[1]
    assert filled.verdict(RUNS[1]) == last
    assert filled.verdict(last.id) == last
    assert filled.verdict("0001").outcome is Outcome.PASSED
    with pytest.raises(ConfigInvalid, match="no verdict yet of run"):
        filled.verdict(RUNS[2])


async def test_an_empty_journal_has_nothing_and_says_so(url, clock):
    await (await Journal.open(url, bench=BENCH, clock=clock)).close()
    with JournalReader(url) as reader:
        assert list(reader.messages()) == list(reader.runs()) == list(reader.frames()) == reader.newest(5) == []
        with pytest.raises(ConfigInvalid, match="no run yet"):
            reader.find_run("last")
        with pytest.raises(ConfigInvalid, match="no verdict yet"):
            reader.verdict("last")


async def test_an_event_of_a_newer_version_is_still_read(path, clock, samples):
    event = Event(
        id="e-1",
        source="/wakerail/bench-1/supply",
        type="wakerail.sang-a-song.v9",
        time="2027-01-01T00:00:00Z",
        data={"key": "C"},
    )
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        await journal.append("t", event)
    with JournalReader(path) as reader:
        assert [entry.message for entry in reader.messages()] == [event]


def test_a_reader_cannot_write(filled):
    with pytest.raises(Exception, match=r"may only be read|read-only transaction"):
        filled._database.execute("DELETE FROM messages")


# --- frames ---


@pytest.fixture
async def sampled(url, clock, samples):
    """Two seconds of a supply in run-1, a gap, one second in run-2, and a plate beside it all."""
    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:
        for number in range(1, 11):
            journal.append_frame(samples.frame(number), "run-1")
        for number in range(21, 26):
            journal.append_frame(samples.frame(number), "run-2")
            plate = {"signals": {"temperature": [20.5] * 4}, "units": {"temperature": "Cel"}}
            journal.append_frame(samples.frame(number, instrument="plate", **plate))
    with JournalReader(url) as reader:
        yield reader


def test_frames_come_by_instrument_run_and_signal(sampled):
    def counts(**asked):
        return [(chunk.instrument, chunk.run, len(chunk)) for chunk in sampled.frames(**asked)]

    supply_1, supply_2, plate = ("supply", "run-1", 40), ("supply", "run-2", 20), ("plate", None, 20)
    assert sorted(counts(), key=str) == sorted([supply_1, supply_2, plate], key=str)
    assert counts(run="run-2") == [supply_2]
    assert counts(instrument="plate") == [plate]
    assert counts(instrument="plate", run="run-1") == []
    assert counts(signal="temperature") == [plate]
    for chunk in sampled.frames(signal="current"):
        assert list(chunk.signals) == list(chunk.units) == ["current"]


def test_frames_between_two_times_are_cut_to_the_sample(sampled):
    whole = next(sampled.frames(run="run-1"))
    start, end = whole.start + timedelta(seconds=0.5), whole.start + timedelta(seconds=1.0)
    (cut,) = sampled.frames(instrument="supply", start=start, end=end)
    assert cut.start == start
    assert cut.t_s.tolist() == whole.t_s[10:20].tolist()
    assert cut.signals["voltage"].tolist() == whole.signals["voltage"][10:20].tolist()
    assert cut.times().tolist() == whole.times()[10:20].tolist()
    assert list(sampled.frames(start=datetime.fromisoformat("2050-01-01T00:00:00Z"))) == []
    assert list(sampled.frames(end=whole.start)) == []


def test_signals_name_what_was_sampled(sampled):
    assert sampled.signals() == [("current", "A"), ("temperature", "Cel"), ("voltage", "V")]
    assert sampled.signals(run="run-2") == [("current", "A"), ("voltage", "V")]


# --- beside a writer ---

FOLLOW = """
import sys
from wakerail.journal import JournalReader
reader = JournalReader(sys.argv[1])
print("ready", flush=True)
seen = 0
for _ in sys.stdin:  # each line asks what is new
    new = [entry.row for entry in reader.messages(since_row=seen)]
    seen = new[-1] if new else seen
    print(*new, flush=True)
"""


async def test_another_process_reads_each_message_once_it_is_durable(url, clock, samples):
    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:
        pipe = asyncio.subprocess.PIPE
        child = await asyncio.create_subprocess_exec(sys.executable, "-c", FOLLOW, url, stdin=pipe, stdout=pipe)
        async with asyncio.timeout(20):
            assert await child.stdout.readline() == b"ready\n"
            for _ in range(20):
                row = await journal.append("t", samples.event())
                child.stdin.write(b"?\n")
                assert await child.stdout.readline() == f"{row}\n".encode()
            child.stdin.close()
            assert await child.wait() == 0
