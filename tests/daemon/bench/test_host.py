"""One instrument hosted: polling, commands, interlocks, loss and return. The driver is scripted; threads are real."""

from __future__ import annotations

import asyncio
import itertools
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from wakerail.analysis.injection import Injected
from wakerail.bench.host import InstrumentHost
from wakerail.bench.interlocks import Presence
from wakerail.config import InstrumentConfig
from wakerail_kit import events as ev
from wakerail_kit.clock import Clock, RealClock, SimulatedClock
from wakerail_kit.errors import DeviceRefused, DeviceUnavailable, OutOfSync
from wakerail_kit.hooks import InstrumentType
from wakerail_kit.kinds import HEAT_SOURCE, POWER_SOURCE, InstrumentFault, Reading
from wakerail_kit.messages import Identity, InstrumentState


class Driver:
    """A driver that does what the test scripts, and writes down what it was told."""

    waits = False

    def __init__(self) -> None:
        self.told: list[object] = []
        self.signals: dict[str, list[float | None]] = {"voltage": [0.0], "current": [0.0]}
        self.spacing_s: float | None = None
        self.fail: Exception | None = None
        self.open_fails: list[Exception] = []
        self.safe_fails: Exception | None = None
        self.queue: list[InstrumentFault] = []
        self.threads: set[int] = set()
        self.entered = threading.Event()
        self.hold = threading.Event()
        self.hold.set()

    def open(self) -> Identity:
        self.threads.add(threading.get_ident())
        self.told.append("open")
        if self.open_fails:
            raise self.open_fails.pop(0)
        return Identity(text="scripted")

    def read(self) -> Reading:
        self.threads.add(threading.get_ident())
        if self.fail is not None:
            failure, self.fail = self.fail, None
            raise failure
        return Reading(signals=self.signals, spacing_s=self.spacing_s)

    def make_safe(self) -> None:
        self.told.append("safe")
        if self.safe_fails is not None:
            raise self.safe_fails

    def faults(self) -> list[InstrumentFault]:
        taken, self.queue = self.queue, []
        return taken

    def close(self) -> None:
        self.told.append("close")

    def set_voltage_v(self, voltage_v: float) -> None:
        self.threads.add(threading.get_ident())
        self.entered.set()
        self.hold.wait(5.0)
        self.told.append(("volts", voltage_v))

    def set_output(self, on: bool) -> None:
        self.told.append(("output", on))

    def set_temperature_c(self, temperature_c: float) -> None:
        self.told.append(("temperature", temperature_c))

    def set_heater(self, on: bool) -> None:
        self.told.append(("heater", on))


class Told:
    """What the host told, as it came, with waiting for the next of a sort."""

    def __init__(self) -> None:
        self.frames: asyncio.Queue = asyncio.Queue()
        self.states: asyncio.Queue = asyncio.Queue()
        self.events: asyncio.Queue = asyncio.Queue()

    def frame(self, frame) -> None:
        self.frames.put_nowait(frame)

    def status(self, status) -> None:
        self.states.put_nowait(status)

    def event(self, data, instrument, run) -> None:
        self.events.put_nowait((data, run))

    async def state(self, wanted: InstrumentState):
        async with asyncio.timeout(5):
            while (status := await self.states.get()).state is not wanted:
                pass
        return status

    async def saw(self, wanted: type):
        async with asyncio.timeout(5):
            while True:
                data, run = await self.events.get()
                if isinstance(data, wanted):
                    return data, run


@asynccontextmanager
async def hosted(
    driver: Driver,
    kind=POWER_SOURCE,
    rate_hz=200.0,
    presence: Presence | None = None,
    clock: Clock | None = None,
    standing: ev.InterlockTripped | None = None,
) -> AsyncIterator[tuple[InstrumentHost, Told]]:
    told, clock = Told(), clock or RealClock()
    if presence is None:
        presence = Presence(180.0)
        presence.confirm(clock.monotonic_s())
    limits = {"volts": 5.0, "limit": 3.0} if kind is POWER_SOURCE else {"temperature": 260.0}
    sort = InstrumentType("scripted", kind, "", lambda *_: driver)
    config = InstrumentConfig("supply", sort, driver, "nowhere", "", rate_hz, limits)
    host = InstrumentHost(config, "bench-1", clock, told, presence=presence, standing=standing)
    host.start()
    try:
        yield host, told
    finally:
        assert await host.stop()


