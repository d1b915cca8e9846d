"""A killed daemon loses nothing that it announced."""

from __future__ import annotations

import random
import sqlite3
import subprocess
import sys

import pytest

from wakerail.journal import JournalReader

APPENDING = """
import asyncio, itertools, sys
from wakerail.journal import Journal
from wakerail_kit.clock import RealClock, rfc3339
from wakerail_kit.events import MadeSafe, make_event
from wakerail_kit.messages import Frame

async def main():
    clock = RealClock()
    journal = await Journal.open(sys.argv[1], bench="bench-1", clock=clock)

    async def keep_appending(owner):
        for number in itertools.count(1):
            frame = Frame(
                bench="bench-1", instrument=owner, number=number, start=rfc3339(clock.now()), t_s=[clock.monotonic_s()],
                half_width_s=[0.0], signals={"current": [0.1]}, units={"current": "A"},
            )
            journal.append_frame(frame)
            data = MadeSafe(instrument=owner, reached=True, why="x" * 300)
            event = make_event(data, clock=clock, bench="bench-1", owner=owner)
            row = await journal.append("t", event)
            print(row, event.id, flush=True)
            if number % 50 == 0:
                await journal.flush()
                print("frames", owner, number, flush=True)

    await asyncio.gather(*(keep_appending(f"supply-{number}") for number in range(4)))

asyncio.run(main())
"""


@pytest.mark.parametrize("attempt", range(3))
def test_whatever_was_announced_before_kill_9_is_in_the_journal(path, attempt):
    announced: dict[int, str] = {}
    frames: dict[str, int] = {}
    lines_to_see = random.randint(1, 900)  # the moment of death; pytest-randomly seeds it and says the seed
    with subprocess.Popen([sys.executable, "-c", APPENDING, path], stdout=subprocess.PIPE, text=True) as child:
        for line_number, line in enumerate(child.stdout, start=1):
            if line_number == lines_to_see:
                child.kill()  # and read on: what it said before it died counts
            match line.split():
                case ["frames", owner, number]:
                    frames[owner] = int(number)
                case [row, event_id] if line.endswith("\n"):
                    announced[int(row)] = event_id
    assert child.returncode == -9
    assert len(announced) + len(frames) > 0

    database = sqlite3.connect(path)
    assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    database.close()
    with JournalReader(path) as reader:
        kept = {entry.row: entry.message.id for entry in reader.messages()}
        last_frame = {chunk.instrument: chunk.last_number for chunk in reader.frames()}
    assert {row: kept.get(row) for row in announced} == announced
    assert all(last_frame[owner] >= number for owner, number in frames.items())
