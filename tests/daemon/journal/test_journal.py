"""The write side: durable on return, group commit, frames in chunks, the outbox."""

from __future__ import annotations

import asyncio
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from wakerail.journal import Journal, JournalReader, JournalUnavailable
from wakerail.journal import gathering as gathering_module
from wakerail_kit.errors import ContractViolation
from wakerail_kit.events import RestartSeen, read_event
from wakerail_kit.messages import encode

BENCH = "bench-1"


async def test_what_was_appended_is_there_for_another_connection_at_once(url, clock, samples):
    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:
        event, prompt, verdict = samples.event(), samples.prompt(), samples.verdict()
        rows = [
            await journal.append(samples.topic("run-1"), event),
            await journal.append(samples.topic("run-1", "prompt"), prompt),
            await journal.append(samples.topic("run-1", "verdict"), verdict),
        ]
        with JournalReader(url) as reader:
            entries = list(reader.messages())
    assert rows == sorted(set(rows))
    assert [entry.row for entry in entries] == rows
    assert [entry.message for entry in entries] == [event, prompt, verdict]
    assert [entry.topic.rpartition("/")[2] for entry in entries] == ["event", "prompt", "verdict"]
    assert read_event(entries[0].message, RestartSeen).says == "it fell"


async def test_a_message_appended_twice_is_kept_once(url, clock, samples):
    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:
        event = samples.event()
        rows = [await journal.append("t", event), await journal.append("t", event)]
        await journal.append("t", samples.event())
        assert len(await journal.pending(10)) == 2
    assert rows[0] == rows[1]


async def test_the_journal_goes_on_where_it_was_when_opened_again(url, clock, samples):
    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:
        first = await journal.append("t", samples.event())
    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:
        assert await journal.append("t", samples.event()) > first


async def test_whatever_waits_is_committed_together(path, clock, samples):
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        before = journal.groups_committed
        gate = threading.Event()
        held_up = asyncio.create_task(journal._writer.call(lambda _: gate.wait(10)))
        appends = [asyncio.create_task(journal.append("t", samples.event())) for _ in range(300)]
        await asyncio.sleep(0)  # all of them are in the queue now
        gate.set()
        rows = await asyncio.gather(*appends)
        assert await held_up
        assert journal.groups_committed - before <= 2
    assert rows == sorted(set(rows))


async def test_more_callers_than_places_wait_their_turn_and_all_get_through(path, clock, samples):
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        rows = await asyncio.gather(*(journal.append("t", samples.event()) for _ in range(2500)))
    assert len(set(rows)) == 2500


async def test_a_wrong_message_fails_alone_in_its_group(url, clock, samples):
    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:
        appends = [journal.append(topic, samples.event()) for topic in ("a", "lone surrogate \ud800", "c")]
        good, wrong, also_good = await asyncio.gather(*appends, return_exceptions=True)
        assert isinstance(wrong, ContractViolation)
        with JournalReader(url) as reader:
            assert [entry.row for entry in reader.messages()] == [good, also_good]


async def test_a_cancelled_caller_disturbs_nobody(path, clock, samples):
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        gate = threading.Event()
        held_up = asyncio.create_task(journal._writer.call(lambda _: gate.wait(10)))
        given_up = asyncio.create_task(journal.append("t", samples.event()))
        await asyncio.sleep(0)
        given_up.cancel()
        gate.set()
        await held_up
        assert await journal.append("t", samples.event()) > 0
    assert given_up.cancelled()


async def test_every_commit_is_made_durable_and_readers_never_wait(path, clock):
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        settings = [
            await journal._writer.call(lambda database, name=name: database.execute(f"PRAGMA {name}"))
            for name in ("synchronous", "journal_mode")
        ]
    assert settings == [[(2,)], [("wal",)]]  # 2 is FULL


# --- the outbox ---


