"""The bench as a whole: the walk to the safe state, claims, and keeping before telling."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from wakerail.bench import Bench
from wakerail.bus import Bus
from wakerail.config import BenchConfig, InstrumentConfig
from wakerail.journal import Journal, JournalReader
from wakerail_kit import topics
from wakerail_kit.clock import RealClock
from wakerail_kit.errors import DeviceRefused
from wakerail_kit.events import SettingApplied, type_of
from wakerail_kit.hooks import InstrumentType
from wakerail_kit.kinds import POWER_SOURCE, Reading
from wakerail_kit.messages import Identity, InstrumentState, Status


class Supply:
    """A supply that is safe as soon as it was told; ``trouble`` is what making it safe does instead."""

    waits = False

    def __init__(self, trouble=lambda: None) -> None:
        self.trouble = trouble
        self.on = True
        self.opened = 0

    def open(self) -> Identity:
        self.opened += 1
        return Identity(text="scripted")

    def read(self) -> Reading:
        samples = {name: [0.0] for name in POWER_SOURCE.signals}
        return Reading(signals=samples)

    def make_safe(self) -> None:
        if self.opened and self.on is None:
            self.trouble()
        self.on = False

    def faults(self) -> list[object]:
        return []

    def close(self) -> None: ...

    def set_voltage_v(self, voltage_v: float) -> None: ...

    def set_output(self, on: bool) -> None:
        self.on = on


@asynccontextmanager
async def bench_of(folder: Path, **supplies: Supply) -> AsyncIterator[Bench]:
    clock = RealClock()
    journal_file = folder / "journal.sqlite"
    config = BenchConfig(
        file=folder / "bench.yaml",
        name="bench-1",
        broker_url=None,
        broker_port=0,
        journal=str(journal_file),
        files=None,
        sequences=folder,
        devices=folder,
        families=(),
        instruments=tuple(
            InstrumentConfig(
                name,
                InstrumentType("scripted", POWER_SOURCE, "", lambda *_, supply=supply: supply),
                supply,
                "nowhere",
                "",
                100.0,
                {"volts": 5.0, "limit": 3.0},
            )
            for name, supply in supplies.items()
        ),
    )
    journal = await Journal.open(str(journal_file), bench="bench-1", clock=clock)
    bus = Bus()
    ready: asyncio.Queue[str] = asyncio.Queue()

    def note(_: str, status: object) -> None:
        if isinstance(status, Status) and status.state is InstrumentState.READY:
            ready.put_nowait(status.instrument)

    bus.subscribe(f"{topics.ROOT}/bench-1/+/status", note)
    bench = Bench(config, clock, bus, journal)
    try:
        async with bench.hosting():
            async with asyncio.timeout(5):
                for _ in supplies:
                    await ready.get()
            yield bench
    finally:
        await journal.close()


async def test_one_that_raises_and_one_that_hangs_keep_no_other_from_being_made_safe(tmp_path: Path) -> None:
    hold = threading.Event()

    def raise_() -> None:
        raise ZeroDivisionError("a slip of the plugin")

    raising, hanging, sound = Supply(raise_), Supply(lambda: hold.wait(20)), Supply()
    async with bench_of(tmp_path, raising=raising, hanging=hanging, sound=sound) as bench:
        raising.on = hanging.on = None
        sound.on = True
        reached = await bench.make_safe()
        hold.set()
        raising.on = True  # so that leaving the bench can make it safe
    assert reached == {"raising": False, "hanging": False, "sound": True}
    assert sound.on is False


async def test_an_instrument_serves_one_run_at_a_time(tmp_path: Path) -> None:
    async with bench_of(tmp_path, supply=Supply()) as bench:
        with bench.claim("run-1", ["supply"]):
            with pytest.raises(DeviceRefused, match="supply is in use by run run-1"), bench.claim("run-2", ["supply"]):
                pytest.fail("two runs have one supply")
            assert bench.instruments["supply"].claimed_by == "run-1"
        assert bench.instruments["supply"].claimed_by is None


async def test_what_happens_is_in_the_journal_before_it_is_told(tmp_path: Path) -> None:
    in_journal_when_told: list[bool] = []
    async with bench_of(tmp_path, supply=Supply()) as bench:
        reader = JournalReader(str(tmp_path / "journal.sqlite"))

        def look(_: str, event: object) -> None:
            kept = {entry.message.id for entry in reader.events()}
            in_journal_when_told.append(event.id in kept)

        bench.bus.subscribe(f"{topics.ROOT}/bench-1/supply/event", look)
        told: asyncio.Queue[object] = asyncio.Queue()
        bench.bus.subscribe(f"{topics.ROOT}/bench-1/supply/event", lambda _, event: told.put_nowait(event))
        await bench.instruments["supply"].apply("volts", 3.85, run="run-1")
        async with asyncio.timeout(5):
            while (event := await told.get()).type != type_of(SettingApplied):
                pass
        assert event.runid == "run-1"
    assert in_journal_when_told
    assert all(in_journal_when_told)


async def test_leaving_the_bench_switches_everything_off(tmp_path: Path) -> None:
    supply = Supply()
    async with bench_of(tmp_path, supply=supply) as bench:
        await bench.instruments["supply"].apply("output", True, run=None)
        assert supply.on is True
    assert supply.on is False
