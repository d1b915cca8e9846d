"""Hosts one instrument: its I/O thread, its interlocks, its reconnecting, and what the bench sees of it.

The thread (the lane) is the only place that touches the driver. It polls at the configured rate, runs one command at
a time between polls, and hands frames, events and status to the event loop. After any time-out or garbled answer
the instrument counts as energised: the lane closes, reopens, identifies and makes it safe before it is used again.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any, Protocol

import structlog

from wakerail.bench.frames import FrameMaker, data_of
from wakerail.bench.interlocks import Interlock, Trip, interlocks_for
from wakerail.config import InstrumentConfig
from wakerail_kit.clock import Clock, rfc3339
from wakerail_kit.errors import DeviceRefused, DeviceUnavailable, OutOfSync, WakerailError
from wakerail_kit.events import (
    EventData,
    InstrumentConnected,
    InstrumentFaulted,
    InstrumentLost,
    InterlockReset,
    InterlockTripped,
    MadeSafe,
    SettingApplied,
)
from wakerail_kit.kinds import Kind
from wakerail_kit.messages import Frame, Identity, InstrumentState, Status

FIRST_RETRY_S = 0.25
LAST_RETRY_S = 8.0
#: How long a caller waits for the lane to take and finish a command. A run's own limits are shorter: these hold
#: whoever asks without one.
SETTING_TIMEOUT_S = 15.0
TEST_TIMEOUT_S = 75.0
MAKE_SAFE_TIMEOUT_S = 3.0
#: Samples of an instrument that no run uses are told this many seconds' worth at a time; a run gets each at once.
IDLE_FRAME_S = 0.25


class HostOutput(Protocol):
    """Where a host's news go; all calls come on the event loop's thread, in the order things happened."""

    def frame(self, frame: Frame) -> None: ...
    def status(self, status: Status) -> None: ...
    def event(self, data: EventData, instrument: str, run: str | None) -> None: ...


@dataclass(slots=True)
class _Command:
    """Work for the lane. ``safety`` work replaces all that waits and is done whatever state the link is in."""

    work: Callable[[], Any]
    safety: bool = False
    result: Future[Any] = field(default_factory=Future)


class InstrumentHost:
    """One instrument as the bench has it. Built on the event loop; ``start`` starts the lane."""

    def __init__(self, config: InstrumentConfig, bench: str, clock: Clock, output: HostOutput) -> None:
        self.name = config.name
        self.kind: Kind = config.type.kind
        self.driver = config.type.name
        self.dialect = config.dialect
        self.rate_hz = config.rate_hz
        self.limits = config.limits
        self.identity: Identity | None = None
        self.state = InstrumentState.CONNECTING
        self.words = "connecting"
        self._since = rfc3339(clock.now())
        self.claimed_by: str | None = None
        self._address = config.address
        self._driver = config.driver
        self._bench = bench
        self._log = structlog.get_logger().bind(bench=bench, instrument=config.name)  # threads see no context
        self._clock = clock
        self._output = output
        self._interlocks: tuple[Interlock, ...] = interlocks_for(self.kind, config.limits)
        self._loop = asyncio.get_running_loop()
        self._thread = threading.Thread(target=self._lane, name=f"lane-{config.name}", daemon=True)
        self._stop = threading.Event()
        self._wake = threading.Event()
        self._commands: deque[_Command] = deque()
        self._commands_lock = threading.Lock()
        self._energised = True  # until the instrument itself has been put into its safe state
        self._trip: Trip | None = None
        self._frames = FrameMaker(bench, config.name, self.kind.signals, clock)

    # --- what the bench calls, on the event loop ---

    def start(self) -> None:
        """Start the I/O thread; the instrument connects, and reconnects, by itself."""
        self._output.status(self.status())
        self._thread.start()

    async def stop(self, timeout_s: float = 3.0) -> bool:
        """End the I/O thread and let go of the link. Return False if the thread did not end in time."""
        self._stop.set()
        self._wake.set()
        await asyncio.to_thread(self._thread.join, timeout_s)
        ended = not self._thread.is_alive()
        if ended:
            self._enter(InstrumentState.STOPPED, "the daemon let go of it")
            self._output.status(self.status())
        return ended

    async def apply(self, setting: str, value: float | bool, *, run: str | None) -> None:
        """Send one setting and read the error queue. Raises DeviceRefused, DeviceUnavailable or OutOfSync."""
        await self._on_lane(lambda: self._apply(setting, value, run), SETTING_TIMEOUT_S)

    async def test(self, test: str, *, run: str | None) -> EventData:
        """Run one of the kind's tests and return what it found; it is an event as well."""

        def work() -> EventData:
            result: EventData = self._use(getattr(self._driver, self.kind.tests[test]))
            self._post_event(result, run)
            return result

        found: EventData = await self._on_lane(work, TEST_TIMEOUT_S)
        return found

    async def make_safe(self) -> bool:
        """Put the instrument into its safe state, whatever state the link is in; True if it was reached in time."""
        try:
            return bool(await self._on_lane(self._make_safe, MAKE_SAFE_TIMEOUT_S, safety=True))
        except WakerailError:
            return False

    async def reset_interlock(self, operator: str) -> None:
        """A person has looked: let a tripped instrument be used again. Raises DeviceRefused if none is tripped."""

        def work() -> None:
            if self._trip is None:
                raise DeviceRefused("no interlock is tripped")
            self._trip = None
            self._post_event(InterlockReset(instrument=self.name, operator=operator), None)
            self._set_state(InstrumentState.READY, "ready")

        await self._on_lane(work, SETTING_TIMEOUT_S)

    def status(self) -> Status:
        """Return the present state as it goes on the bus."""
        return Status(
            bench=self._bench,
            instrument=self.name,
            state=self.state,
            words=self.words,
            since=self._since,
            kind=self.kind.name,
            driver=self.driver,
            address=self._address,
            identity=self.identity,
        )

    async def _on_lane(self, work: Callable[[], Any], timeout_s: float, *, safety: bool = False) -> Any:
        command = _Command(work, safety)
        overtaken: list[_Command] = []
        with self._commands_lock:
            if safety:  # nothing that was asked before may switch it on again afterwards
                overtaken = [waiting for waiting in self._commands if not waiting.safety]
                self._commands = deque(waiting for waiting in self._commands if waiting.safety)
            self._commands.append(command)
        for waiting in overtaken:
            if waiting.result.set_running_or_notify_cancel():
                waiting.result.set_exception(DeviceRefused("not done, it was made safe first"))
        self._wake.set()
        try:
            # shielded: an abandoned answer would belong to the next question
            return await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(command.result)), timeout_s)
        except WakerailError as wrong:  # neither drivers nor the lane know, or say, which instrument it is
            raise type(wrong)(f"{self.name}: {wrong}") from wrong
        except TimeoutError:
            command.result.cancel()
            raise OutOfSync(f"{self.name}: no answer within {timeout_s:g} s; its state is not known") from None

    # --- the lane: the only thread that touches the driver ---

    def _lane(self) -> None:
        retry_s = FIRST_RETRY_S
        while not self._stop.is_set():
            try:
                if self._open():
                    retry_s = FIRST_RETRY_S
                    self._poll_until_lost()
            except WakerailError as lost:
                self._lose(lost)
            except Exception as wrong:  # noqa: BLE001  a plugin may raise anything; the bench goes on
                self._log.exception("driver broke its contract")
                self._lose(OutOfSync(f"the driver failed: {type(wrong).__name__}: {wrong}"))
            self._sit_out(retry_s)
            retry_s = min(retry_s * 2, LAST_RETRY_S)
        self._refuse_waiting()
        self._tell_frame()
        self._driver.close()

    def _open(self) -> bool:
        if self._stop.is_set():
            return False
        identity = self._driver.open()
        # Whoever used it before may have left it on.
        self._driver.make_safe()
        self._energised = False
        self.identity = identity
        self._post_event(InstrumentConnected(instrument=self.name, identity=identity), None)
        if self._trip is not None:
            self._set_state(InstrumentState.TRIPPED, f"{self._trip.interlock}: {self._trip.says}")
        else:
            self._set_state(InstrumentState.READY, "ready")
        return True

    def _poll_until_lost(self) -> None:
        period_s = 1.0 / self.rate_hz
        due_s = self._clock.monotonic_s() // period_s * period_s
        while not self._stop.is_set():
            self._run_commands()
            if not self._driver.waits:
                now_s = self._clock.monotonic_s()
                if now_s < due_s:
                    self._wake.clear()
                    if not self._commands and not self._stop.is_set():
                        self._clock.wait(self._wake, due_s - now_s)
                    continue
                # A late poll is not made up for by a burst of hurried ones.
                due_s = max(due_s, now_s // period_s * period_s) + period_s
            self._poll()

    def _poll(self) -> None:
        before_s = self._clock.monotonic_s()
        reading = data_of(self._driver.read())
        after_s = self._clock.monotonic_s()
        if reading.signals:
            trip = next((trip for guard in self._interlocks if (trip := guard.judge(reading.signals))), None)
            if trip is not None and self._trip is None:
                self._act_on(trip)
            self._frames.add(reading, before_s, after_s)
        if self.claimed_by is not None or self._frames.age_s(after_s) >= IDLE_FRAME_S:
            self._tell_frame()
        for data in reading.events:
            self._post_event(data, None)

    def _tell_frame(self) -> None:
        if (frame := self._frames.make()) is not None:
            self._post(self._output.frame, frame)

    def _apply(self, setting: str, value: float | bool, run: str | None) -> None:
        what = self.kind.settings[setting]
        releases = what.energises and not value
        if not releases:
            if self._trip is not None:
                raise DeviceRefused(
                    f"the {self._trip.interlock} interlock has tripped ({self._trip.says}); "
                    "a person must look and reset it first"
                )
            for guard in self._interlocks:
                if why := guard.refusal(setting, value):
                    raise DeviceRefused(why)
        if what.energises and value:
            self._energised = True
        self._use(lambda: getattr(self._driver, what.method)(value))
        faults = self._use(self._driver.faults)
        for fault in faults:
            said = InstrumentFaulted(instrument=self.name, code=fault.code, text=fault.text, after=setting)
            self._post_event(said, run)
        if faults:
            raise DeviceRefused(f"it refused {setting}: {faults[0].code}, {faults[0].text}")
        if releases:
            self._energised = False
        applied = SettingApplied(instrument=self.name, setting=setting, value=float(value), unit=what.unit or "1")
        self._post_event(applied, run)

    def _use(self, call: Callable[[], Any]) -> Any:
        if self.state is InstrumentState.UNAVAILABLE:
            raise DeviceUnavailable(self.words)
        return call()

    def _make_safe(self) -> bool:
        try:
            self._driver.make_safe()
        except Exception as wrong:  # noqa: BLE001  whatever a plugin raises, the walk goes on and the failure is told
            self._post_event(MadeSafe(instrument=self.name, reached=False, why=str(wrong)), self.claimed_by)
            return False
        if self._energised:
            self._post_event(MadeSafe(instrument=self.name, reached=True, why="asked to"), self.claimed_by)
        self._energised = False
        return True

    def _act_on(self, trip: Trip) -> None:
        self._trip = trip
        reached = self._make_safe()
        ending = "" if reached else "; IT COULD NOT BE SWITCHED OFF: pull its plug"
        tripped = InterlockTripped(
            instrument=self.name,
            interlock=trip.interlock,
            says=trip.says + ending,
            value=trip.value,
            limit=trip.limit,
            unit=trip.unit,
        )
        self._post_event(tripped, self.claimed_by)
        self._set_state(InstrumentState.TRIPPED, f"{trip.interlock}: {trip.says}{ending}")

    def _run_commands(self) -> None:
        """Run what waits. A link error ends the lane's use of the link, after the asker was told."""
        while (command := self._next_command()) is not None:
            if not command.result.set_running_or_notify_cancel():
                continue
            try:
                command.result.set_result(command.work())
            except DeviceRefused as refused:
                command.result.set_exception(refused)
            except WakerailError as lost:
                command.result.set_exception(lost)
                raise
            except Exception as wrong:
                broken = OutOfSync(f"the driver failed: {type(wrong).__name__}: {wrong}")
                command.result.set_exception(broken)
                raise

    def _next_command(self, *, safety_only: bool = False) -> _Command | None:
        with self._commands_lock:
            if self._commands and (self._commands[0].safety or not safety_only):
                return self._commands.popleft()
        return None

    def _lose(self, why: WakerailError) -> None:
        was_ready = self.state in {InstrumentState.READY, InstrumentState.TRIPPED}
        news = str(why) != self.words
        self._energised = True
        self._driver.close()
        self._tell_frame()
        self._set_state(InstrumentState.UNAVAILABLE, str(why))
        if was_ready:
            lost = InstrumentLost(instrument=self.name, state=InstrumentState.UNAVAILABLE, why=str(why))
            self._post_event(lost, self.claimed_by)
        if news:
            self._log.warning("instrument is not available", why=str(why))

    def _sit_out(self, retry_s: float) -> None:
        """Wait before the next attempt; making safe is tried even now, everything else is refused."""
        end_s = self._clock.monotonic_s() + retry_s
        while not self._stop.is_set():
            while (command := self._next_command(safety_only=True)) is not None:
                if command.result.set_running_or_notify_cancel():
                    command.result.set_result(command.work())
            self._refuse_waiting()
            left_s = end_s - self._clock.monotonic_s()
            if left_s <= 0:
                return
            self._wake.clear()
            if not self._commands and not self._stop.is_set():
                self._clock.wait(self._wake, left_s)

    def _refuse_waiting(self) -> None:
        while (command := self._next_command()) is not None:
            if command.safety and not self._stop.is_set():
                with self._commands_lock:
                    self._commands.appendleft(command)
                return
            if command.result.set_running_or_notify_cancel():
                command.result.set_exception(DeviceUnavailable(self.words))

    # --- from the lane to the event loop ---

    def _post(self, call: Callable[..., None], *args: Any) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody is left to tell
            self._loop.call_soon_threadsafe(call, *args)

    def _post_event(self, data: EventData, run: str | None) -> None:
        self._post(self._output.event, data, self.name, run or self.claimed_by)

    def _set_state(self, state: InstrumentState, words: str) -> None:
        """Change the state in the lane itself, so that no command slips in before the loop has heard of it."""
        if (state, words) != (self.state, self.words):
            self._enter(state, words)
            self._post(self._output.status, self.status())

    def _enter(self, state: InstrumentState, words: str) -> None:
        self.state, self.words, self._since = state, words, rfc3339(self._clock.now())