async def test_the_outbox_hands_out_what_was_not_confirmed_oldest_first(url, clock, samples):
    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:
        rows = [await journal.append(f"topic/{number}", samples.event()) for number in range(5)]
        assert [item.row for item in await journal.pending(3)] == rows[:3]
        await journal.sent(rows[1:3])
        await journal.sent([])
    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:  # over a restart
        assert [item.row for item in await journal.pending(10)] == [rows[0], *rows[3:]]
        await journal.sent([item.row for item in await journal.pending(10)])
        assert await journal.pending(10) == []


async def test_the_outbox_gives_each_message_as_it_goes_on_the_wire(path, clock, samples):
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        event = samples.event()
        await journal.append("a/topic", event)
        (item,) = await journal.pending(10)
    assert item.topic == "a/topic"
    assert item.payload == encode(event)


async def test_benches_in_one_journal_have_each_its_own_outbox(url, clock, samples):
    async with (
        await Journal.open(url, bench="bench-1", clock=clock) as one,
        await Journal.open(url, bench="bench-2", clock=clock) as two,
    ):
        row_1, row_2 = await asyncio.gather(one.append("t", samples.event()), two.append("t", samples.event()))
        assert [item.row for item in await one.pending(10)] == [row_1]
        assert [item.row for item in await two.pending(10)] == [row_2]
        with JournalReader(url, bench="bench-2") as reader:
            assert [entry.row for entry in reader.messages()] == [row_2]


# --- frames ---


def samples_in(url: str | Path) -> int:
    with JournalReader(url) as reader:
        return sum(len(chunk) for chunk in reader.frames())


async def written(journal: Journal) -> None:
    """Wait until the writer has done what was handed to it so far; gathered frames stay where they are."""
    await journal._writer.call(lambda _: None)


async def test_frames_are_written_together_after_a_second(path, clock, samples):
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        for number in range(1, 11):
            journal.append_frame(samples.frame(number), "run-1")
        await clock.run_for(0.9)
        await written(journal)
        assert samples_in(path) == 0
        await clock.run_for(0.2)
        await written(journal)
        with JournalReader(path) as reader:
            (chunk,) = reader.frames()
    assert len(chunk) == 40
    assert (chunk.first_number, chunk.last_number, chunk.run, chunk.instrument) == (1, 10, "run-1", "supply")


async def test_a_great_many_samples_are_written_without_waiting_for_the_second(path, clock, samples):
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        journal.append_frame(samples.frame(1, count=20_000))
        for _ in range(10):
            await asyncio.sleep(0)
        await written(journal)
        assert samples_in(path) == 20_000


async def test_a_verdict_is_durable_only_with_the_frames_it_rests_on(url, clock, samples):
    async with await Journal.open(url, bench=BENCH, clock=clock) as journal:
        journal.append_frame(samples.frame(1), "run-1")
        await journal.append(samples.topic("run-1"), samples.event())
        assert samples_in(url) == 0  # an event does not hurry them
        await journal.append(samples.topic("run-1", "verdict"), samples.verdict())
        assert samples_in(url) == 4


async def test_flush_and_close_write_what_is_held(url, clock, samples):
    journal = await Journal.open(url, bench=BENCH, clock=clock)
    journal.append_frame(samples.frame(1))
    await journal.flush()
    assert samples_in(url) == 4
    journal.append_frame(samples.frame(2))
    await journal.close()
    assert samples_in(url) == 8


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"t_s": []}, "columns differ in length or are empty"),
        ({"half_width_s": [0.1]}, "columns differ in length or are empty"),
        ({"signals": {"voltage": [1.0], "current": [1.0] * 4}}, "columns differ in length or are empty"),
        ({"units": {"voltage": "V"}}, "each signal needs its unit"),
        ({"start": "yesterday"}, "no such time"),
        ({"t_s": [0.0, 1.0, 2.0, float("inf")]}, "no such time"),
    ],
)
async def test_a_frame_that_does_not_hold_together_is_refused_at_once(path, clock, samples, changes, says):
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        with pytest.raises(ContractViolation, match=says):
            journal.append_frame(samples.frame(1, **changes))
        journal.append_frame(samples.frame(2))
    assert samples_in(path) == 4


