"""Brokers to test against (amqtt always, a real Mosquitto where there is one) and the daemon's side of them."""

from __future__ import annotations

import asyncio
import contextlib
import getpass
import shutil
import signal
import socket
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol, TypeVar

import pytest
from msgspec import Struct

from wakerail.bus import Bus, EmbeddedBroker, Mirror, Requests
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock, rfc3339
from wakerail_kit.events import MadeSafe, make_event
from wakerail_kit.messages import Frame, InstrumentState, Status, encode

BENCH = "bench-1"
SUPPLY_EVENT = topics.instrument(BENCH, "supply", "event")
PATIENCE_S = 10.0


T = TypeVar("T")


async def soon(awaitable: Awaitable[T]) -> T:
    """Wait for something that must happen, but not for ever."""
    return await asyncio.wait_for(awaitable, PATIENCE_S)


class WatchedClock(SimulatedClock):
    """A simulated clock that tells of each sleep as it begins: the mirror sleeps when a connection has failed."""

    def __init__(self) -> None:
        super().__init__()
        self.sleeps: asyncio.Queue[float] = asyncio.Queue()

    async def sleep(self, delay_s: float) -> None:
        self.sleeps.put_nowait(delay_s)
        await super().sleep(delay_s)


CLOCK = SimulatedClock()


def status(state: InstrumentState, instrument: str = "daemon") -> Status:
    return Status(bench=BENCH, instrument=instrument, state=state, words=str(state), since=rfc3339(CLOCK.now()))


@dataclass(frozen=True)
class Recorded:
    row: int
    topic: str
    payload: bytes


@dataclass
class MemoryOutbox:
    """What the journal does for the mirror, in memory."""

    waiting: dict[int, Recorded] = field(default_factory=dict)
    confirmed: list[int] = field(default_factory=list)
    begun: asyncio.Event = field(default_factory=asyncio.Event)
    emptied: asyncio.Event = field(default_factory=asyncio.Event)
    row: int = 0

    def record(self, message: Struct, topic: str) -> int:
        self.row += 1
        self.waiting[self.row] = Recorded(self.row, topic, encode(message))
        self.emptied.clear()
        return self.row

    async def pending(self, limit: int) -> Sequence[Recorded]:
        return [self.waiting[row] for row in sorted(self.waiting)][:limit]

    async def sent(self, rows: Sequence[int]) -> None:
        for row in rows:
            del self.waiting[row]
            self.confirmed.append(row)
        self.begun.set()
        if not self.waiting:
            self.emptied.set()


class Broker(Protocol):
    """A broker that a test can kill and start again at the same address."""

    url: str

    async def start(self) -> None: ...
    async def kill(self) -> None: ...


class Amqtt:
    def __init__(self) -> None:
        self.embedded = EmbeddedBroker()
        self.url = ""

    async def start(self) -> None:
        port = int(self.url.rpartition(":")[2]) if self.url else None
        self.embedded = EmbeddedBroker(port)
        self.url = await self.embedded.start()

    async def kill(self) -> None:
        await self.embedded.stop()


class Mosquitto:
    """A real Mosquitto with a configuration of its own. ``lines`` are more lines of it."""

    def __init__(self, folder: Path, lines: Sequence[str] = ()) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.url = f"mqtt://127.0.0.1:{self.port}"
        self._config = folder / "mosquitto.conf"
        text = [
            f"user {getpass.getuser()}",  # started by root it would otherwise not be let into the test's folder
            f"listener {self.port} 127.0.0.1",
            "set_tcp_nodelay true",
            "log_type error",
            "log_type notice",
            "log_type information",
            "log_dest stderr",
        ]
        self._config.write_text("\n".join([*text, *(lines or ["allow_anonymous true"])]) + "\n", encoding="utf-8")
        self.process: asyncio.subprocess.Process | None = None
        self.certificate: Path | None = None

    async def start(self) -> None:
        program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        self.process = await asyncio.create_subprocess_exec(
            program, "-c", str(self._config), stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT
        )
        await soon(line_with(self.process, b"running"))

    async def kill(self) -> None:
        if self.process is not None:
            await end(self.process)
            self.process = None


async def line_with(process: asyncio.subprocess.Process, text: bytes) -> bytes:
    """Read a process's output up to the line that contains ``text``."""
    assert process.stdout is not None
    seen = b""
    while line := await process.stdout.readline():
        seen += line
        if text in line:
            return line
    raise AssertionError(f"the process ended without saying {text!r}: {seen.decode()}")


async def end(process: asyncio.subprocess.Process) -> None:
    if process.returncode is None:
        process.send_signal(signal.SIGKILL)
    await process.communicate()


@pytest.fixture(params=["amqtt", pytest.param("mosquitto", marks=pytest.mark.needs("mosquitto"))])
async def broker(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Broker]:
    """A running broker, of either sort."""
    found: Broker = Amqtt() if request.param == "amqtt" else Mosquitto(tmp_path)
    await found.start()
    try:
        yield found
    finally:
        await found.kill()


