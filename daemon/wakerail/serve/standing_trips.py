"""Which interlocks stood tripped when the last worker ended: a trip outlives it, until a person resets it."""

from __future__ import annotations

import contextlib

from wakerail.journal import JournalReader
from wakerail_kit.errors import WakerailError
from wakerail_kit.events import InterlockReset, InterlockTripped, read_event, type_of
from wakerail_kit.messages import Event


def standing_trips(journal: str, bench: str) -> dict[str, InterlockTripped]:
    """Return the newest trip of each instrument that nobody has reset, by its name; none from a journal unread."""
    newest: dict[str, tuple[int, InterlockTripped]] = {}
    with contextlib.suppress(WakerailError), JournalReader(journal, bench=bench) as reader:
        for entry in reader.events(type=type_of(InterlockTripped)):
            if isinstance(entry.message, Event) and (trip := read_event(entry.message, InterlockTripped)) is not None:
                newest[trip.instrument] = entry.row, trip
        for entry in reader.events(type=type_of(InterlockReset)):
            if isinstance(entry.message, Event) and (reset := read_event(entry.message, InterlockReset)) is not None:
                row, _ = newest.get(reset.instrument, (entry.row, None))
                if entry.row > row:
                    del newest[reset.instrument]
    return {instrument: trip for instrument, (_, trip) in newest.items()}
