"""The bench: its hosted instruments, and the one way in which anything that happens is kept and told.

What happens is put into the journal first and announced on the bus when it is durable there. Frames go to the bus at
once and into the journal in chunks.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterable, Iterator, Mapping, Sequence
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass

import structlog

from wakerail.bench.host import InstrumentHost
from wakerail.bench.interlocks import Presence, Wiring
from wakerail.bus import Bus
from wakerail.config import BenchConfig, InstrumentConfig
from wakerail.heat_limits import heat_limits
from wakerail.jobs.book import naming
from wakerail.journal import Journal
from wakerail_kit import topics
from wakerail_kit.clock import Clock
from wakerail_kit.errors import DeviceRefused, WakerailError
from wakerail_kit.events import EventData, InterlockTripped, PromptAnswered, make_event
from wakerail_kit.job_events import IsolationObserved, JobOpened
from wakerail_kit.kinds import HEAT_SOURCE
from wakerail_kit.messages import Event, Frame, Prompt, Status, Verdict

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Recorded:
    """An event as it was kept: ``row`` is its place in the journal."""

    event: Event
    row: int


class Bench:
    """The instruments of a bench and the keeping of what happens there.

    ``standing`` are trips, by instrument, that nobody has reset since the bench was served last.
    """

    def __init__(
        self,
        config: BenchConfig,
        clock: Clock,
        bus: Bus,
        journal: Journal,
        standing: Mapping[str, InterlockTripped] | None = None,
    ) -> None:
        self.name = config.name
        self.clock = clock
        self.bus = bus
        #: The device families that this shop knows, by name.
        self.families = {family.name: family for family in config.families}
        self._journal = journal
        self._tasks: set[asyncio.Task[object]] = set()
        self.presence = Presence(config.attended_s)
        wirings = wirings_of(config.instruments)
        #: The hosted instruments by name, in the order of the configuration.
        self.instruments = {
            one.name: InstrumentHost(
                one,
                config.name,
                clock,
                self,
                presence=self.presence,
                wiring=wirings.get(one.name),
                standing=(standing or {}).get(one.name),
            )
            for one in config.instruments
        }

    # --- keeping and telling ---

    async def record(
        self, data: EventData, *, owner: str, run: str | None = None, cause: str | None = None
    ) -> Recorded:
        """Keep an event and then announce it. ``owner`` is an instrument, or ``sequence`` for a run's own events.

        A journal that cannot be written does not stop the bench: the event is announced without a row (-1) and
        the failure is logged. Verdicts are stricter, see ``record_verdict``.
        """
        if isinstance(data, PromptAnswered) and data.confirmed and data.person and data.operator:
            self.person_present(data.operator)  # whoever answers a prompt stands at the bench
        event = make_event(data, clock=self.clock, bench=self.name, owner=owner, run=run, cause=cause)
        if owner == "sequence" and run is not None:
            topic = topics.run(self.name, run, "event")
        else:
            topic = topics.instrument(self.name, owner, "event")
        try:
            row = await self._journal.append(topic, event)
        except WakerailError as wrong:
            log.error("event is not in the journal", why=str(wrong), type=event.type)
            row = -1
        self.bus.publish(topic, event, row=row if row >= 0 else None)
        return Recorded(event, row)

    async def record_prompt(self, prompt: Prompt) -> int:
        """Keep a prompt and show it."""
        return await self._record(topics.run(self.name, prompt.run, "prompt"), prompt)

    async def record_verdict(self, verdict: Verdict) -> int:
        """Keep a verdict and then announce it. Raises if it could not be made durable: then it is not announced."""
        return await self._record(topics.run(self.name, verdict.run, "verdict"), verdict)

    async def _record(self, topic: str, message: Prompt | Verdict) -> int:
        row = await self._journal.append(topic, message)
        self.bus.publish(topic, message, row=row)
        return row

    async def record_job(self, job: str, happened: Sequence[EventData], *, after: int) -> list[Recorded] | None:
        """Keep events of a job, all or none, and then announce them. ``after`` is the last row they were decided by.

        Return None, and keep nothing, if any bench wrote of the job after that row. Raises, and announces nothing, if
        they could not be made durable.
        """
        events = [self.job_event(job, data)[1] for data in happened]
        topic = topics.job(self.name, job)
        rows = await self._journal.append_unless_later(topic, events, naming=naming(job), after=after)
        if rows is None:
            return None
        return [self.announce(topic, event, row) for event, row in zip(events, rows, strict=True)]

    async def record_opening(self, data: JobOpened) -> Recorded | None:
        """Keep and announce that a job was opened, as ``record_job`` does; None if any bench opened one of its name."""
        topic, event = self.job_event(data.job, data)
        row = await self._journal.append_first(topic, event, naming=naming(data.job))
        return None if row is None else self.announce(topic, event, row)

    def job_event(self, job: str, data: EventData) -> tuple[str, Event]:
        """Return the topic of a job's events, and an event for it; an observation belongs to the run that saw it."""
        run = data.run if isinstance(data, IsolationObserved) else None
        event = make_event(data, clock=self.clock, bench=self.name, owner="job", subject=job, run=run)
        return topics.job(self.name, job), event

    def announce(self, topic: str, event: Event, row: int) -> Recorded:
        """Announce an event that is in the journal."""
        self.bus.publish(topic, event, row=row)
        return Recorded(event, row)

    # --- what the hosts tell (HostOutput) ---

    def frame(self, frame: Frame) -> None:
        """Announce a frame at once; the journal gathers it."""
        self.bus.publish(topics.instrument(self.name, frame.instrument, "frame"), frame)
        self._journal.append_frame(frame, run=self.instruments[frame.instrument].claimed_by)

    def status(self, status: Status) -> None:
        """Announce an instrument's state; it is retained."""
        topic = topics.instrument(self.name, status.instrument, "status")
        self.bus.publish(topic, status, retain=True)

    def event(self, data: EventData, instrument: str, run: str | None) -> None:
        """Keep and announce what an instrument saw; order is kept, since the journal takes them in turn."""
        task = asyncio.get_running_loop().create_task(
            self.record(data, owner=instrument, run=run), name=f"record-{type(data).__name__}"
        )
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    # --- a person at the bench ---

    def person_present(self, operator: str) -> float:
        """Take that a person is at the bench now; return for how many seconds heat may go on.

        Raises DeviceRefused if nobody is named. A confirmed prompt counts without this call.
        """
        if not operator.strip():
            raise DeviceRefused("only a person can confirm to be at the bench; say who")
        now_s = self.clock.monotonic_s()
        self.presence.confirm(now_s)
        left_s = self.presence.left_s(now_s)
        for host in self.instruments.values():
            if host.kind is HEAT_SOURCE:
                host.tell_presence(operator, left_s)
        return left_s

    def present_left_s(self) -> float:
        """Return for how many seconds heat may still go on before a person must confirm again; 0 if it may not."""
        return self.presence.left_s(self.clock.monotonic_s())

    # --- runs ---

    @contextmanager
    def claim(self, run: str, instruments: Iterable[str], *, operator: str = "") -> Iterator[None]:
        """Reserve instruments for a run. Raises DeviceRefused if another run has one of them.

        A run that names no ``operator`` has no person behind it, and is refused heat.
        """
        names = list(instruments)
        for name in names:
            if (other := self.instruments[name].claimed_by) is not None:
                raise DeviceRefused(f"{name} is in use by run {other}; wait for it or abort it first")
        for name in names:
            self.instruments[name].claimed_by = run
            self.instruments[name].operator = operator.strip()
        try:
            yield
        finally:
            for name in names:
                self.instruments[name].claimed_by = None
                self.instruments[name].operator = ""

    async def make_safe(self, instruments: Sequence[str] | None = None) -> dict[str, bool]:
        """Walk over the instruments, in order, putting each into its safe state; tell which were reached.

        Never a broadcast: each has its own time limit and its own try, so one that raises or hangs keeps no
        other from being reached. They are walked at the same time, each in its own thread.
        """
        names = list(self.instruments) if instruments is None else list(instruments)
        reached = await asyncio.gather(*(self._make_one_safe(name) for name in names))
        return dict(zip(names, reached, strict=True))

    async def _make_one_safe(self, name: str) -> bool:
        try:
            reached = await self.instruments[name].make_safe()
        except Exception as wrong:  # noqa: BLE001  the walk goes on whatever one instrument does
            log.error("instrument could not be made safe", instrument=name, why=str(wrong) or type(wrong).__name__)
            return False
        if not reached:
            log.error("instrument could not be made safe", instrument=name)
        return reached

    @asynccontextmanager
    async def hosting(self) -> AsyncIterator[None]:
        """Run all I/O threads; on leaving, make every instrument safe, then let go of them and of the records."""
        for host in self.instruments.values():
            host.start()
        try:
            yield
        finally:
            await self.make_safe()
            stopped = await asyncio.gather(*(host.stop() for host in self.instruments.values()))
            for host, ended in zip(self.instruments.values(), stopped, strict=True):
                if not ended:
                    log.error("I/O thread did not end", instrument=host.name)
            while self._tasks:
                await asyncio.wait(self._tasks)


def wirings_of(instruments: Sequence[InstrumentConfig]) -> dict[str, Wiring]:
    """Return what a plate and the supply of the board on it share, by the names of both."""
    by_name = {one.name: one for one in instruments}
    wirings: dict[str, Wiring] = {}
    for one in instruments:
        if one.off_while_hot:
            limits = heat_limits(by_name[one.off_while_hot].limits)
            wirings[one.name] = wirings[one.off_while_hot] = Wiring(one.off_while_hot, one.name, limits.touch_c)
    return wirings
