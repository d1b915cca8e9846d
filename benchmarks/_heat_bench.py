"""A plate, its interlocks and a technician in fast time: the host's own lane, driver and interlocks, in one thread.

Only the clock and the line are stand-ins. The clock runs when the lane waits; the line hands each command to the
simulated plate's own protocol, with the time that it takes, and can hang, go dead or answer late.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

from wakerail.bench.interlocks import PULL_ITS_PLUG, Presence, Wiring, keeper_for
from wakerail.bench.lane import Lane
from wakerail.config import InstrumentConfig
from wakerail.heat_limits import HEAT_LIMITS
from wakerail_kit.errors import DeviceUnavailable, OutOfSync
from wakerail_kit.events import EventData, InterlockTripped
from wakerail_kit.hooks import InstrumentType
from wakerail_kit.kinds import HEAT_SOURCE
from wakerail_kit.messages import Frame, Identity, InstrumentState
from wakerail_plugins.heating_plate.driver import HeatingPlate
from wakerail_plugins.heating_plate.plate_link import PlateState
from wakerail_sim.noise import Noise
from wakerail_sim.plate import Plate
from wakerail_sim.plate_protocol import PlateProtocol
from wakerail_sim.ticks import STEP_S

RUN = "run-1"
CEILING_C = 260.0
ANSWER_S, TIMEOUT_S = 0.004, 1.0
SETPOINT_EVERY_S, HEATER_EVERY_S = 1.0, 0.25  # as the shipped dialect of a plate asks
#: How long a person takes to pull a plug that they are told to pull.
REACTION_S = 10.0
START = datetime(2026, 1, 1, tzinfo=UTC)


class FastClock:
    """A clock that jumps to the end of every wait; ``moved`` hears each new time."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.moved: Callable[[float], None] = lambda _: None

    def monotonic_s(self) -> float:
        return self.now_s

    def now(self) -> datetime:
        return START + timedelta(seconds=self.now_s)

    async def sleep(self, delay_s: float) -> None:  # noqa: ARG002
        raise AssertionError("nothing sleeps here")

    def wait(self, event: threading.Event, delay_s: float) -> bool:
        self.move(delay_s)
        return event.is_set()

    def move(self, delay_s: float) -> None:
        self.now_s += max(0.0, delay_s)
        self.moved(self.now_s)


class World:
    """The plate by itself, brought up to the clock's present; what PlateProtocol needs of a world."""

    def __init__(self, clock: FastClock, seed: int) -> None:
        self.plate = Plate(Noise(seed))
        self.hottest_c = self.plate.temperature_c
        self.now_step = 0
        self._clock = clock

    @contextmanager
    def present(self) -> Iterator[None]:
        self.advance()
        yield

    def advance(self) -> None:
        step = int(self._clock.now_s / STEP_S)
        while self.now_step < step:
            until = min(step, self.now_step + 50)
            self.plate.pass_by(self.now_step, until)
            self.now_step = until
            self.hottest_c = max(self.hottest_c, self.plate.temperature_c)


@dataclass(slots=True)
class Line:
    """The line to the plate; it adds the converter's own noise and resolution to what the plate shows."""

    clock: FastClock
    world: World
    noise_k: float
    resolution_k: float
    chance: np.random.Generator
    setpoint_step_c: float = 0.1
    gone: bool = False
    hangs: bool = False
    answer_s: float = ANSWER_S
    ignores_setpoint: bool = False
    ignores_off: bool = False
    _open: bool = False
    _asked: dict[str, tuple[float, str]] = field(default_factory=dict)

    def connect(self) -> None:
        if self.gone:
            raise DeviceUnavailable("there is no such port")
        self._open = True
        self._asked.clear()

    def identify(self) -> Identity:
        return Identity(text=self._ask("ID?"))

    def read(self) -> PlateState:
        shown = self._ask("T?").removeprefix("T=")
        setpoint = self._ask("SP?", SETPOINT_EVERY_S).removeprefix("SP=")
        heater = self._ask("H?", HEATER_EVERY_S).removeprefix("H=")
        return PlateState(None if shown == "OPEN" else self._convert(float(shown)), float(setpoint), heater == "1")

    def held_c(self) -> float | None:
        return float(self._ask("SP?").removeprefix("SP="))

    def heater_is_on(self) -> bool:
        return self._ask("H?") == "H=1"

    def set_temperature_c(self, temperature_c: float) -> None:
        self._asked.clear()
        if not self.ignores_setpoint:
            self._ask(f"SP {temperature_c:.1f}")

    def set_heater(self, on: bool) -> None:
        self._asked.clear()
        if on or not self.ignores_off:
            self._ask(f"H {int(on)}")

    def close(self) -> None:
        self._open = False

    def _ask(self, line: str, keep_s: float = 0.0) -> str:
        asked_s, answer = self._asked.get(line, (float("-inf"), ""))
        if self.clock.now_s - asked_s < keep_s:
            return answer
        if not self._open:
            raise OutOfSync("the line is closed")
        if self.gone:
            raise DeviceUnavailable("the port has gone")
        if self.hangs:
            self.clock.move(TIMEOUT_S)
            self._open = False
            raise OutOfSync(f"asked {line}, no answer within 1 s")
        self.clock.move(self.answer_s)
        answer = PlateProtocol(self.world).answer(line.encode()).decode().strip()  # type: ignore[arg-type]
        self._asked[line] = (self.clock.now_s, answer)
        return answer

    def _convert(self, shown_c: float) -> float:
        if shown_c == 0.0:
            return shown_c
        scattered_c = shown_c + self.noise_k * float(self.chance.standard_normal())
        return round(round(scattered_c / self.resolution_k) * self.resolution_k, 3)


