"""A bench in memory: instruments that do as a test says, a journal that is a list, the real bus, a simulated clock."""

from __future__ import annotations

import asyncio
import contextlib
import re
from collections.abc import Awaitable, Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import pytest
from structlog.testing import capture_logs

from wakerail.analysis.injection import Injected
from wakerail.bus import Bus
from wakerail.sequences import SequenceRun, make_plan, parse_sequence
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock, rfc3339
from wakerail_kit.errors import DeviceRefused
from wakerail_kit.events import (
    EventData,
    InstrumentLost,
    InterlockTripped,
    LineResult,
    MeterRead,
    PortTested,
    PresenceAsked,
    PromptAnswered,
    any_data,
    make_event,
)
from wakerail_kit.families import DeviceFamily
from wakerail_kit.kinds import HEAT_SOURCE, KINDS, MULTIMETER, POWER_SOURCE, Kind
from wakerail_kit.messages import Event, Frame, Identity, InstrumentState, Prompt, Verdict
from wakerail_sim.board import GROUND, TOGETHER
from wakerail_sim.faults import parse_fault
from wakerail_sim.noise import Noise
from wakerail_sim.plate import Plate
from wakerail_sim.ticks import steps_of
from wakerail_sim.world import World


@dataclass
class Recorded:
    event: Event
    row: int


#: How long a confirmation to be there holds.
ATTENDED_S = 180.0

#: What a test may do in place of an instrument or a journal: raise, hang, or nothing.
Trouble = Callable[[], Awaitable[None]]


async def hang() -> None:
    await asyncio.get_running_loop().create_future()


async def hang_hard() -> None:
    """Hang on although it was cancelled, as a thread in a driver does; the loop's own end is let through."""
    with contextlib.suppress(asyncio.CancelledError):
        await hang()
    await hang()


def raising(error: BaseException) -> Trouble:
    async def work() -> None:
        raise error

    return work


class FakeInstrument:
    """An instrument that keeps its settings. ``trouble`` is by setting, by test, or ``make_safe``."""

    driver = "fake-driver"
    dialect = "fake-dialect"
    calibrated = "2026-03-01"
    rate_hz = 20.0
    limits: Mapping[str, float] = {"temperature": 260.0}

    def __init__(self, bench: FakeBench, name: str, kind: Kind) -> None:
        self.bench, self.name, self.kind = bench, name, kind
        self.identity: Identity | None = Identity(text=f"Tarnfell,{name},0001,1.0", maker="Tarnfell")
        self.state = InstrumentState.READY
        self.words = "ready"
        self.settings: dict[str, float | bool] = {}
        self.trouble: dict[str, Trouble] = {}
        self.silent = False
        self.answers: list[list[LineResult]] = []
        self.made_safe = 0
        self.allowed: tuple[Injected, float] | None = None
        self.frames = 0
        #: volts, amps and limiting at a time, with the output on
        self.load: Callable[[float], tuple[float | None, float | None, float]] = lambda _: (3.85, 0.001, 0.0)

    @property
    def on(self) -> bool:
        return any(self.settings.get(name) is True for name, each in self.kind.settings.items() if each.energises)

    def allow(self, most: Injected, power_w: float) -> None:
        self.allowed = (most, power_w)

    async def apply(self, setting: str, value: float | bool, *, run: str | None) -> None:
        await self.bench.point(f"apply {self.name} {setting} {value}")
        if setting in self.trouble:
            await self.trouble[setting]()
        self.settings[setting] = value

    async def test(self, test: str, *, run: str | None) -> EventData:
        await self.bench.point(f"test {self.name} {test}")
        if test in self.trouble:
            await self.trouble[test]()
        lines = self.answers.pop(0)
        found = PortTested(instrument=self.name, passed=all(line.passed for line in lines), lines=lines, raw="raw")
        await self.bench.record(found, owner=self.name, run=run)
        return found

    async def make_safe(self) -> bool:
        self.made_safe += 1
        if "make_safe" in self.trouble:
            await self.trouble["make_safe"]()
        for name, setting in self.kind.settings.items():
            if setting.energises:
                self.settings[name] = False
        return True

    def frame(self) -> Frame:
        now_s = self.bench.clock.monotonic_s()
        volts, amps, limiting = self.load(now_s) if self.on else (0.0, 0.0, 0.0)
        signals: dict[str, list[float | None]] = (
            {"voltage": [volts], "current": [amps], "limiting": [limiting], "output": [float(self.on)]}
            if self.kind is POWER_SOURCE
            else {"temperature": [amps], "setpoint": [volts], "heater": [float(self.on)]}
        )
        self.frames += 1
        return Frame(
            bench=self.bench.name,
            instrument=self.name,
            number=self.frames,
            start=rfc3339(self.bench.clock.now()),
            t_s=[now_s],
            half_width_s=[0.0],
            signals=signals,
            units={name: self.kind.signals[name] for name in signals},
        )

    async def poll(self) -> None:
        while True:
            await self.bench.clock.sleep(1 / self.rate_hz)
            if not self.silent:
                self.bench.bus.publish(topics.instrument(self.bench.name, self.name, "frame"), self.frame())

    async def lose(self, why: str = "no answer") -> None:
        self.state, self.words = InstrumentState.UNAVAILABLE, why
        self.silent = True
        lost = InstrumentLost(instrument=self.name, state=self.state, why=why)
        await self.bench.record(lost, owner=self.name)

    async def trip(
        self, says: str = "4.9 V at the output, above the limit of 4.5 V", interlock: str = "over-voltage"
    ) -> None:
        self.state, self.words = InstrumentState.TRIPPED, f"{interlock}: {says}"
        for name, setting in self.kind.settings.items():
            if setting.energises:
                self.settings[name] = False
        tripped = InterlockTripped(instrument=self.name, interlock=interlock, says=says, value=4.9, limit=4.5, unit="V")
        await self.bench.record(tripped, owner=self.name)


