"""Frames gathered in memory and written about once a second, many in a chunk."""

from __future__ import annotations

import asyncio
from collections import deque
from contextlib import suppress
from datetime import datetime, timedelta
from typing import NamedTuple

from wakerail.journal.database import Database
from wakerail.journal.errors import JournalUnavailable
from wakerail.journal.schema import INSERT_CHUNK
from wakerail.journal.writer import Writer
from wakerail_kit.clock import Clock, rfc3339
from wakerail_kit.errors import ContractViolation, WakerailError
from wakerail_kit.messages import Frame

_INTERVAL_S = 1.0
_FULL_SAMPLES = 16_384
_MAX_HELD_SAMPLES = 500_000


class HeldFrame(NamedTuple):
    """A frame on its way into the journal, with the run it belongs to and the civil times of its ends."""

    frame: Frame
    run: str | None
    first: datetime
    last: datetime


class FrameGatherer:
    """Takes frames at once and writes them later.

    While the journal cannot be written, frames are held, at most ``_MAX_HELD_SAMPLES`` samples; beyond that the oldest
    are given up and counted in ``lost_frames``.
    """

    def __init__(self, writer: Writer, clock: Clock) -> None:
        self._writer = writer
        self._clock = clock
        self._held: deque[HeldFrame] = deque()
        self._held_samples = 0
        self._waiting = asyncio.Event()
        self._full = asyncio.Event()
        self._writing = asyncio.Lock()
        self._task = asyncio.create_task(self._write_on_time(), name="journal-frames")
        self._closed = False
        self.lost_frames = 0

    @property
    def held_frames(self) -> int:
        """How many frames wait to be written."""
        return len(self._held)

    def append(self, frame: Frame, run: str | None) -> None:
        """Take a frame. Raises ContractViolation if its columns do not fit together, JournalUnavailable once closed."""
        if self._closed:
            raise JournalUnavailable("the journal is closed")
        before = self._held_samples
        self._held.append(hold(frame, run))
        self._held_samples += len(frame.t_s)
        self._give_up_oldest()
        self._waiting.set()
        if before < _FULL_SAMPLES <= self._held_samples:
            self._full.set()

    async def write(self) -> None:
        """Make every frame taken so far durable. Raises JournalUnavailable; the frames are then kept."""
        # Shielded: a caller who is cancelled must not take frames along that are already on their way.
        await asyncio.shield(asyncio.create_task(self._write(), name="journal-write-frames"))

    async def close(self) -> None:
        """Write what is held and end. Raises JournalUnavailable, and has ended all the same."""
        self._closed = True
        try:
            await self.write()
        finally:
            self._task.cancel()
            await asyncio.wait([self._task])

    async def _write(self) -> None:
        async with self._writing:
            frames, samples = self._held, self._held_samples
            self._held, self._held_samples = deque(), 0
            self._waiting.clear()
            self._full.clear()
            if not frames:
                return
            try:
                await self._writer.call(lambda database: _insert(database, frames))
            except JournalUnavailable:
                self._held.extendleft(reversed(frames))
                self._held_samples += samples
                self._give_up_oldest()
                self._waiting.set()
                raise
            except ContractViolation:  # a programmer's mistake in one of them; held on to, it would come back for ever
                self.lost_frames += len(frames)
                raise

    async def _write_on_time(self) -> None:
        while True:
            await self._waiting.wait()
            due = [asyncio.ensure_future(self._clock.sleep(_INTERVAL_S)), asyncio.ensure_future(self._full.wait())]
            try:
                await asyncio.wait(due, return_when=asyncio.FIRST_COMPLETED)
            finally:
                for waiter in due:
                    waiter.cancel()
            with suppress(WakerailError):  # the journal's health says so, and the next second tries again
                await self.write()

    def _give_up_oldest(self) -> None:
        while self._held_samples > _MAX_HELD_SAMPLES:
            self._held_samples -= len(self._held.popleft().frame.t_s)
            self.lost_frames += 1


def hold(frame: Frame, run: str | None) -> HeldFrame:
    """Check a frame on its way in. Raises ContractViolation if its columns do not fit together, or its times."""
    lengths = {len(frame.t_s), len(frame.half_width_s), *(len(column) for column in frame.signals.values())}
    if lengths != {len(frame.t_s)} or not frame.t_s:
        raise ContractViolation(
            f"frame {frame.number} of {frame.instrument}: its columns differ in length or are empty"
        )
    if frame.units.keys() != frame.signals.keys():
        raise ContractViolation(f"frame {frame.number} of {frame.instrument}: each signal needs its unit")
    try:
        first = datetime.fromisoformat(frame.start)
        last = first + timedelta(seconds=frame.t_s[-1] - frame.t_s[0])
        rfc3339(first), rfc3339(last)
    except (ValueError, OverflowError) as wrong:
        raise ContractViolation(f"frame {frame.number} of {frame.instrument}: no such time: {wrong}") from wrong
    return HeldFrame(frame, run, first, last)


def _insert(database: Database, frames: deque[HeldFrame]) -> None:
    from wakerail.journal.chunks import pack  # noqa: PLC0415  numpy is not to slow the daemon's start

    for row in pack(frames):
        database.execute(INSERT_CHUNK, row)
