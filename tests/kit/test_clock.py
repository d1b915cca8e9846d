"""The simulated clock stands still until it is advanced, and wakes sleepers at their own moments."""

from __future__ import annotations

import asyncio
import threading

from wakerail_kit.clock import SimulatedClock


async def test_sleepers_wake_in_order_at_their_own_moments() -> None:
    clock = SimulatedClock()
    woken: list[tuple[str, float]] = []

    async def sleeper(name: str, delay_s: float) -> None:
        await clock.sleep(delay_s)
        woken.append((name, clock.monotonic_s()))

    async with asyncio.TaskGroup() as group:
        group.create_task(sleeper("late", 3600.0))
        group.create_task(sleeper("early", 1.5))
        await clock.run_for(7200.0)
    assert woken == [("early", 1.5), ("late", 3600.0)]
    assert clock.monotonic_s() == 7200.0


def test_a_thread_waits_for_the_clock_or_its_event() -> None:
    clock = SimulatedClock()
    results: list[bool] = []
    event = threading.Event()
    thread = threading.Thread(target=lambda: results.append(clock.wait(event, 10.0)))
    thread.start()
    while clock.next_due_s() is None:  # until the thread has put itself to sleep
        threading.Event().wait(0.001)
    clock.advance(10.0)
    thread.join(5.0)
    assert results == [False]
    event.set()
    assert clock.wait(event, 10.0)