class FakePlate(FakeInstrument):
    """A plate with the simulator's physics, on the bench's clock. ``show`` may change what its sensor gives."""

    rate_hz = 4.0

    async def poll(self) -> None:
        polling = asyncio.ensure_future(super().poll())
        try:
            while True:
                await self.bench.clock.sleep(1.0)
                if self.on and self.bench.present_left_s() <= 0 and self.state is InstrumentState.READY:
                    await self.trip("nobody has confirmed within 180 s that they are at the bench", "unattended")
        finally:
            polling.cancel()

    def __init__(self, bench: FakeBench, name: str, kind: Kind) -> None:
        super().__init__(bench, name, kind)
        self.physics = Plate(Noise(7))
        self._step = 0
        self.show: Callable[[float, float | None], float | None] = lambda _, shown_c: shown_c

    def frame(self) -> Frame:
        now_s = self.bench.clock.monotonic_s()
        self.physics.heater_on = self.on
        self.physics.setpoint_c = float(self.settings.get("temperature", 25.0))
        step = steps_of(now_s)
        self.physics.pass_by(self._step, step)
        self._step = step
        self.frames += 1
        signals: dict[str, list[float | None]] = {
            "temperature": [self.show(now_s, self.physics.shown_c(step))],
            "setpoint": [self.physics.setpoint_c],
            "heater": [float(self.on)],
        }
        return Frame(
            bench=self.bench.name,
            instrument=self.name,
            number=self.frames,
            start=rfc3339(self.bench.clock.now()),
            t_s=[now_s],
            half_width_s=[0.0],
            signals=signals,
            units=dict(self.kind.signals),
        )