async def test_opening_identifies_makes_safe_and_then_polls_in_one_thread() -> None:
    driver = Driver()
    async with hosted(driver) as (host, told):
        status = await told.state(InstrumentState.READY)
        assert status.identity == Identity(text="scripted")
        first, second = [await told.frames.get() for _ in range(2)]
        assert driver.told[:2] == ["open", "safe"]
        assert (first.number, second.number) == (1, 2)
        assert second.t_s[0] > first.t_s[0]
        assert first.half_width_s[0] >= 0
        assert first.units == {"voltage": "V", "current": "A"}
        await host.apply("volts", 3.85, run=None)
        assert len(driver.threads) == 1
        assert threading.get_ident() not in driver.threads


async def test_a_setting_is_applied_and_told_with_its_run() -> None:
    driver = Driver()
    async with hosted(driver) as (host, told):
        await told.state(InstrumentState.READY)
        await host.apply("volts", 3.85, run="run-1")
        data, run = await told.saw(ev.SettingApplied)
        assert (data.setting, data.value, data.unit, run) == ("volts", 3.85, "V", "run-1")


async def test_a_setting_above_the_bench_limit_never_reaches_the_driver() -> None:
    driver = Driver()
    async with hosted(driver) as (host, told):
        await told.state(InstrumentState.READY)
        with pytest.raises(DeviceRefused, match=r"^supply: volts 12 V is above this bench's limit of 5 V"):
            await host.apply("volts", 12.0, run=None)
        assert ("volts", 12.0) not in driver.told


async def test_what_a_run_may_give_holds_until_the_run_lets_go_of_the_supply() -> None:
    driver = Driver()
    async with hosted(driver) as (host, told):
        await told.state(InstrumentState.READY)
        host.claimed_by = "run-1"
        host.allow(Injected(0.5, 1.0), 0.5)
        for run in ("run-1", "run-2", None):
            with pytest.raises(DeviceRefused, match=r"volts 3\.85 V is above the 500 mV that this run may give"):
                await host.apply("volts", 3.85, run=run)
        await host.apply("volts", 0.5, run="run-1")
        with pytest.raises(DeviceRefused, match="limit is not known"):
            await host.apply("output", True, run="run-1")
        host.claimed_by = None
        host.claimed_by = "run-2"
        await host.apply("volts", 3.85, run="run-2")
        assert [one for one in driver.told if one[0] == "volts"] == [("volts", 0.5), ("volts", 3.85)]


async def test_an_error_in_the_queue_refuses_the_setting_and_is_told() -> None:
    driver = Driver()
    async with hosted(driver) as (host, told):
        await told.state(InstrumentState.READY)
        driver.queue = [InstrumentFault(-222, "Data out of range")]
        with pytest.raises(DeviceRefused, match=r"^supply: it refused volts: -222, Data out of range$"):
            await host.apply("volts", 3.85, run=None)
        data, _ = await told.saw(ev.InstrumentFaulted)
        assert (data.code, data.after) == (-222, "volts")


async def test_a_late_answer_closes_reopens_and_makes_safe_before_use() -> None:
    driver = Driver()
    async with hosted(driver) as (_, told):
        await told.state(InstrumentState.READY)
        driver.told.clear()
        driver.fail = OutOfSync("asked CURR?, no answer within 1 s")
        lost, _ = await told.saw(ev.InstrumentLost)
        assert "no answer" in lost.why
        await told.state(InstrumentState.READY)
        assert driver.told[:3] == ["close", "open", "safe"]


async def test_it_comes_back_by_itself_after_unplugging_and_says_so_once() -> None:
    driver = Driver()
    driver.open_fails = [DeviceUnavailable("no route"), DeviceUnavailable("no route")]
    async with hosted(driver) as (host, told):
        status = await told.state(InstrumentState.UNAVAILABLE)
        assert status.words == "no route"
        with pytest.raises(DeviceUnavailable, match=r"^supply: no route$"):
            await host.apply("volts", 1.0, run=None)
        await told.state(InstrumentState.READY)
        assert told.states.empty()


