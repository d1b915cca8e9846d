"""What the journal hands out: its messages with their place in it, the outbox's items, a run in short."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import msgspec

from wakerail_kit.messages import Event, Prompt, Verdict
from wakerail_kit.outcome import Finding, Outcome

#: What is kept as a message; frames are kept packed, as chunks.
Message = Event | Prompt | Verdict

PROMPT = "prompt"
VERDICT = "verdict"


class Entry(NamedTuple):
    """A message in the journal: its row (rising, never used twice), the topic it went out on, and itself."""

    row: int
    topic: str
    message: Message


@dataclass(frozen=True, slots=True)
class OutboxItem:
    """A durable message that the broker has not confirmed yet. ``payload`` is its JSON."""

    row: int
    topic: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class RunSummary:
    """A run in short. Times are RFC 3339 in UTC; what is None is not known, or not yet.

    ``first_row`` and ``last_row`` are its first and last message in the journal. ``cut_off``: it has no verdict and
    will get none, since the daemon's worker died after it began.
    """

    run: str
    bench: str
    first_row: int
    last_row: int
    sequence: str
    started: str
    ended: str | None = None
    outcome: Outcome | None = None
    finding: Finding | None = None
    reason: str = ""
    job: str | None = None
    operator: str = ""
    verdict: str | None = None
    cut_off: bool = False


def type_of(message: Message) -> str:
    """Return what a message is filed under: an event's CloudEvents type, ``prompt`` or ``verdict``."""
    match message:
        case Event():
            return message.type
        case Prompt():
            return PROMPT
        case Verdict():
            return VERDICT


def run_of(message: Message) -> str | None:
    """Return the run that a message belongs to."""
    return message.runid if isinstance(message, Event) else message.run


def time_of(message: Message) -> str:
    """Return when a message came about; of a verdict, when its run ended."""
    return message.ended if isinstance(message, Verdict) else message.time


def bench_of(message: Message) -> str:
    """Return the bench that a message came from; an event's source is ``/wakerail/<bench>/<owner>``."""
    if isinstance(message, Event):
        return "".join(message.source.split("/")[2:3])
    return message.bench


def record_of(topic: str, message: Message, bench: str) -> dict[str, str | None]:
    """Return a message as the row of the journal that it becomes."""
    return {
        "id": message.id,
        "bench": bench,
        "run": run_of(message),
        "type": type_of(message),
        "time": time_of(message),
        "topic": topic,
        "payload": msgspec.json.encode(message).decode(),
    }


def decode(type_name: str, payload: str) -> Message:
    """Return the message whose JSON was filed under ``type_name``."""
    kinds: dict[str, type[Message]] = {PROMPT: Prompt, VERDICT: Verdict}
    return msgspec.json.decode(payload, type=kinds.get(type_name, Event))
