"""Awaiting with a limit on the bench's own clock, so that nothing that hangs can hold up the safe state."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import Any, TypeVar

from wakerail_kit.clock import Clock
from wakerail_kit.errors import DeviceUnavailable

_T = TypeVar("_T")
_left_behind: set[asyncio.Task[Any]] = set()


async def within(clock: Clock, limit_s: float, work: Coroutine[Any, Any, _T], what: str) -> _T:
    """Await ``work`` for at most ``limit_s`` seconds of ``clock``.

    Work that is late is cancelled and left behind, not waited for: it may hang in its cancellation, too.
    Raises DeviceUnavailable, naming ``what``, when the work is late or was given up by others.
    """
    task = asyncio.ensure_future(work)
    timer = asyncio.ensure_future(clock.sleep(limit_s))
    try:
        await asyncio.wait({task, timer}, return_when=asyncio.FIRST_COMPLETED)
    finally:
        timer.cancel()
        leave_behind(task)
    if not task.done():
        raise DeviceUnavailable(f"{what}: not done within {limit_s:g} s")
    if task.cancelled():
        raise DeviceUnavailable(f"{what}: given up")
    return task.result()


def leave_behind(task: asyncio.Task[Any]) -> None:
    """Cancel a task without waiting for it; hold on to it until it has ended, and take note of how it did."""
    task.cancel()
    _left_behind.add(task)
    task.add_done_callback(_forget)


def _forget(task: asyncio.Task[Any]) -> None:
    _left_behind.discard(task)
    if not task.cancelled():
        task.exception()  # marks it as seen; whoever awaited it has had it


async def outlast(task: asyncio.Task[Any]) -> bool:
    """Await a task to its end even while being cancelled; return True if a cancellation came meanwhile.

    Whatever the task raised stays in the task.
    """
    cancelled = False
    while not task.done():
        try:
            await asyncio.wait({task})
        except asyncio.CancelledError:
            cancelled = True
    return cancelled