async def test_a_plugin_that_raises_anything_is_contained() -> None:
    driver = Driver()
    async with hosted(driver) as (_, told):
        await told.state(InstrumentState.READY)
        driver.fail = ZeroDivisionError("a slip")
        status = await told.state(InstrumentState.UNAVAILABLE)
        assert "ZeroDivisionError: a slip" in status.words
        await told.state(InstrumentState.READY)


class Plate(Driver):
    """A plate that reads what it was told, unless the test says otherwise."""

    def __init__(self) -> None:
        super().__init__()
        self.signals = {"temperature": [25.0], "setpoint": [0.0], "heater": [0.0]}

    def show(self, at_c: float | None) -> None:
        self.signals = self.signals | {"temperature": [at_c]}

    def make_safe(self) -> None:
        super().make_safe()
        self.signals = self.signals | {"heater": [0.0]}

    def set_temperature_c(self, temperature_c: float) -> None:
        super().set_temperature_c(temperature_c)
        self.signals = self.signals | {"setpoint": [temperature_c]}

    def set_heater(self, on: bool) -> None:
        super().set_heater(on)
        self.signals = self.signals | {"heater": [float(on)]}


async def heat(host: InstrumentHost, told: Told, to_c: float = 230.0) -> None:
    """Set and switch on, once the sensor has been read for long enough to be believed."""
    await told.state(InstrumentState.READY)
    async with asyncio.timeout(5):
        await host.apply("temperature", to_c, run=None)
        while True:
            try:
                return await host.apply("heater", True, run=None)
            except DeviceRefused as refused:
                if "can be believed" not in str(refused):
                    raise
            await told.frames.get()


async def test_a_trip_makes_safe_first_and_refuses_until_a_person_resets() -> None:
    driver = Plate()
    async with hosted(driver, HEAT_SOURCE) as (host, told):
        await heat(host, told)
        driver.told.clear()
        driver.show(261.0)
        tripped, _ = await told.saw(ev.InterlockTripped)
        assert tripped.interlock == "sensor-jump"
        assert driver.told[0] == "safe"
        cooled, _ = await told.saw(ev.SettingApplied)
        assert (cooled.setting, cooled.value) == ("temperature", 48.0)
        assert (await told.state(InstrumentState.TRIPPED)).words.startswith("sensor-jump")
        driver.show(30.0)
        with pytest.raises(
            DeviceRefused, match=r"^supply: the sensor-jump interlock has tripped .* a person must look and reset it"
        ):
            await host.apply("heater", True, run=None)
        assert ("heater", True) not in driver.told
        await host.apply("heater", False, run=None)
        with pytest.raises(DeviceRefused, match="only a person can reset it"):
            await host.reset_interlock(" ")
        await host.reset_interlock("ada")
        await heat(host, told)


async def test_a_trip_from_before_stands_until_a_person_resets_it() -> None:
    driver = Plate()
    standing = ev.InterlockTripped(
        instrument="supply", interlock="no-rise", says="it did not rise", value=None, limit=None, unit="K"
    )
    async with hosted(driver, HEAT_SOURCE, standing=standing) as (host, told):
        assert (await told.state(InstrumentState.TRIPPED)).words == "no-rise: it did not rise; it is off now"
        with pytest.raises(DeviceRefused, match="the no-rise interlock has tripped"):
            await host.apply("heater", True, run=None)
        await host.reset_interlock("ada")
        await heat(host, told)


