"""A trip outlives the worker: the next one reads it from the journal, and a person must still reset it."""

from __future__ import annotations

import asyncio
from pathlib import Path

from wakerail.journal import Journal
from wakerail.serve.standing_trips import standing_trips
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.events import EventData, InterlockReset, InterlockTripped, make_event

BENCH = "bench-1"


def trip(instrument: str, interlock: str) -> InterlockTripped:
    return InterlockTripped(
        instrument=instrument, interlock=interlock, says="it was so", value=None, limit=None, unit="1"
    )


def reset(instrument: str) -> InterlockReset:
    return InterlockReset(instrument=instrument, operator="ada")


async def keep(path: Path, *happened: EventData) -> None:
    clock = SimulatedClock()
    async with await Journal.open(str(path), bench=BENCH, clock=clock) as journal:
        for data in happened:
            name = str(data.instrument)  # type: ignore[attr-defined]
            event = make_event(data, clock=clock, bench=BENCH, owner=name)
            await journal.append(topics.instrument(BENCH, name, "event"), event)


async def test_the_newest_trip_of_each_instrument_stands_unless_it_was_reset(tmp_path: Path) -> None:
    file = tmp_path / "journal.sqlite"
    assert standing_trips(str(file), BENCH) == {}
    first, second, third = trip("plate", "unattended"), trip("plate", "no-rise"), trip("psu", "over-voltage")
    await keep(file, first, reset("plate"), third)
    assert await asyncio.to_thread(standing_trips, str(file), BENCH) == {"psu": third}
    await keep(file, second, reset("psu"))
    assert await asyncio.to_thread(standing_trips, str(file), BENCH) == {"plate": second}
    assert await asyncio.to_thread(standing_trips, str(file), "bench-2") == {}