async def test_the_oldest_frames_are_given_up_when_too_many_are_held(path, clock, samples, monkeypatch):
    monkeypatch.setattr(gathering_module, "_MAX_HELD_SAMPLES", 100)
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        for number in range(1, 31):
            journal.append_frame(samples.frame(number))
        assert "5 frames were given up" in journal.health
    with JournalReader(path) as reader:
        (chunk,) = reader.frames()
    assert (chunk.first_number, chunk.last_number) == (6, 30)


# --- what it costs, and its end ---


async def test_a_closed_journal_takes_nothing_more(path, clock, samples):
    journal = await Journal.open(path, bench=BENCH, clock=clock)
    await journal.close()
    await journal.close()
    with pytest.raises(JournalUnavailable, match="closed"):
        await journal.append("t", samples.event())
    with pytest.raises(JournalUnavailable, match="closed"):
        journal.append_frame(samples.frame(1))


async def test_opening_and_closing_leaves_no_thread_or_file_behind(path, clock, samples):
    async def once() -> None:
        async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
            journal.append_frame(samples.frame(1))
            await journal.append("t", samples.event())

    await once()
    files, threads = _open_files(), _writer_threads()  # a writer of another test's may still be ending
    for _ in range(20):
        await once()
    assert _open_files() == files
    assert _writer_threads() <= threads


def _open_files() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def _writer_threads() -> set[threading.Thread]:
    return {thread for thread in threading.enumerate() if thread.name == "journal-writer"}


def test_importing_the_journal_is_cheap():
    heavy = "{'numpy', 'sqlite3', 'psycopg', 'pyarrow', 'pint', 'sqlalchemy'}"
    check = f"import sys, wakerail.journal; print(*{heavy} & sys.modules.keys())"
    assert subprocess.run([sys.executable, "-c", check], capture_output=True, text=True, check=True).stdout == "\n"


async def test_health_says_that_all_is_well(path, clock, samples):
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        assert journal.health == "written and durable"


async def test_health_names_a_write_that_hangs(path, clock, samples):
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        begun, gate = threading.Event(), threading.Event()

        def hang(_: object) -> None:
            begun.set()
            gate.wait(10)

        hanging = asyncio.create_task(journal._writer.call(hang))
        await asyncio.to_thread(begun.wait, 10)
        clock.advance(12)
        assert "under way for 12 s" in journal.health
        gate.set()
        await hanging
        assert journal.health == "written and durable"


async def test_what_was_decided_by_an_older_state_is_not_kept(url, clock, samples):
    """Of two benches, whichever writes first; what names something else, or came before, keeps nothing out."""
    async with (
        await Journal.open(url, bench="bench-1", clock=clock) as first,
        await Journal.open(url, bench="bench-2", clock=clock) as second,
    ):
        before = await first.append("a", samples.started("run-1"))
        pair = [samples.event("run-2"), samples.event("run-2")]
        rows = await second.append_unless_later("b", pair, naming='"job":"j-1"', after=before)
        assert rows is not None
        assert before < rows[0] < rows[1]
        later = await second.append("a", samples.started("run-3"))
        wanted = [samples.event("run-4")]
        assert await first.append_unless_later("b", wanted, naming='"job":"j-1"', after=before) is None
        assert await first.append_unless_later("b", wanted, naming='"job":"j-10"', after=before) == [later + 1]
        assert await first.append_unless_later("b", [], naming='"job":"j-1"', after=later) == []
    with JournalReader(url) as reader:
        assert reader.last_row() == later + 1
        assert [entry.row for entry in reader.messages()] == [before, *rows, later, later + 1]
