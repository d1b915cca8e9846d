"""An instrument's lane: the one thread that touches its driver.

It polls at the configured rate, runs one command at a time between polls, and asks the interlocks of every reading
before anyone else sees it. After any time-out or garbled answer the instrument counts as energised: the lane closes,
reopens, identifies and makes it safe before it is used again.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from typing import Any, Protocol

import structlog

from wakerail.bench.commands import Command, CommandQueue
from wakerail.bench.frames import FrameMaker, data_of
from wakerail.bench.interlocks import PULL_ITS_PLUG, Keeper, Samples, Trip
from wakerail.config import InstrumentConfig
from wakerail.heat_limits import cool_down_of
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
from wakerail_kit.kinds import Kind, Reading
from wakerail_kit.messages import Frame, Identity, InstrumentState

FIRST_RETRY_S = 0.25
LAST_RETRY_S = 8.0
#: How soon a tripped instrument that could not be switched off is tried again.
SAFE_AGAIN_S = 1.0
#: Samples of an instrument that no run uses are told this many seconds' worth at a time; a run gets each at once.
IDLE_FRAME_S = 0.25


class LaneOutput(Protocol):
    """Where a lane's news go, in the order things happened. Called in the lane's thread; must not block."""

    def frame(self, frame: Frame) -> None: ...
    def changed(self) -> None: ...
    def event(self, data: EventData, run: str | None) -> None: ...


class Lane:
    """Polls one instrument until it is stopped. ``run`` is the thread's work; all else is asked of it by ``ask``."""

    def __init__(self, config: InstrumentConfig, bench: str, clock: Clock, keeper: Keeper, output: LaneOutput) -> None:
        self.name = config.name
        self.kind: Kind = config.type.kind
        self.identity: Identity | None = None
        self.state = InstrumentState.CONNECTING
        self.words = "connecting"
        self.since = rfc3339(clock.now())
        self.claimed_by: str | None = None
        #: When the driver last came back from anything, done or not (monotonic seconds).
        self.seen_s = clock.monotonic_s()
        self._driver = config.driver
        self._period_s = 1.0 / config.rate_hz
        self._cool_down = cool_down_of(self.kind, config.limits)
        self._clock = clock
        self._keeper = keeper
        self._output = output
        self._log = structlog.get_logger().bind(bench=bench, instrument=config.name)  # threads see no context
        self._stop = threading.Event()
        self._wake = threading.Event()
        self._commands = CommandQueue()
        self._energised = True  # until the instrument itself has been put into its safe state
        self._safe_again_s: float | None = None  # when to try again what could not be switched off
        #: What a person is told as long as a trip stands.
        self._trip_words = "" if keeper.trip is None else f"{keeper.trip.interlock}: {keeper.trip.says}"
        self._frames = FrameMaker(bench, config.name, self.kind.signals, clock)

    # --- from any thread ---

    @property
    def energised(self) -> bool:
        """Whether it may be on: it was switched on, or its state is not known."""
        return self._energised

    def ask(self, work: Callable[[], Any], *, safety: bool = False) -> Command:
        """Let the lane do something between two polls; the command has the result."""
        command = Command(work, safety)
        self._commands.put(command)
        self._wake.set()
        return command

    def stop(self) -> None:
        """Let ``run`` end soon."""
        self._stop.set()
        self._wake.set()

    def ended(self, words: str) -> None:
        """Take that the thread has ended."""
        self.state, self.words, self.since = InstrumentState.STOPPED, words, rfc3339(self._clock.now())

    # --- the thread ---

    def run(self) -> None:
        """Open, poll and obey until stopped; open again, with back-off, whenever the instrument is lost."""
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
            retry_s = min(retry_s * 2, LAST_RETRY_S if self._keeper.trip is None else SAFE_AGAIN_S)
        self._commands.refuse(DeviceUnavailable(self.words), safety_too=True)
        self._tell_frame()
        self._driver.close()

    def _now_s(self) -> float:
        return self._clock.monotonic_s()

    def _open(self) -> bool:
        if self._stop.is_set():
            return False
        identity = self._driver.open()
        if self._energised and self._keeper.trip is not None:
            self._command_cool_down()  # its switch has failed before
        # Whoever used it before may have left it on.
        self._driver.make_safe()
        if self._keeper.trip is not None:
            self._output.event(MadeSafe(instrument=self.name, reached=True, why="it answers again"), self.claimed_by)
        self._is_safe()
        self.identity = identity
        self._output.event(InstrumentConnected(instrument=self.name, identity=identity), self.claimed_by)
        if self._keeper.trip is not None:
            self._set_state(InstrumentState.TRIPPED, f"{self._trip_words}; it is off now")
        else:
            self._set_state(InstrumentState.READY, "ready")
        return True

    def _poll_until_lost(self) -> None:
        due_s = self._now_s() // self._period_s * self._period_s
        while not self._stop.is_set():
            self._run_commands()
            self._check_time()
            if not self._driver.waits:
                now_s = self._now_s()
                if now_s < due_s:
                    self._wake.clear()
                    if not self._commands and not self._stop.is_set():
                        self._clock.wait(self._wake, due_s - now_s)
                    continue
                # A late poll is not made up for by a burst of hurried ones.
                due_s = max(due_s, now_s // self._period_s * self._period_s) + self._period_s
            self._poll()

    def _poll(self) -> None:
        before_s = self._now_s()
        reading = data_of(self._driver.read())
        after_s = self.seen_s = self._now_s()
        count = len(next(iter(reading.signals.values()), ()))
        if count:
            spacing_s = reading.spacing_s or 0.0
            newest_s = (before_s + after_s) / 2
            t_s = [newest_s - spacing_s * (count - 1 - index) for index in range(count)]
            self._act_on(self._keeper.judge(Samples(t_s, reading.signals)))
            self._frames.add(reading, before_s, after_s)
        if self.claimed_by is not None or self._frames.age_s(after_s) >= IDLE_FRAME_S:
            self._tell_frame()
        self._tell_events(reading)

    def _tell_events(self, reading: Reading) -> None:
        for data in reading.events:
            self._output.event(data, self.claimed_by)

    def _tell_frame(self) -> None:
        if (frame := self._frames.make()) is not None:
            self._output.frame(frame)

    # --- commands; each is run by the lane through ``ask`` ---

    def apply(self, setting: str, value: float | bool, run: str | None) -> None:
        """Send one setting and read the error queue. Raises DeviceRefused, DeviceUnavailable or OutOfSync."""
        self._require()
        what = self.kind.settings[setting]
        releases = what.energises and not value
        if not releases and (why := self._keeper.refusal(setting, value, self._now_s())):
            raise DeviceRefused(why)
        if what.energises and value:
            self._energised = True
        self._keeper.commanded(setting, None if releases else value, self._now_s())
        try:
            self._send(setting, value, run)
        except DeviceRefused:
            self._keeper.commanded(setting, None, self._now_s())
            if what.energises and value:  # it said no, and yet it may have come on
                self._driver.make_safe()
                self._is_safe()
            raise
        self._keeper.commanded(setting, value, self._now_s())
        if releases:
            self._energised = False
        applied = SettingApplied(instrument=self.name, setting=setting, value=float(value), unit=what.unit or "1")
        self._output.event(applied, run or self.claimed_by)

    def _send(self, setting: str, value: float | bool, run: str | None) -> None:
        getattr(self._driver, self.kind.settings[setting].method)(value)
        faults = self._driver.faults()
        for fault in faults:
            said = InstrumentFaulted(instrument=self.name, code=fault.code, text=fault.text, after=setting)
            self._output.event(said, run or self.claimed_by)
        if faults:
            raise DeviceRefused(f"it refused {setting}: {faults[0].code}, {faults[0].text}")

    def test(self, test: str, run: str | None) -> EventData:
        """Run one of the kind's tests and return what it found; it is an event as well."""
        self._require()
        result: EventData = getattr(self._driver, self.kind.tests[test])()
        self._output.event(result, run or self.claimed_by)
        return result

    def reset(self, operator: str) -> None:
        """Let a tripped instrument be used again. Raises DeviceRefused if none is tripped, or it is still on."""
        if self._keeper.trip is None:
            raise DeviceRefused("no interlock is tripped")
        if self.state is InstrumentState.TRIPPED and self._energised:
            raise DeviceRefused("it could not be switched off yet; pull its plug before anything else")
        self._keeper.reset(self._now_s())
        self._output.event(InterlockReset(instrument=self.name, operator=operator), None)
        if self.state is InstrumentState.TRIPPED:
            self._set_state(InstrumentState.READY, "ready")

    def _require(self) -> None:
        """Raise DeviceUnavailable unless the instrument is there."""
        if self.state is InstrumentState.UNAVAILABLE:
            raise DeviceUnavailable(self.words)

    def make_safe(self, why: str = "asked to") -> bool:
        """Put the instrument into its safe state, whatever state the link is in; return whether that was reached."""
        try:
            self._driver.make_safe()
        except Exception as wrong:  # noqa: BLE001  whatever a plugin raises, the walk goes on and the failure is told
            self._output.event(MadeSafe(instrument=self.name, reached=False, why=str(wrong)), self.claimed_by)
            return False
        if self._energised:
            self._output.event(MadeSafe(instrument=self.name, reached=True, why=why), self.claimed_by)
        self._is_safe()
        return True

    def _is_safe(self) -> None:
        self._energised = False
        self._safe_again_s = None
        for setting in self.kind.settings.values():
            if setting.energises:
                self._keeper.commanded(setting.name, False, self._now_s())

    # --- interlocks ---

    def _check_time(self) -> None:
        """Ask the interlocks of the time, and try again what could not be switched off."""
        now_s = self._now_s()
        if self._safe_again_s is not None and now_s >= self._safe_again_s:
            self._switch_off_again(now_s)
        self._act_on(self._keeper.check(now_s))

    def _act_on(self, trip: Trip | None) -> None:
        """Make it safe, tell, and command the cool-down, in this order. A later alarm of a trip goes the same way."""
        if trip is None:
            return
        reached = self.make_safe(f"the {trip.interlock} interlock tripped")
        self._tell_trip(trip, "" if reached else f"; IT COULD NOT BE SWITCHED OFF: {PULL_ITS_PLUG}")
        if reached:
            self._command_cool_down()
        else:
            self._safe_again_s = self._now_s() + SAFE_AGAIN_S

    def _tell_trip(self, trip: Trip, ending: str) -> None:
        tripped = InterlockTripped(
            instrument=self.name,
            interlock=trip.interlock,
            says=trip.says + ending,
            value=trip.value,
            limit=trip.limit,
            unit=trip.unit,
        )
        self._output.event(tripped, self.claimed_by)
        self._trip_words = f"{trip.interlock}: {trip.says}{ending}"
        if self.state is not InstrumentState.UNAVAILABLE:
            self._set_state(InstrumentState.TRIPPED, self._trip_words)

    def _switch_off_again(self, now_s: float) -> None:
        if self.make_safe("tried again after an interlock tripped"):
            self._command_cool_down()
            self._set_state(InstrumentState.TRIPPED, f"{self._trip_words}; it is off now")
        else:
            self._safe_again_s = now_s + SAFE_AGAIN_S

    def _command_cool_down(self) -> None:
        """Set what is left to set so that the instrument gets cooler even if its switch fails; best effort."""
        for setting, value in self._cool_down.items():
            with contextlib.suppress(WakerailError):  # it is off; a link that fails shows at the next poll
                self._keeper.commanded(setting, None, self._now_s())
                self._send(setting, value, None)
                self._keeper.commanded(setting, value, self._now_s())
                unit = self.kind.settings[setting].unit or "1"
                applied = SettingApplied(instrument=self.name, setting=setting, value=value, unit=unit)
                self._output.event(applied, self.claimed_by)

    # --- commands waiting, and losing the instrument ---

    def _run_commands(self) -> None:
        """Run what waits. A link error ends the lane's use of the link, after the asker was told."""
        while (command := self._commands.next()) is not None:
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
            finally:
                self.seen_s = self._now_s()

    def _lose(self, why: WakerailError) -> None:
        was_ready = self.state in {InstrumentState.READY, InstrumentState.TRIPPED}
        news = not self.words.startswith(str(why))
        self._energised = True
        # Not waiting for the next attempt to open it: a plate that heats is switched off on a new link at once.
        self._act_on(self._keeper.lost(self._now_s(), str(why)))
        self._driver.close()
        self._tell_frame()
        self.seen_s = self._now_s()
        words = str(why) if self._keeper.trip is None else f"{why}; {self._trip_words}"
        self._set_state(InstrumentState.UNAVAILABLE, words)
        if was_ready:
            lost = InstrumentLost(instrument=self.name, state=InstrumentState.UNAVAILABLE, why=str(why))
            self._output.event(lost, self.claimed_by)
        if news:
            self._log.warning("instrument is not available", why=str(why))

    def _sit_out(self, retry_s: float) -> None:
        """Wait before the next attempt; making safe is tried even now, everything else is refused."""
        end_s = self._now_s() + retry_s
        while not self._stop.is_set():
            while (command := self._commands.next_of_safety()) is not None:
                if command.result.set_running_or_notify_cancel():
                    command.result.set_result(command.work())
            self._commands.refuse(DeviceUnavailable(self.words), safety_too=False)
            self.seen_s = self._now_s()
            left_s = end_s - self.seen_s
            if left_s <= 0:
                return
            self._wake.clear()
            if not self._commands and not self._stop.is_set():
                self._clock.wait(self._wake, left_s)

    def _set_state(self, state: InstrumentState, words: str) -> None:
        """Change the state in the lane itself, so that no command slips in before the loop has heard of it."""
        if (state, words) != (self.state, self.words):
            self.state, self.words, self.since = state, words, rfc3339(self._clock.now())
            self._output.changed()