async def test_a_plate_that_cannot_be_switched_off_is_said_loudly_and_tried_again() -> None:
    driver = Plate()
    async with hosted(driver, HEAT_SOURCE) as (host, told):
        await heat(host, told)
        driver.safe_fails = DeviceUnavailable("it does not obey")
        driver.show(None)
        tripped, _ = await told.saw(ev.InterlockTripped)
        assert tripped.interlock == "sensor-open"
        assert "IT COULD NOT BE SWITCHED OFF: PULL ITS PLUG" in tripped.says
        with pytest.raises(DeviceRefused, match="could not be switched off yet"):
            await host.reset_interlock("ada")
        driver.safe_fails = None
        while not (await told.saw(ev.MadeSafe))[0].reached:
            pass
        assert (await told.state(InstrumentState.TRIPPED)).words.endswith("PULL ITS PLUG")
        assert (await told.state(InstrumentState.TRIPPED)).words.endswith("it is off now")
        await host.reset_interlock("ada")


async def test_a_link_lost_while_heating_is_made_safe_at_once_and_needs_a_person() -> None:
    driver = Plate()
    async with hosted(driver, HEAT_SOURCE) as (host, told):
        await heat(host, told)
        driver.told.clear()
        driver.fail = OutOfSync("asked T?, no answer within 1 s")
        tripped, _ = await told.saw(ev.InterlockTripped)
        assert tripped.interlock == "lost-communication"
        assert "no answer within 1 s" in tripped.says
        assert driver.told[0] == "safe"
        await told.saw(ev.InstrumentLost)
        assert "lost-communication" in (await told.state(InstrumentState.UNAVAILABLE)).words
        await told.state(InstrumentState.TRIPPED)
        with pytest.raises(DeviceRefused, match="lost-communication interlock has tripped"):
            await host.apply("heater", True, run=None)


async def test_a_heater_that_says_no_is_made_safe() -> None:
    driver = Plate()
    async with hosted(driver, HEAT_SOURCE) as (host, told):
        await heat(host, told)
        await host.apply("heater", False, run=None)
        driver.told.clear()
        driver.queue = [InstrumentFault(-200, "Execution error")]
        with pytest.raises(DeviceRefused, match="it refused heater"):
            await host.apply("heater", True, run=None)
        assert driver.told == [("heater", True), "safe"]


async def test_a_run_without_a_person_is_refused_heat() -> None:
    driver = Plate()
    async with hosted(driver, HEAT_SOURCE) as (host, told):
        await heat(host, told)
        await host.apply("heater", False, run=None)
        with pytest.raises(DeviceRefused, match=r"^supply: heat needs a person, and this run names no operator$"):
            await host.apply("heater", True, run="run-1")
        host.operator = "Ilse"
        await host.apply("heater", True, run="run-1")


async def test_heat_ends_when_nobody_confirms_to_be_there() -> None:
    driver, presence = Plate(), Presence(1.5)
    presence.confirm(RealClock().monotonic_s())
    async with hosted(driver, HEAT_SOURCE, presence=presence) as (host, told):
        await heat(host, told)
        tripped, _ = await told.saw(ev.InterlockTripped)
        assert tripped.interlock == "unattended"
        assert driver.signals["heater"] == [0.0]
        await host.reset_interlock("ada")
        with pytest.raises(DeviceRefused, match="none has confirmed it"):
            await host.apply("heater", True, run=None)


class SteppedClock(SimulatedClock):
    """A simulated clock that goes a step on each time that the host's thread has come to rest."""

    def __init__(self) -> None:
        super().__init__()
        self.rests = threading.Semaphore(0)
        self._loop_thread = threading.get_ident()

    def _call_at(self, at_s, wake) -> None:
        super()._call_at(at_s, wake)
        if threading.get_ident() != self._loop_thread:
            self.rests.release()  # only now will the next step wake it

    async def step(self) -> None:
        assert await asyncio.to_thread(self.rests.acquire, timeout=5.0)
        self.advance(0.01)  # longer than the host's thread waits between two readings


async def test_a_driver_that_does_not_come_back_is_said_loudly() -> None:
    driver, clock = Plate(), SteppedClock()
    async with hosted(driver, HEAT_SOURCE, clock=clock) as (host, told):
        await told.state(InstrumentState.READY)
        for _ in range(150):
            await clock.step()
        await host.apply("heater", True, run=None)
        driver.hold.clear()
        stuck = threading.Event()

        def read() -> Reading:
            stuck.set()
            clock.rests.release()
            driver.hold.wait(30.0)
            return Reading(signals=driver.signals)

        driver.read = read  # type: ignore[method-assign]
        while not stuck.is_set():  # the clock must not run on before the driver is
            await clock.step()
        for _ in range(10):
            await clock.run_for(1.0)
        tripped, _ = await told.saw(ev.InterlockTripped)
        assert tripped.interlock == "lost-communication"
        assert "PULL ITS PLUG" in tripped.says
        driver.hold.set()
        clock.advance(1.0)


