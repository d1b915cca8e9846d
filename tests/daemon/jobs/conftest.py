"""Events of jobs, written into a real journal as benches write them."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AsyncExitStack
from datetime import UTC, datetime
from typing import Any

import pytest

from wakerail.jobs import JobBook
from wakerail.journal import Journal, JournalReader
from wakerail_kit import job_events, topics
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.event_data import EventData
from wakerail_kit.events import make_event
from wakerail_kit.job_events import Intake, JobOpened


class Shop:
    """Writes what happens to jobs, a minute apart; benches share one journal."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.clock = SimulatedClock(datetime(2026, 11, 26, 9, 0, tzinfo=UTC))

    async def happens(self, *data: EventData, bench: str = "bench-1", run: str | None = None) -> None:
        async with AsyncExitStack() as stack:
            journal = await stack.enter_async_context(await Journal.open(self.url, bench=bench, clock=self.clock))
            for one in data:
                self.clock.advance(60.0)
                name = getattr(one, "job", "")
                of_job = type(one).__module__ == job_events.__name__
                owner = "job" if of_job else "sequence"
                event = make_event(one, clock=self.clock, bench=bench, owner=owner, subject=name, run=run)
                topic = topics.job(bench, name) if of_job else topics.run(bench, run or "", "event")
                await journal.append(topic, event)

    async def opens(self, job: str, bench: str = "bench-1", **intake: str) -> None:
        told = Intake(**{"symptom": "restarts", **intake})
        await self.happens(JobOpened(job=job, family="fenmoor-t3", intake=told, operator="mara"), bench=bench)

    def ask(self, what: Callable[[JobBook], Any]) -> Any:
        """Ask the book something."""
        with JournalReader(self.url) as reader:
            return what(JobBook(reader))


@pytest.fixture
def shop(url: str) -> Shop:
    return Shop(url)
