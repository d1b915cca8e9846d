"""The lane itself, run in the test's own thread on a clock that jumps: nothing heats from a trip until a reset."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.bench.interlocks import Keeper, Presence, keeper_for
from wakerail.bench.lane import Lane
from wakerail.config import InstrumentConfig
from wakerail_kit.errors import DeviceRefused, DeviceUnavailable, OutOfSync, WakerailError
from wakerail_kit.events import EventData, InterlockTripped, MadeSafe
from wakerail_kit.hooks import InstrumentType
from wakerail_kit.kinds import HEAT_SOURCE, InstrumentFault, Reading
from wakerail_kit.messages import Frame, Identity

LIMITS = {"temperature": 260.0}


class JumpClock:
    """Jumps to the end of every wait; ``next`` is done before."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.next: Callable[[], None] = lambda: None

    def monotonic_s(self) -> float:
        return self.now_s

    def now(self) -> datetime:
        return datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=self.now_s)

    async def sleep(self, delay_s: float) -> None:
        raise AssertionError("a lane does not sleep")

    def wait(self, event: threading.Event, delay_s: float) -> bool:
        self.next()
        self.now_s += delay_s
        return event.is_set()


class Plate:
    """A plate that shows what the test says, obeys unless it is told to fail, and remembers who switched it on."""

    waits = False

    def __init__(self) -> None:
        self.at_c: float | None = 25.0
        self.setpoint_c, self.on = 25.0, False
        self.fails: list[WakerailError] = []
        self.switched_on: Callable[[], None] = lambda: None

    def _may_fail(self) -> None:
        if self.fails:
            raise self.fails.pop()

    def open(self) -> Identity:
        self._may_fail()
        return Identity(text="scripted")

    def read(self) -> Reading:
        self._may_fail()
        return Reading({"temperature": [self.at_c], "setpoint": [self.setpoint_c], "heater": [float(self.on)]})

    def make_safe(self) -> None:
        self._may_fail()
        self.on = False

    def faults(self) -> list[InstrumentFault]:
        return []

    def close(self) -> None:
        pass

    def set_temperature_c(self, temperature_c: float) -> None:
        self._may_fail()
        self.setpoint_c = temperature_c

    def set_heater(self, on: bool) -> None:
        self._may_fail()
        if on:
            self.switched_on()
        self.on = on


class Told:
    """What a lane told, and at once what must be true then."""

    def __init__(self) -> None:
        self.events: list[EventData] = []

    def frame(self, frame: Frame) -> None:
        pass

    def changed(self) -> None:
        pass

    def event(self, data: EventData, run: str | None) -> None:
        self.events.append(data)


class Bench:
    """A lane with its plate, keeper and presence. Actions of a test are done one at each wait of the lane."""

    def __init__(self) -> None:
        self.clock, self.plate, self.told, self.presence = JumpClock(), Plate(), Told(), Presence(180.0)
        self.keeper: Keeper = keeper_for(HEAT_SOURCE, LIMITS, self.presence)
        sort = InstrumentType("scripted", HEAT_SOURCE, "", lambda *_: self.plate)
        config = InstrumentConfig("plate", sort, self.plate, "", "", 10.0, LIMITS)
        self.lane = Lane(config, "bench-1", self.clock, self.keeper, self.told)
        self.heated_after: list[str] = []
        self.plate.switched_on = self._check_permitted

    def _check_permitted(self) -> None:
        if self.keeper.trip is not None:  # the lane holds what a driver raises, so it is not raised here
            self.heated_after.append(self.keeper.trip.interlock)

    def run(self, actions: list[Callable[[Bench], None]]) -> None:
        waiting = iter(actions)

        def act() -> None:
            action = next(waiting, None)
            if action is None:
                self.lane.stop()
            else:
                action(self)

        self.clock.next = act
        self.lane.run()


def ask(setting: str, value: float | bool) -> Callable[[Bench], None]:
    return lambda bench: bench.lane.ask(lambda: bench.lane.apply(setting, value, "run-1")) and None