class FakeMeter(FakeInstrument):
    """A multimeter on the simulator's board; a prompt that names pins has the leads put there by the bench's hands."""

    board: World

    def put_a_board(self, family: DeviceFamily, *faults: str) -> None:
        """Put a board of a family with these faults under the leads."""
        self.board = World(family, self.bench.clock, faults=tuple(parse_fault(text) for text in faults))
        self.bench.families[family.name] = family

    def follow(self, prompt: Prompt) -> None:
        """Put the leads where a prompt says."""
        connectors = self.board.board._family.connectors.values()
        connector = next((one for one in connectors if one.says in prompt.text), None)
        if connector is not None:
            self._at = connector.name
        pins = [f"{self._at}.{name}" for name in re.findall(r"\bpin (\w+)", prompt.text)]
        red, black = [*([GROUND] if len(pins) == 1 else []), *pins] or [TOGETHER, TOGETHER]
        with self.board.present():
            self.board.put_leads(red, black)

    async def test(self, test: str, *, run: str | None) -> EventData:
        await self.bench.point(f"test {self.name} {test}")
        if test in self.trouble:
            await self.trouble[test]()
        with self.board.present():
            read = {
                "voltage": self.board.meter_voltage_v,
                "resistance": self.board.meter_resistance_ohm,
                "diode": self.board.meter_diode_v,
            }
            value = read[test]()
        found = MeterRead(
            instrument=self.name,
            quantity=test,
            value=value,
            unit="Ohm" if test == "resistance" else "V",
            overload=value is None,
        )
        await self.bench.record(found, owner=self.name, run=run)
        return found


_FAKES = {HEAT_SOURCE.name: FakePlate, MULTIMETER.name: FakeMeter}