@pytest.fixture
async def mosquitto(tmp_path: Path) -> AsyncIterator[Mosquitto]:
    """A running Mosquitto; the test must be marked as needing it."""
    found = Mosquitto(tmp_path)
    await found.start()
    try:
        yield found
    finally:
        await found.kill()


@pytest.fixture
async def mosquitto_with_password(tmp_path: Path) -> AsyncIterator[Mosquitto]:
    """A running Mosquitto that knows one user, ``anna`` with the password ``right/``."""
    passwords = tmp_path / "passwords"
    maker = await asyncio.create_subprocess_exec("mosquitto_passwd", "-b", "-c", str(passwords), "anna", "right/")
    assert await soon(maker.wait()) == 0
    found = Mosquitto(tmp_path, ["allow_anonymous false", f"password_file {passwords}"])
    await found.start()
    try:
        yield found
    finally:
        await found.kill()


@pytest.fixture
async def encrypted_mosquitto(tmp_path: Path) -> AsyncIterator[Mosquitto]:
    """A running Mosquitto that speaks TLS with a certificate nobody knows yet: its ``certificate``."""
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed, so that no certificate can be made")
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    made = ["-newkey", "rsa:2048", "-nodes", "-days", "2", "-keyout", str(key), "-out", str(certificate)]
    named = ["-subj", "/CN=test", "-addext", "subjectAltName=IP:127.0.0.1"]
    maker = await asyncio.create_subprocess_exec(
        "openssl", "req", "-x509", *made, *named, stderr=asyncio.subprocess.DEVNULL
    )
    assert await soon(maker.wait()) == 0
    found = Mosquitto(tmp_path, ["allow_anonymous true", f"certfile {certificate}", f"keyfile {key}"])
    found.certificate = certificate
    await found.start()
    try:
        yield found
    finally:
        await found.kill()


@pytest.fixture
async def listen_with_mosquitto_sub() -> AsyncIterator[Callable[[str, str], Awaitable[asyncio.subprocess.Process]]]:
    """Start ``mosquitto_sub`` on a topic filter; it prints topic and payload, one message a line."""
    async with contextlib.AsyncExitStack() as stack:

        async def listen(url: str, pattern: str) -> asyncio.subprocess.Process:
            where = ["-h", "127.0.0.1", "-p", url.rpartition(":")[2]]
            options = ["-d", "-q", "1", "-t", pattern, "-F", "%t %p"]
            found = await asyncio.create_subprocess_exec(
                "mosquitto_sub", *where, *options, stdout=asyncio.subprocess.PIPE, limit=1 << 20
            )
            stack.push_async_callback(end, found)
            await soon(line_with(found, b"Subscribed"))
            return found

        yield listen


@dataclass
class Side:
    """The daemon's side of a broker."""

    bus: Bus
    outbox: MemoryOutbox
    requests: Requests
    clock: WatchedClock
    mirror: Mirror
    running: asyncio.Task[None]

    def announce(self, message: Struct | None = None, topic: str = SUPPLY_EVENT) -> str:
        """Record an event (or another durable message), then publish it; return its id."""
        durable = message or make_event(
            MadeSafe(instrument="supply", reached=True, why="end of the run"), clock=CLOCK, bench=BENCH, owner="supply"
        )
        self.bus.publish(topic, durable, row=self.outbox.record(durable, topic))
        return str(durable.id)  # type: ignore[attr-defined]

    def show(self, number: int, samples: int = 1) -> None:
        """Publish a frame of the supply."""
        found = Frame(
            bench=BENCH,
            instrument="supply",
            number=number,
            start=rfc3339(CLOCK.now()),
            t_s=[float(number)] * samples,
            half_width_s=[0.001] * samples,
            signals={"current": [0.123456] * samples},
            units={"current": "A"},
        )
        self.bus.publish(topics.instrument(BENCH, "supply", "frame"), found)

    def state(self, state: InstrumentState, instrument: str = "daemon") -> None:
        """Publish a retained status."""
        self.bus.publish(topics.instrument(BENCH, instrument, "status"), status(state, instrument), retain=True)


MakeSide = Callable[..., Side]


@pytest.fixture
async def daemon_side() -> AsyncIterator[MakeSide]:
    """Makes daemon sides with a running mirror, and ends them."""
    async with contextlib.AsyncExitStack() as stack:

        def make(url: str, **options: object) -> Side:
            bus, requests, clock, outbox = Bus(), Requests(), WatchedClock(), MemoryOutbox()
            everything = {
                "url": url,
                "bench": BENCH,
                "outbox": outbox,
                "requests": requests,
                "clock": clock,
                "will": status(InstrumentState.GONE),
                "jitter": lambda: 1.0,
            } | options
            mirror = Mirror(bus, **everything)  # type: ignore[arg-type]
            running = asyncio.create_task(mirror.run())

            async def finish() -> None:
                running.cancel()
                await asyncio.gather(running, return_exceptions=True)

            stack.push_async_callback(finish)
            side = Side(bus, outbox, requests, clock, mirror, running)
            side.state(InstrumentState.READY)
            return side

        yield make
