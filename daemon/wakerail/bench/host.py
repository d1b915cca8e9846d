"""Hosts one instrument for the event loop: what the bench asks of its lane, and what it hears from it."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable
from typing import Any, Protocol

from wakerail.analysis.injection import Injected
from wakerail.bench.interlocks import PULL_ITS_PLUG, Allowance, Most, Presence, Trip, Wiring, keeper_for
from wakerail.bench.lane import Lane
from wakerail.config import InstrumentConfig
from wakerail_kit.clock import Clock
from wakerail_kit.errors import DeviceRefused, OutOfSync, WakerailError
from wakerail_kit.events import EventData, InterlockTripped, PresenceConfirmed
from wakerail_kit.kinds import HEAT_SOURCE, Kind
from wakerail_kit.messages import Frame, Identity, InstrumentState, Status

#: How long a caller waits for the lane to take and finish a command. A run's own limits are shorter: these hold
#: whoever asks without one.
SETTING_TIMEOUT_S = 15.0
TEST_TIMEOUT_S = 75.0
MAKE_SAFE_TIMEOUT_S = 3.0
#: A driver's call ends by itself within 5 s; one that does not is stuck, and its instrument cannot be reached.
STUCK_S = 6.0
_WATCH_EVERY_S = 1.0


class HostOutput(Protocol):
    """Where a host's news go; all calls come on the event loop's thread, in the order things happened."""

    def frame(self, frame: Frame) -> None: ...
    def status(self, status: Status) -> None: ...
    def event(self, data: EventData, instrument: str, run: str | None) -> None: ...


class InstrumentHost:
    """One instrument as the bench has it. Built on the event loop; ``start`` starts the lane.

    ``presence`` is the bench's; without one nobody can ever confirm to be there, and nothing heats. ``standing`` is a
    trip from before that nobody has reset.
    """

    def __init__(
        self,
        config: InstrumentConfig,
        bench: str,
        clock: Clock,
        output: HostOutput,
        *,
        presence: Presence | None = None,
        wiring: Wiring | None = None,
        standing: InterlockTripped | None = None,
    ) -> None:
        self.name = config.name
        self.kind: Kind = config.type.kind
        self.driver = config.type.name
        self.dialect = config.dialect
        self.calibrated = config.calibrated
        self.rate_hz = config.rate_hz
        self.limits = config.limits
        #: Who runs the run that has claimed it; empty if nobody stands behind that run.
        self.operator = ""
        self._address = config.address
        self._bench = bench
        self._clock = clock
        self._output = output
        self._loop = asyncio.get_running_loop()
        self._allowance = Allowance()
        keeper = keeper_for(self.kind, config.limits, presence or Presence(0.0), wiring, self._allowance)
        if standing is not None:
            keeper.stand(Trip(standing.interlock, standing.says, standing.value, standing.limit, standing.unit))
        self._lane = Lane(config, bench, clock, keeper, self)
        self._thread = threading.Thread(target=self._lane.run, name=f"lane-{config.name}", daemon=True)
        self._watching: asyncio.Task[None] | None = None

    # --- what the bench calls, on the event loop ---

    @property
    def identity(self) -> Identity | None:
        """Who it says it is; None before it answered."""
        return self._lane.identity

    @property
    def state(self) -> InstrumentState:
        """Where it stands."""
        return self._lane.state

    @property
    def words(self) -> str:
        """The state, said to a person."""
        return self._lane.words

    @property
    def claimed_by(self) -> str | None:
        """The run that has it."""
        return self._lane.claimed_by

    @claimed_by.setter
    def claimed_by(self, run: str | None) -> None:
        self._allowance.most = None  # it is the run's that had it
        self._lane.claimed_by = run

    def allow(self, most: Injected, power_w: float) -> None:
        """Let no more be set, nor be measured while the output is on, for as long as the run that has it has it.

        Above it a setting is refused, and a reading trips: the output is off before anybody else sees that reading.
        """
        self._allowance.most = Most(most, power_w)

    def start(self) -> None:
        """Start the I/O thread; the instrument connects, and reconnects, by itself."""
        self._output.status(self.status())
        self._thread.start()
        if self.kind is HEAT_SOURCE:
            self._watching = self._loop.create_task(self._watch_lane(), name=f"watch-{self.name}")

    async def stop(self, timeout_s: float = 3.0) -> bool:
        """End the I/O thread and let go of the link. Return False if the thread did not end in time."""
        if self._watching is not None:
            self._watching.cancel()
        self._lane.stop()
        await asyncio.to_thread(self._thread.join, timeout_s)
        ended = not self._thread.is_alive()
        if ended:
            self._lane.ended("the daemon let go of it")
            self._output.status(self.status())
        return ended

    async def apply(self, setting: str, value: float | bool, *, run: str | None) -> None:
        """Send one setting and read the error queue. Raises DeviceRefused, DeviceUnavailable or OutOfSync."""
        if self.kind is HEAT_SOURCE and setting == "heater" and value and run is not None and not self.operator:
            raise DeviceRefused(f"{self.name}: heat needs a person, and this run names no operator")
        await self._on_lane(lambda: self._lane.apply(setting, value, run), SETTING_TIMEOUT_S)

    async def test(self, test: str, *, run: str | None) -> EventData:
        """Run one of the kind's tests and return what it found; it is an event as well."""
        found: EventData = await self._on_lane(lambda: self._lane.test(test, run), TEST_TIMEOUT_S)
        return found

    async def make_safe(self) -> bool:
        """Put the instrument into its safe state, whatever state the link is in; True if it was reached in time."""
        try:
            return bool(await self._on_lane(self._lane.make_safe, MAKE_SAFE_TIMEOUT_S, safety=True))
        except WakerailError:
            return False

    async def reset_interlock(self, operator: str) -> None:
        """A person has looked: let a tripped instrument be used again. Raises DeviceRefused if none is tripped."""
        if not operator.strip():
            raise DeviceRefused(f"{self.name}: only a person can reset it; say who looked")
        await self._on_lane(lambda: self._lane.reset(operator), SETTING_TIMEOUT_S)

    def tell_presence(self, operator: str, left_s: float) -> None:
        """Tell that a person confirmed to be at the bench: heat may go on for ``left_s``."""
        said = PresenceConfirmed(instrument=self.name, operator=operator, left_s=left_s)
        self._output.event(said, self.name, self.claimed_by)

    def status(self) -> Status:
        """Return the present state as it goes on the bus."""
        return Status(
            bench=self._bench,
            instrument=self.name,
            state=self.state,
            words=self.words,
            since=self._lane.since,
            kind=self.kind.name,
            driver=self.driver,
            address=self._address,
            identity=self.identity,
        )

    async def _on_lane(self, work: Callable[[], Any], timeout_s: float, *, safety: bool = False) -> Any:
        command = self._lane.ask(work, safety=safety)
        try:
            # shielded: an abandoned answer would belong to the next question
            return await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(command.result)), timeout_s)
        except WakerailError as wrong:  # neither drivers nor the lane know, or say, which instrument it is
            raise type(wrong)(f"{self.name}: {wrong}") from wrong
        except TimeoutError:
            command.result.cancel()
            raise OutOfSync(f"{self.name}: no answer within {timeout_s:g} s; its state is not known") from None

    async def _watch_lane(self) -> None:
        """Say so when the lane does not come back from its driver while the instrument may heat."""
        told = False
        while True:
            await self._clock.sleep(_WATCH_EVERY_S)
            stuck_s = self._clock.monotonic_s() - self._lane.seen_s
            if stuck_s <= STUCK_S or not self._lane.energised:
                told = False
            elif not told:
                told = True
                self._lane.ask(self._lane.make_safe, safety=True)  # first of all, if it ever comes back
                says = f"its driver has not come back for {stuck_s:.0f} s, and it may heat: {PULL_ITS_PLUG}"
                trip = InterlockTripped(
                    instrument=self.name, interlock="lost-communication", says=says, value=None, limit=None, unit="s"
                )
                self.event(trip, None)

    # --- what the lane tells, in its own thread (LaneOutput) ---

    def frame(self, frame: Frame) -> None:
        """Hand a frame to the event loop."""
        self._post(self._output.frame, frame)

    def changed(self) -> None:
        """Hand the lane's new state to the event loop."""
        self._post(self._output.status, self.status())

    def event(self, data: EventData, run: str | None) -> None:
        """Hand an event to the event loop."""
        self._post(self._output.event, data, self.name, run)

    def _post(self, call: Callable[..., None], *args: Any) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody is left to tell
            self._loop.call_soon_threadsafe(call, *args)