async def test_make_safe_reaches_an_instrument_that_is_not_available() -> None:
    driver = Driver()
    async with hosted(driver) as (host, told):
        await told.state(InstrumentState.READY)
        driver.open_fails = [DeviceUnavailable("gone")] * 20
        driver.fail = OutOfSync("late")
        await told.state(InstrumentState.UNAVAILABLE)
        driver.told.clear()
        assert await host.make_safe()
        assert "safe" in driver.told


async def test_make_safe_replaces_what_waits_so_that_nothing_is_switched_on_after_it() -> None:
    driver = Driver()
    async with hosted(driver) as (host, told):
        await told.state(InstrumentState.READY)
        driver.hold.clear()
        driver.told.clear()
        busy = asyncio.create_task(host.apply("volts", 1.0, run=None))
        assert await asyncio.to_thread(driver.entered.wait, 5.0)
        waiting = asyncio.create_task(host.apply("output", True, run=None))
        await asyncio.sleep(0)
        safe = asyncio.create_task(host.make_safe())
        await asyncio.sleep(0)
        driver.hold.set()
        assert await safe
        await busy
        with pytest.raises(DeviceRefused, match=r"^supply: not done, it was made safe first$"):
            await waiting
        assert driver.told == [("volts", 1.0), "safe"]


async def test_failing_to_make_safe_is_told() -> None:
    driver = Driver()
    async with hosted(driver) as (host, told):
        await told.state(InstrumentState.READY)
        driver.safe_fails = DeviceUnavailable("gone")
        assert not await host.make_safe()
        data, _ = await told.saw(ev.MadeSafe)
        assert not data.reached


async def test_blocks_that_follow_on_each_other_keep_the_instruments_spacing() -> None:
    driver = Driver()
    driver.signals = {"voltage": [3.8] * 10, "current": [0.1] * 10}
    driver.spacing_s = 0.0005
    async with hosted(driver, rate_hz=200.0) as (_, told):
        frames = [await told.frames.get() for _ in range(5)]
    times_s = [t for frame in frames for t in frame.t_s]
    steps_s = [later - earlier for earlier, later in itertools.pairwise(times_s)]
    assert min(steps_s) > 0
    assert steps_s[0] == pytest.approx(0.0005)


async def test_a_frame_without_samples_is_not_told() -> None:
    driver = Driver()
    driver.signals = {"voltage": [], "current": []}
    driver.spacing_s = 0.001
    async with hosted(driver) as (_, told):
        await told.state(InstrumentState.READY)
        driver.signals = {"voltage": [1.0], "current": [0.0]}
        assert (await told.frames.get()).number == 1


async def test_a_run_gets_each_sample_at_once_and_an_idle_bench_gathers_them() -> None:
    driver = Driver()
    async with hosted(driver) as (host, told):
        idle = await told.frames.get()
        assert len(idle.t_s) > 1
        host.claimed_by = "run-1"
        await told.frames.get()  # what was gathered before
        assert [len((await told.frames.get()).t_s) for _ in range(3)] == [1, 1, 1]


async def test_a_sensor_that_reads_nan_is_an_open_sensor() -> None:
    driver = Plate()
    async with hosted(driver, HEAT_SOURCE) as (host, told):
        await heat(host, told)
        driver.show(float("nan"))
        assert (await told.saw(ev.InterlockTripped))[0].interlock == "sensor-open"


async def test_a_status_tells_since_when_however_late_it_is_asked_for() -> None:
    driver = Driver()
    async with hosted(driver) as (host, told):
        ready = await told.state(InstrumentState.READY)
        await told.frames.get()
        assert host.status().since == ready.since
