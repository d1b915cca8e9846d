"""Serves a bench from configuration to a safe end, as the supervisor's child.

Shut down in stages, each bounded: no new runs, runs aborted, instruments made safe, journal flushed, bus closed.
"""

from __future__ import annotations

import asyncio
import contextlib
import importlib
import signal
from collections.abc import Callable, Sequence

import structlog

from wakerail.bench import Bench
from wakerail.bus import Bus, EmbeddedBroker, Mirror, Requests
from wakerail.config import BenchConfig, load_place
from wakerail.journal import Journal, JournalUnavailable
from wakerail.serve.admission import admitted
from wakerail.serve.by_hand import SafeByHand
from wakerail.serve.child import STOP_SIGNALS
from wakerail.serve.history import JournalHistory
from wakerail.serve.job_desk import JobDesk
from wakerail.serve.job_files import JobFiles
from wakerail.serve.lifeline import Lifeline
from wakerail.serve.plan_desk import PlanDesk
from wakerail.serve.runs import Runs
from wakerail.serve.standing_trips import standing_trips
from wakerail.serve.walk import Note
from wakerail_kit import topics
from wakerail_kit.clock import Clock, rfc3339
from wakerail_kit.errors import ConfigInvalid, DeviceUnavailable
from wakerail_kit.messages import InstrumentState, Status

#: How long broker and instruments get for their first attempt before the bench is called ready without them.
FIRST_ATTEMPT_S = 2.0

#: How long to wait before a journal is tried again that could not be written.
RECORD_AGAIN_S = 2.0

log = structlog.get_logger()


async def serve(
    config: BenchConfig, clock: Clock, lifeline: Lifeline, notes: Sequence[Note], ready: Callable[[str, str], None]
) -> None:
    """Serve the bench until told to stop; call ``ready(bench, broker_url)`` once it takes requests.

    ``notes`` is what happened after the last worker's death; it goes into the journal first. Raises ConfigInvalid
    for a wrong configuration or a port in use, and nothing is opened then; DeviceUnavailable, after a safe end, if
    the supervisor is gone.
    """
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in STOP_SIGNALS:
        loop.add_signal_handler(number, stop.set)
    structlog.contextvars.bind_contextvars(bench=config.name)

    def alone() -> None:
        log.error("the supervisor is gone; going into the safe state, then ending")
        stop.set()

    async with contextlib.AsyncExitStack() as stack:
        # Where the loop ends, its handlers end: nothing may kill what is ending in order.
        stack.callback(signal.pthread_sigmask, signal.SIG_BLOCK, STOP_SIGNALS)
        await stack.enter_async_context(lifeline.beating(alone))
        url, broker = config.broker_url, None
        if url is None:
            broker = EmbeddedBroker(port=config.broker_port)
            try:
                url = await broker.start()
            except ConfigInvalid as wrong:
                raise ConfigInvalid(f"{load_place(config.file).broker_key}: {wrong}") from None
            stack.push_async_callback(broker.stop)
        journal = await Journal.open(config.journal, bench=config.name, clock=clock)
        stack.push_async_callback(journal.close)
        recording = asyncio.create_task(_record(journal, notes, clock, lifeline), name="records the last death")
        stack.push_async_callback(_end, recording)

        bus, requests = Bus(), Requests(admit=admitted)
        standing = await asyncio.to_thread(standing_trips, config.journal, config.name)
        bench = Bench(config, clock, bus, journal, standing)
        jobs = JobDesk(bench, config.journal, config.devices)
        jobs.handle(requests)
        PlanDesk(config.devices, jobs).handle(requests)
        runs = Runs(bench, config.sequences, JournalHistory(config.journal), jobs)
        runs.handle(requests)
        JobFiles(bench, jobs, config.journal, config.files, runs.of_job).handle(requests)
        SafeByHand(bench, runs).handle(requests)

        def status(state: InstrumentState, words: str) -> Status:
            return Status(
                bench=config.name, instrument=topics.DAEMON, state=state, words=words, since=rfc3339(clock.now())
            )

        mirror = Mirror(
            bus,
            url=url,
            bench=config.name,
            outbox=journal,
            requests=requests,
            clock=clock,
            door=broker,
            will=status(InstrumentState.GONE, "the daemon died without saying so; treat every instrument as energised"),
        )
        daemon_topic = topics.instrument(config.name, topics.DAEMON, "status")
        mirroring = asyncio.create_task(mirror.run(), name="mirror")
        stack.push_async_callback(_end, mirroring)
        stack.push_async_callback(mirror.close, status(InstrumentState.STOPPED, "stopped"))
        await stack.enter_async_context(bench.hosting())
        stack.push_async_callback(runs.abort_all, "the daemon was stopped")

        bus.publish(daemon_topic, status(InstrumentState.READY, "ready"), retain=True)
        await _first_attempts(mirror, bench, stop)
        ready(config.name, url)
        lifeline.ready()
        # Loaded now, while nobody waits for it, rather than at the first request to run something.
        await asyncio.to_thread(importlib.import_module, "wakerail.sequences")
        await stop.wait()
        log.info("stopping")
    if lifeline.cut:
        raise DeviceUnavailable("the supervisor is gone, so the bench is not served any more")


async def _first_attempts(mirror: Mirror, bench: Bench, stop: asyncio.Event) -> None:
    """Let broker and instruments be there before anyone asks for them; who is late is told by its status."""

    async def all_tried() -> None:
        async with bench.bus.listen(f"{topics.ROOT}/{bench.name}/+/status") as news:
            while any(host.state is InstrumentState.CONNECTING for host in bench.instruments.values()):
                await anext(news)
        await mirror.connected()

    either = [asyncio.ensure_future(all_tried()), asyncio.ensure_future(stop.wait())]
    await asyncio.wait(either, timeout=FIRST_ATTEMPT_S, return_when=asyncio.FIRST_COMPLETED)
    for waiting in either:
        waiting.cancel()
    await asyncio.gather(*either, return_exceptions=True)


async def _record(journal: Journal, notes: Sequence[Note], clock: Clock, lifeline: Lifeline) -> None:
    """Put into the journal what happened, however long that takes; from there it goes out to the broker."""
    for note in notes:
        while True:
            try:
                await journal.append(note.topic, note.event)
                break
            except JournalUnavailable as wrong:
                log.error("event is not in the journal yet", why=str(wrong), type=note.event.type)
                await clock.sleep(RECORD_AGAIN_S)
    lifeline.recorded()


async def _end(task: asyncio.Task[None]) -> None:
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task
