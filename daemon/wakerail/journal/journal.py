"""The journal's write side, in the daemon: append and be durable, gather frames, keep the outbox."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Self

from wakerail.journal import schema
from wakerail.journal.database import LOCK_TIMEOUT_S, Database, insert, open_database
from wakerail.journal.gathering import FrameGatherer
from wakerail.journal.records import Message, OutboxItem, record_of
from wakerail.journal.writer import Writer
from wakerail_kit.clock import Clock
from wakerail_kit.messages import Frame, Verdict


class Journal:
    """Append-only record of a bench, and the outbox of what the broker has not confirmed yet.

    Made by ``open``; used from the event loop's thread. What ``append`` has returned survives a killed process and a
    loss of power. It is an asynchronous context manager that closes itself.
    """

    def __init__(self, url: str, bench: str, writer: Writer, frames: FrameGatherer) -> None:
        self.url = url
        self._bench = bench
        self._writer = writer
        self._frames = frames

    @classmethod
    async def open(
        cls, url: str | os.PathLike[str], *, bench: str, clock: Clock, lock_timeout_s: float = LOCK_TIMEOUT_S
    ) -> Self:
        """Open the journal at a file's path, ``sqlite:///path`` or ``postgresql://...``, creating it where none is.

        ``lock_timeout_s`` is how long a write waits for another program that holds the journal. Raises ConfigInvalid
        for what is no journal, is damaged, comes from a newer Wakerail or cannot be written; JournalUnavailable if it
        is locked or away just now.
        """
        place = os.fspath(url)
        writer = Writer(lambda: open_database(place, write=True, lock_timeout_s=lock_timeout_s), clock)
        await writer.start()
        return cls(place, bench, writer, FrameGatherer(writer, clock))

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.close()

    async def append(self, topic: str, message: Message) -> int:
        """Keep an event, prompt or verdict and return its row, once it is durable.

        A message already there by its id is not kept twice: its row is returned. Before a verdict, all frames taken so
        far are made durable, so that its evidence is. Raises JournalUnavailable: the message is not in the journal.
        """
        record = record_of(topic, message, self._bench)
        if isinstance(message, Verdict):
            await self._frames.write()
        return await self._writer.call(lambda database: insert(database, record))

    async def append_first(self, topic: str, message: Message, *, naming: str) -> int | None:
        """Keep a message as ``append`` does, but only the first of its type whose JSON has the text ``naming``.

        Return None, and keep nothing, if there is one of any bench: of two writers at once, one is the first.
        """
        record = record_of(topic, message, self._bench)
        return await self._writer.call(lambda database: _insert_first(database, record, naming))

    async def append_unless_later(
        self, topic: str, messages: Sequence[Message], *, naming: str, after: int
    ) -> list[int] | None:
        """Keep messages together and return their rows, unless a message after row ``after`` has the text ``naming``.

        Return None, and keep nothing, if there is one of any bench: what these were decided by is no longer so. Raises
        JournalUnavailable: none of them is in the journal.
        """
        records = [record_of(topic, message, self._bench) for message in messages]
        return await self._writer.call(lambda database: _insert_unless_later(database, records, naming, after))

    def append_frame(self, frame: Frame, run: str | None = None) -> None:
        """Keep a frame, of a run if it belongs to one; durable about a second later.

        Never waits. Raises ContractViolation if the frame's columns do not fit together.
        """
        self._frames.append(frame, run)

    async def pending(self, limit: int) -> list[OutboxItem]:
        """Return the oldest messages of this bench, at most ``limit``, that the broker has not confirmed.

        Frames never wait here. Raises JournalUnavailable.
        """
        wanted = {"bench": self._bench, "limit": limit}
        rows = await self._writer.call(lambda database: database.execute(schema.UNSENT_MESSAGES, wanted))
        return [OutboxItem(row, topic, payload.encode()) for row, topic, payload in rows]

    async def sent(self, rows: Sequence[int]) -> None:
        """Take messages out of the outbox: the broker has confirmed them. Raises JournalUnavailable."""
        if rows:
            await self._writer.call(lambda database: _mark_sent(database, rows))

    async def flush(self) -> None:
        """Make durable whatever was handed in so far, frames too. Raises JournalUnavailable."""
        await self._frames.write()
        await self._writer.call(lambda _: None)

    async def close(self) -> None:
        """Write what is held and let go of the journal. Raises JournalUnavailable if frames could not be written."""
        try:
            await self._frames.close()
        finally:
            await self._writer.stop()

    @property
    def groups_committed(self) -> int:
        """How many transactions were committed; many appends share one."""
        return self._writer.groups_committed

    @property
    def health(self) -> str:
        """How the journal does, in words for a person."""
        stuck_for_s, failing = self._writer.stuck_for_s, self._writer.failing
        if stuck_for_s is not None:
            says = f"a write has been under way for {stuck_for_s:.0f} s; the disk may be failing"
        elif failing is not None:
            says = f"cannot be written ({failing}); {self._frames.held_frames} frames wait in memory"
        else:
            says = "written and durable"
        lost = self._frames.lost_frames
        return says + (f"; {lost} frames were given up since the start" if lost else "")


def _insert_first(database: Database, record: dict[str, str | None], naming: str) -> int | None:
    wanted = {"type": record["type"], "containing": schema.pattern(naming), "but": record["id"]}
    return None if database.execute(schema.LIKE_MESSAGE, wanted) else insert(database, record)


def _insert_unless_later(
    database: Database, records: Sequence[dict[str, str | None]], naming: str, after: int
) -> list[int] | None:
    wanted = {"containing": schema.pattern(naming), "after": after}
    if database.execute(schema.LATER_MESSAGE, wanted):
        return None
    return [insert(database, record) for record in records]


def _mark_sent(database: Database, rows: Sequence[int]) -> None:
    for row in rows:
        database.execute(schema.MARK_SENT, {"row": row})