def show(at_c: float | None) -> Callable[[Bench], None]:
    return lambda bench: setattr(bench.plate, "at_c", at_c)


def confirm(bench: Bench) -> None:
    bench.presence.confirm(bench.clock.now_s)


def reset(bench: Bench) -> None:
    bench.lane.ask(lambda: bench.lane.reset("ada"))


def make_safe(bench: Bench) -> None:
    bench.lane.ask(bench.lane.make_safe, safety=True)


def other_hand(bench: Bench) -> None:
    bench.plate.on, bench.plate.setpoint_c = True, 300.0


def fail(count: int, sort: type[WakerailError]) -> Callable[[Bench], None]:
    return lambda bench: bench.plate.fails.extend([sort("scripted")] * count)


def pause(delay_s: float) -> Callable[[Bench], None]:
    return lambda bench: setattr(bench.clock, "now_s", bench.clock.now_s + delay_s)


def wait(_: Bench) -> None:
    """Do nothing for one poll."""


ERRORS = st.sampled_from([DeviceRefused, DeviceUnavailable, OutOfSync])
ACTIONS = st.one_of(
    st.sampled_from([confirm, reset, make_safe, other_hand, wait]),
    st.builds(show, st.one_of(st.none(), st.floats(-50, 1100), st.floats(20, 30))),
    st.builds(ask, st.just("heater"), st.booleans()),
    st.builds(ask, st.just("temperature"), st.floats(0, 400)),
    st.builds(fail, st.integers(1, 4), ERRORS),
    st.builds(pause, st.sampled_from([0.5, 3.0, 200.0])),
)
#: What it takes to heat, unless an interlock is in the way.
TRY_TO_HEAT: list[Callable[[Bench], None]] = [
    show(25.0), *[wait] * 14, confirm, ask("temperature", 230.0), ask("heater", True), wait,
]  # fmt: skip
BLOCKS = st.one_of(st.builds(lambda action: [action], ACTIONS), st.just(TRY_TO_HEAT))


@given(st.lists(BLOCKS, max_size=25).map(lambda blocks: [action for block in blocks for action in block]))
@settings(max_examples=100, deadline=None)
def test_no_heat_command_reaches_a_tripped_plate_before_a_reset(actions: list[Callable[[Bench], None]]) -> None:
    """Whatever it shows, however it fails, whoever asks; and what tripped was switched off, or said not to be."""
    bench = Bench()
    bench.run([*TRY_TO_HEAT, *actions, wait])
    assert bench.heated_after == []
    for index, data in enumerate(bench.told.events):
        if isinstance(data, InterlockTripped):
            safe = [before for before in bench.told.events[:index] if isinstance(before, MadeSafe)]
            assert "PULL ITS PLUG" in data.says or (bool(safe) and safe[-1].reached) or not bench.plate.on


def test_the_plate_of_these_tests_heats() -> None:
    bench = Bench()
    heated: list[bool] = []
    bench.run([*TRY_TO_HEAT, wait, lambda bench: heated.append(bench.plate.on)])
    assert heated == [True]


def test_where_the_switch_fails_the_set_point_goes_down() -> None:
    bench = Bench()
    bench.plate.make_safe = lambda: fails_to_switch(bench)  # type: ignore[method-assign]
    bench.run([*TRY_TO_HEAT, wait, show(None), *[wait] * 30])
    assert bench.plate.on
    assert bench.plate.setpoint_c == 48.0
    (first, *_) = [data for data in bench.told.events if isinstance(data, InterlockTripped)]
    assert "IT COULD NOT BE SWITCHED OFF: PULL ITS PLUG" in first.says


def fails_to_switch(bench: Bench) -> None:
    """As a driver does that reads the heater back; it works until the plate heats."""
    if bench.plate.on:
        bench.plate.fails.append(OutOfSync("the line is closed"))  # what comes next over this line fails
        raise OutOfSync("the heater was switched off, and the plate says it is not")
