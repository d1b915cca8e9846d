"""What arrives from a run's instruments while it lasts: frames, USB events, losses, interlock trips."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager

from wakerail.bus import Publication
from wakerail.sequences.access import Bench, InstrumentAccess
from wakerail.sequences.timing import leave_behind
from wakerail_kit import topics
from wakerail_kit.clock import Clock
from wakerail_kit.errors import DeviceUnavailable
from wakerail_kit.events import EVENT_TYPES, EventData, UsbAttached, UsbDetached, UsbEnumerationFailed, any_data
from wakerail_kit.kinds import POWER_SOURCE
from wakerail_kit.messages import Event, Frame

UsbEvent = UsbAttached | UsbDetached | UsbEnumerationFailed
Arrival = Frame | UsbEvent

#: A step that looks back (a watch after its prompt) sees at most this much.
LOOK_BACK_S = 30.0
#: A listener that is this many arrivals behind can no longer be trusted to keep up.
QUEUE_LENGTH = 10_000
#: An output that reads off for this long has gone off by itself.
OFF_LIMIT_S = 1.0


def stall_limit_s(rate_hz: float) -> float:
    """Return how long an instrument polled at ``rate_hz`` may send no frame: five polls, at least one second."""
    return max(1.0, 5.0 / rate_hz)


class Arrivals:
    """The run's ear on the bus. ``tell(instrument, event, data, row)`` hears of every event of the
    instruments, in the order they come; ``row`` is its place in the journal."""

    def __init__(
        self, bench: Bench, instruments: Iterable[str], tell: Callable[[str, Event, EventData, int | None], None]
    ) -> None:
        self._clock = bench.clock
        self._tell = tell
        self._recent: deque[tuple[str, float, Arrival]] = deque()
        self._listeners: list[Listener] = []
        self._attached: dict[tuple[str, str], UsbAttached] = {}
        self._subscriptions = ExitStack()
        for name in instruments:
            for leaf, deliver in (("frame", self._frame), ("event", self._event)):
                topic = topics.instrument(bench.name, name, leaf)
                self._subscriptions.callback(bench.bus.follow(topic, deliver))

    def close(self) -> None:
        """Stop listening."""
        self._subscriptions.close()

    def recent(self, names: Iterable[str], since_s: float) -> list[Arrival]:
        """Return what came from some instruments since a moment, oldest first; at most LOOK_BACK_S of it."""
        wanted = set(names)
        return [arrival for name, at_s, arrival in self._recent if name in wanted and at_s >= since_s]

    def attached(self, name: str) -> list[UsbAttached]:
        """Return what a usb-watcher has seen attached since the run began, and that has not left again."""
        return [one for (watcher, _), one in self._attached.items() if watcher == name]

    @contextmanager
    def listen(self, paced: InstrumentAccess, others: Iterable[str] = ()) -> Iterator[Listener]:
        """Hear what comes from now on from an instrument that must keep sending frames, and from others."""
        listener = Listener(self._clock, paced, {paced.name, *others})
        self._listeners.append(listener)
        try:
            yield listener
        finally:
            self._listeners.remove(listener)
            listener.close()

    def _frame(self, published: Publication) -> None:
        frame = published.message
        if isinstance(frame, Frame):
            self._arrive(frame.instrument, frame.t_s[-1], frame)

    def _event(self, published: Publication) -> None:
        event = published.message
        if not isinstance(event, Event) or event.type not in EVENT_TYPES:
            return  # a newer plugin's event: not ours to judge
        data: EventData = any_data(event)
        name = topics.parse(published.topic).owner
        if isinstance(data, UsbEvent):
            self._attached.pop((name, data.path), None)
            if isinstance(data, UsbAttached):
                self._attached[name, data.path] = data
            self._arrive(name, data.at_s, data)
        self._tell(name, event, data, published.row)

    def _arrive(self, name: str, at_s: float, arrival: Arrival) -> None:
        self._recent.append((name, at_s, arrival))
        oldest_s = self._clock.monotonic_s() - LOOK_BACK_S
        while self._recent and self._recent[0][1] < oldest_s:
            self._recent.popleft()
        for listener in self._listeners:
            listener.take(name, arrival)


class Listener:
    """A step's queue of arrivals; it notices when the frames that it depends on stop coming."""

    def __init__(self, clock: Clock, paced: InstrumentAccess, names: set[str]) -> None:
        self._clock = clock
        self._paced = paced.name
        self._names = names
        self._limit_s = stall_limit_s(paced.rate_hz)
        self._queue: asyncio.Queue[Arrival | DeviceUnavailable] = asyncio.Queue(QUEUE_LENGTH)
        self._last_frame_s = clock.monotonic_s()
        self._watchdog = asyncio.ensure_future(self._watch_for_silence())

    async def next(self) -> Arrival:
        """Return the next arrival. Raises DeviceUnavailable when frames stop, or come faster than they are used."""
        arrival = await self._queue.get()
        if isinstance(arrival, DeviceUnavailable):
            raise arrival
        return arrival

    def take(self, name: str, arrival: Arrival) -> None:
        """Put an arrival into the queue if it is from one of this listener's instruments."""
        if name not in self._names:
            return
        if name == self._paced and isinstance(arrival, Frame):
            self._last_frame_s = self._clock.monotonic_s()
        if self._queue.full():
            self._end(f"{name}: {QUEUE_LENGTH} arrivals wait unread; this machine cannot keep up")
        else:
            self._queue.put_nowait(arrival)

    def close(self) -> None:
        leave_behind(self._watchdog)

    def _end(self, why: str) -> None:
        while not self._queue.empty():
            self._queue.get_nowait()
        self._queue.put_nowait(DeviceUnavailable(why))
        self._names = set()

    async def _watch_for_silence(self) -> None:
        while (left_s := self._last_frame_s + self._limit_s - self._clock.monotonic_s()) > 0:
            await self._clock.sleep(left_s)
        self._end(f"{self._paced}: sent no frame for {self._limit_s:g} s")


class StillOn:
    """Notices that a supply's output, switched on by the run, went off by itself.

    Only supplies are judged so: a plate's heater goes off and on as it regulates.
    """

    def __init__(self, instrument: InstrumentAccess, on_since_s: float | None) -> None:
        self._name = instrument.name
        self._on_since_s = on_since_s if instrument.kind is POWER_SOURCE else None
        self._off_since_s: float | None = None

    def take(self, frame: Frame) -> None:
        """Look at a frame's output signal. Raises DeviceUnavailable if it has read off for OFF_LIMIT_S."""
        if self._on_since_s is None or frame.instrument != self._name:
            return
        for t_s, half_s, on in zip(frame.t_s, frame.half_width_s, frame.signals.get("output", ()), strict=False):
            if on is None or t_s - half_s < self._on_since_s:
                continue
            if on:
                self._off_since_s = None
            elif self._off_since_s is None:
                self._off_since_s = t_s
            elif t_s - self._off_since_s >= OFF_LIMIT_S:
                self.finish()

    def finish(self) -> None:
        """Raise DeviceUnavailable if the output reads off now."""
        if self._off_since_s is not None:
            raise DeviceUnavailable(
                f"{self._name}: its output went off by itself; look at its own protection and its front panel"
            )
