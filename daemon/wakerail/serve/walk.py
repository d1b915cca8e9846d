"""What is done when the worker has died: the walk over the instruments, and the record of it.

It is the work of a child of the supervisor: whatever a driver does, hang or crash, ends with that child.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Iterable

import structlog
from msgspec import Struct, json

from wakerail.config import BenchConfig
from wakerail.journal import Journal
from wakerail.serve.safe_state import make_safe
from wakerail_kit import topics
from wakerail_kit.clock import Clock
from wakerail_kit.errors import WakerailError
from wakerail_kit.events import EventData, MadeSafe, WorkerDied, make_event
from wakerail_kit.messages import Event, SafeState

log = structlog.get_logger()


class Note(Struct, frozen=True):
    """An event that belongs into the journal, with its topic. Kept twice it is there once, by its id."""

    topic: str
    event: Event


class Report(Struct, frozen=True):
    """What the walk tells the supervisor: how the instruments were seen, and what the next worker is to record."""

    states: list[SafeState]
    notes: list[Note]


def walk(config: BenchConfig, clock: Clock, how: str, line: socket.socket) -> int:
    """Switch everything off, report it, and put it into the journal if that can be opened. The exit code is 0."""
    report = switch_off(config, clock, how)
    line.sendall(json.encode(report))
    line.shutdown(socket.SHUT_WR)
    try:
        asyncio.run(_record(config, clock, report.notes))
    except WakerailError as wrong:
        log.error("not in the journal yet; the next worker tries again", bench=config.name, why=str(wrong))
    return 0


def switch_off(config: BenchConfig, clock: Clock, how: str) -> Report:
    """Put every instrument into its safe state, and return how each was seen and what is to be recorded of it."""
    states = make_safe(config.instruments, clock)
    return Report(states, list(_notes(config.name, clock, how, states)))


def _notes(bench: str, clock: Clock, how: str, states: Iterable[SafeState]) -> Iterable[Note]:
    def note(owner: str, data: EventData) -> Note:
        event = make_event(data, clock=clock, bench=bench, owner=owner)
        return Note(topics.instrument(bench, owner, "event"), event)

    walked = [state for state in states if state.can_hurt]
    yield note(topics.DAEMON, WorkerDied(how=how, not_reached=[state.instrument for state in walked if not state.safe]))
    for state in walked:
        yield note(state.instrument, MadeSafe(instrument=state.instrument, reached=state.safe, why=state.says))


async def _record(config: BenchConfig, clock: Clock, notes: Iterable[Note]) -> None:
    async with await Journal.open(config.journal, bench=config.name, clock=clock) as journal:
        for note in notes:
            await journal.append(note.topic, note.event)