class HeatBench:
    """One run of a heat: the technician's plan, what the lane told, and what the plate truly did."""

    def __init__(
        self,
        seed: int,
        *,
        rate_hz: float,
        noise_k: float,
        resolution_k: float,
        attended_s: float,
        limits: dict[str, float],
    ) -> None:
        self.clock = FastClock()
        self.clock.moved = self._follow
        self.world = World(self.clock, seed)
        self.line = Line(self.clock, self.world, noise_k, resolution_k, np.random.default_rng(seed))
        self.presence = Presence(attended_s)
        self.wiring = Wiring("plate", "supply", HEAT_LIMITS["touch"].default)
        self.frames: list[Frame] = []
        self.events: list[tuple[float, EventData]] = []
        self.states: list[tuple[float, InstrumentState, str]] = []
        self.heater: list[tuple[float, bool]] = [(0.0, False)]
        self.heated_after_trip = False
        #: When the technician means to switch off.
        self.planned_off_s = 0.0
        self._plan: list[tuple[float, Callable[[], None]]] = []
        self._until_s = 0.0
        driver = HeatingPlate(self.line)
        given = {"temperature": CEILING_C} | limits
        config = InstrumentConfig(
            "plate", InstrumentType("plate", HEAT_SOURCE, "", lambda *_: driver), driver, "", "", rate_hz, given
        )
        keeper = keeper_for(HEAT_SOURCE, given, self.presence, self.wiring)
        self.lane = Lane(config, "bench-1", self.clock, keeper, self)
        self.lane.claimed_by = RUN

    # --- what happens ---

    def at(self, at_s: float, action: Callable[[], None]) -> None:
        """Let something happen at a time."""
        self._plan.append((at_s, action))
        self._plan.sort(key=lambda planned: planned[0])

    def apply(self, setting: str, value: float | bool) -> None:
        """Ask for a setting as a sequence does; whether it is taken is the lane's to say."""
        self.lane.ask(lambda: self.lane.apply(setting, value, RUN))

    def run(self, until_s: float) -> None:
        """Let the lane work until a time."""
        self._until_s = until_s
        self.lane.run()
        self.world.advance()

    # --- what the lane tells (LaneOutput) ---

    def frame(self, frame: Frame) -> None:
        self.frames.append(frame)

    def changed(self) -> None:
        self.states.append((self.clock.now_s, self.lane.state, self.lane.words))

    def event(self, data: EventData, run: str | None) -> None:
        self.events.append((self.clock.now_s, data))
        assert run == RUN
        if isinstance(data, InterlockTripped) and PULL_ITS_PLUG in data.says and self.world.plate.plugged_in:
            self.at(self.clock.now_s + REACTION_S, self._pull_plug)

    # --- what can be asked afterwards ---

    def trips(self) -> list[tuple[float, InterlockTripped]]:
        """Every trip and alarm, with its time."""
        return [(at_s, data) for at_s, data in self.events if isinstance(data, InterlockTripped)]

    def off_s(self, after_s: float) -> float:
        """Return when the plate's heater was off from ``after_s`` on; infinity if it never was."""
        if not self.heating(after_s):
            return after_s
        return next((at_s for at_s, on in self.heater if at_s > after_s and not on), float("inf"))

    def heating(self, at_s: float) -> bool:
        """Whether the plate's heater was on at a time."""
        return next(on for since_s, on in reversed(self.heater) if since_s <= at_s)

    def _pull_plug(self) -> None:
        self.world.plate.plugged_in = False

    def _follow(self, now_s: float) -> None:
        self.world.advance()
        while self._plan and self._plan[0][0] <= now_s:
            self._plan.pop(0)[1]()
        if self.world.plate.heater_on is not self.heater[-1][1]:
            self.heater.append((now_s, self.world.plate.heater_on))
            self.heated_after_trip |= self.world.plate.heater_on and self.lane.state is InstrumentState.TRIPPED
        if now_s >= self._until_s:
            self.lane.stop()
