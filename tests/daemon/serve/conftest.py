"""A bench without instruments that takes requests about jobs, on a real journal."""

from __future__ import annotations

import itertools
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec
import pytest

from wakerail.bench import Bench
from wakerail.bus import Bus, Requests
from wakerail.config import BenchConfig, shipped
from wakerail.journal import Journal
from wakerail.serve.admission import admitted
from wakerail.serve.job_desk import JobDesk
from wakerail.serve.job_files import JobFiles
from wakerail.serve.plan_desk import PlanDesk
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.errors import WakerailError
from wakerail_kit.families import load_families
from wakerail_kit.messages import Answer, Event

OpenDesk = Callable[..., AbstractAsyncContextManager["Desk"]]


class Refused(WakerailError):
    """What the desk refused, in its one line."""


class Desk:
    """Asks a bench as its clients do; keeps what the bench announces."""

    Refused = Refused

    def __init__(
        self, bench: str, requests: Requests, bus: Bus, clock: SimulatedClock, running: dict[str, list[str]]
    ) -> None:
        self.bench = bench
        self.clock = clock
        self.running = running  # by job, the runs in progress
        self.announced: list[tuple[str, Event, int | None]] = []
        self._requests = requests
        self._numbers = itertools.count()
        bus.follow("#", lambda news: self.announced.append((news.topic, news.message, news.row)))

    async def __call__(self, verb: str, **args: Any) -> Any:
        """Ask, and return the answer's data. Raises Refused."""
        self.clock.advance(60.0)
        ask = {"id": str(next(self._numbers)), "reply_to": topics.answer(self.bench, "test"), "args": args}
        answered = await self._requests.answer(topics.ask(self.bench, verb), msgspec.json.encode(ask))
        assert answered is not None
        answer = msgspec.json.decode(msgspec.json.encode(answered[1]), type=Answer)
        if answer.ok:
            return answer.data
        assert (answer.exit_code, "\n" in answer.says) == (2, False), answer
        raise Refused(answer.says)

    async def opens(self, ticket: str = "T-114", **args: Any) -> str:
        answer = await self("job-open", **{"family": "fenmoor-t3", "symptom": "restarts", "ticket": ticket, **args})
        return str(answer["job"])


@pytest.fixture
def desk_of(url: str, tmp_path: Path) -> OpenDesk:
    """Open the desk of a bench; benches share the journal and, unless given another, the folder of files."""
    return _desks(url, tmp_path)


def _desks(url: str, tmp_path: Path) -> OpenDesk:
    devices = shipped("devices")
    clock = SimulatedClock(datetime(2026, 11, 26, 9, 0, tzinfo=UTC))

    @asynccontextmanager
    async def open_(bench: str = "bench-1", files: str = "files") -> AsyncIterator[Desk]:
        config = BenchConfig(
            file=tmp_path / "bench.yaml",
            name=bench,
            broker_url=None,
            broker_port=0,
            journal=url,
            files=tmp_path / files if files else None,
            sequences=tmp_path,
            devices=devices,
            families=load_families(devices),
            instruments=(),
        )
        bus, requests = Bus(), Requests(admit=admitted)
        running: dict[str, list[str]] = {}
        async with await Journal.open(url, bench=bench, clock=clock) as journal:
            bench_ = Bench(config, clock, bus, journal)
            desk = JobDesk(bench_, url, devices)
            desk.handle(requests)
            PlanDesk(devices, desk).handle(requests)
            JobFiles(bench_, desk, url, config.files, lambda job: running.get(job, [])).handle(requests)
            yield Desk(bench, requests, bus, clock, running)

    return open_


@pytest.fixture
def sqlite_desk(path: Path, tmp_path: Path) -> OpenDesk:
    """The same on SQLite alone, for what no database has a part in."""
    return _desks(str(path), tmp_path)