@dataclass
class FakeBench:
    """The bench of a test; ``at`` is called at every point where a run touches the bench, by its words."""

    kinds: Mapping[str, str]
    name: str = "bench-1"
    clock: SimulatedClock = field(default_factory=SimulatedClock)
    bus: Bus = field(default_factory=Bus)
    journal: list[Event | Prompt | Verdict] = field(default_factory=list)
    points: list[str] = field(default_factory=list)
    claimed: dict[str, str] = field(default_factory=dict)
    confirm: bool | None = True
    at: Callable[[str], Trouble | None] = lambda _: None
    run: SequenceRun | None = None
    families: dict[str, DeviceFamily] = field(default_factory=dict)
    #: Whether somebody stays at the bench and says so whenever they are asked.
    attended: bool = True
    present_until_s: float = float("-inf")
    #: What is done when a prompt is raised, before it is answered.
    hands: Callable[[Prompt], None] = lambda _: None
    #: Whether a person answers the prompts, and no script.
    person: bool = True
    #: What is answered to a question, and the note beside it.
    choose: Callable[[Prompt], tuple[str, str]] = lambda prompt: (prompt.choices[0], "")

    def __post_init__(self) -> None:
        self.instruments = {
            name: _FAKES.get(kind, FakeInstrument)(self, name, KINDS[kind]) for name, kind in self.kinds.items()
        }

    async def point(self, words: str) -> None:
        self.points.append(words)
        trouble = self.at(words)
        if trouble is not None:
            await trouble()
        await asyncio.sleep(0)

    async def record(
        self, data: EventData, *, owner: str, run: str | None = None, cause: str | None = None
    ) -> Recorded:
        if owner == "sequence":
            await self.point(f"record {type(data).__name__}")
        if (isinstance(data, PromptAnswered) and data.person) or (isinstance(data, PresenceAsked) and self.attended):
            self.present_until_s = self.clock.monotonic_s() + ATTENDED_S
        event = make_event(data, clock=self.clock, bench=self.name, owner=owner, run=run, cause=cause)
        self.journal.append(event)
        row = len(self.journal)
        topic = (
            topics.run(self.name, str(run), "event")
            if owner == "sequence"
            else topics.instrument(self.name, owner, "event")
        )
        self.bus.publish(topic, event, row=row)
        return Recorded(event, row)

    def present_left_s(self) -> float:
        return max(0.0, self.present_until_s - self.clock.monotonic_s())

    async def record_prompt(self, prompt: Prompt) -> int:
        await self.point("record_prompt")
        self.journal.append(prompt)
        self.hands(prompt)
        if self.confirm is not None and self.run is not None:
            choice, note = self.choose(prompt) if prompt.choices and self.confirm else ("", "")
            self.run.answer(prompt.id, self.confirm, "Ilse", choice=choice, note=note, person=self.person)
        return len(self.journal)

    async def record_verdict(self, verdict: Verdict) -> int:
        await self.point("record_verdict")
        self.journal.append(verdict)
        return len(self.journal)

    @contextmanager
    def claim(self, run: str, instruments: Iterable[str], *, operator: str = "") -> Iterator[None]:
        names = list(instruments)
        for name in names:
            if name in self.claimed:
                raise DeviceRefused(f"{name} is in use by run {self.claimed[name]}; wait for it or abort it first")
        self.claimed |= dict.fromkeys(names, run)
        try:
            yield
        finally:
            for name in names:
                del self.claimed[name]

    async def make_safe(self, instruments: Sequence[str]) -> dict[str, bool]:
        return {name: await self.instruments[name].make_safe() for name in instruments}

    # --- what tests ask ---

    def events(self, run_only: bool = True) -> list[EventData]:
        return [
            any_data(each)
            for each in self.journal
            if isinstance(each, Event) and (not run_only or each.source.endswith("/sequence"))
        ]

    def event_names(self) -> list[str]:
        return [type(event).__name__ for event in self.events()]

    def verdicts(self) -> list[Verdict]:
        return [each for each in self.journal if isinstance(each, Verdict)]

    def prompts(self) -> list[Prompt]:
        return [each for each in self.journal if isinstance(each, Prompt)]

    def anything_on(self) -> bool:
        return any(instrument.on for instrument in self.instruments.values())

    def start(
        self, text: str, inputs: Mapping[str, str] | None = None, family: str = "", **options: object
    ) -> tuple[SequenceRun, asyncio.Task[None]]:
        plan = make_plan(parse_sequence(text, "test.yaml"), inputs or {}, self, family)
        self.run = SequenceRun(plan, self, **options)  # type: ignore[arg-type]
        return self.run, self.run.start()

    async def until(self, done: Callable[[], bool], limit_s: float = 400.0) -> None:
        """Let time pass until something is so; fail when it is not so within ``limit_s`` of the bench's time."""
        pollers = [
            asyncio.ensure_future(instrument.poll())
            for instrument in self.instruments.values()
            if instrument.kind in (POWER_SOURCE, HEAT_SOURCE)
        ]
        end_s = self.clock.monotonic_s() + limit_s
        try:
            while True:
                while True:  # until nothing is left to do at this moment
                    await asyncio.sleep(0)
                    if done():
                        return
                    if not asyncio.get_running_loop()._ready:  # type: ignore[attr-defined]
                        break
                due_s = self.clock.next_due_s()
                assert due_s is not None, "everything waits, and nothing is due"
                assert due_s <= end_s, f"not so within {limit_s} s; so far: {self.points}"
                self.clock.advance(max(0.0, due_s - self.clock.monotonic_s()))
        finally:
            for poller in pollers:
                poller.cancel()

    async def verdict(self, run: SequenceRun, limit_s: float = 400.0) -> Verdict:
        await self.until(run.done.done, limit_s)
        return run.done.result()

    async def reached(self, words: str) -> None:
        await self.until(lambda: any(point.startswith(words) for point in self.points))


@pytest.fixture(autouse=True)
def logged() -> Iterator[list[Any]]:
    """What was logged, as data."""
    with capture_logs() as entries:
        yield entries


@pytest.fixture
def make_bench() -> Callable[..., FakeBench]:
    return FakeBench


@pytest.fixture
async def bench() -> FakeBench:
    """A bench with a supply, a port tester and a USB watcher."""
    return FakeBench({"psu": "power-source", "port-1": "port-tester", "usb-1": "usb-watcher"})


class Troubles:
    hang = staticmethod(hang)
    hang_hard = staticmethod(hang_hard)
    raising = staticmethod(raising)


@pytest.fixture
def troubles() -> type[Troubles]:
    return Troubles
