"""Wakerail as a person meets it: its programs as processes of their own, joined by their real transports."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import secrets
import signal
import socket
import sys
import tempfile
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

import jsonschema
import msgspec
import pytest

from wakerail.bus import BusClient
from wakerail.cli.session import Polling, write_config
from wakerail.journal import JournalReader
from wakerail_kit import topics
from wakerail_kit.messages import InstrumentState, Verdict
from wakerail_sim.hands import tell

PROMPT = "(Enter when done, n to stop"
START_TIMEOUT_S = 40.0
END_TIMEOUT_S = 40.0


class Program:
    """A program as it runs: what it has said so far, and its standard input."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self._process = process
        self._news = asyncio.Condition()
        self._silent = 0
        self.out = ""
        self.err = ""
        self._readers = [asyncio.create_task(self._read("out")), asyncio.create_task(self._read("err"))]

    @classmethod
    async def start(cls, *args: str, stdin: int = asyncio.subprocess.PIPE, cwd: Path | None = None) -> Program:
        """Start ``wakerail`` with arguments; one that starts with a path is that program instead."""
        env = {**os.environ, "COLUMNS": "200", "NO_COLOR": "1"}
        env.pop("PYTHONDONTWRITEBYTECODE", None)  # so many starts: let the first one compile for all
        command = args if args[0].startswith("/") else (sys.executable, "-m", "wakerail", *args)
        return cls(
            await asyncio.create_subprocess_exec(
                *command,
                stdin=stdin,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.PIPE,
                start_new_session=True,
                cwd=cwd,
                env=env,
            )
        )

    @property
    def pid(self) -> int:
        return self._process.pid

    @property
    def running(self) -> bool:
        return self._process.returncode is None

    @property
    def mistakes(self) -> list[str]:
        """The lines on stderr."""
        return self.err.strip().splitlines()

    async def says(self, text: str, *, times: int = 1, timeout_s: float = START_TIMEOUT_S) -> None:
        """Wait until it has said ``text`` so often, on stdout or stderr."""
        async with self._news:
            try:
                async with asyncio.timeout(timeout_s):
                    await self._news.wait_for(lambda: self._has_said(text, times) or self._silent == len(self._readers))
            except TimeoutError:
                pytest.fail(f"no {text!r} within {timeout_s:g} s in:\n{self.out}\n{self.err}")
            if not self._has_said(text, times):
                pytest.fail(f"it ended without {text!r}; it said:\n{self.out}\n{self.err}")

    def _has_said(self, text: str, times: int) -> bool:
        return (self.out + self.err).count(text) >= times

    async def type(self, text: str) -> None:
        """Type at its terminal."""
        assert self._process.stdin is not None
        self._process.stdin.write(text.encode())
        await self._process.stdin.drain()

    def signal(self, number: int) -> None:
        with contextlib.suppress(ProcessLookupError):
            self._process.send_signal(number)

    async def ends(self, timeout_s: float = END_TIMEOUT_S) -> int:
        """Wait until it has ended; return its exit code."""
        try:
            async with asyncio.timeout(timeout_s):
                code = await self._process.wait()
                await asyncio.gather(*self._readers)
        except TimeoutError:
            pytest.fail(f"still running after {timeout_s:g} s; it said:\n{self.out}\n{self.err}")
        if self._process.stdin is not None:
            self._process.stdin.close()
        return code

    async def stop(self) -> None:
        """End it safely if it still runs."""
        if self.running:
            self.signal(signal.SIGTERM)
            try:
                await asyncio.wait_for(self._process.wait(), 10.0)
            except TimeoutError:
                self.signal(signal.SIGKILL)
        await self.ends()

    async def _read(self, name: str) -> None:
        stream = self._process.stdout if name == "out" else self._process.stderr
        assert stream is not None
        while data := await stream.read(65536):
            async with self._news:
                setattr(self, name, getattr(self, name) + data.decode("utf-8", "replace"))
                self._news.notify_all()
        async with self._news:
            self._silent += 1
            self._news.notify_all()


@dataclass
class BenchUp:
    """A bench that is up: a daemon on simulators, and where they are."""

    folder: Path
    config: Path
    daemon: Program
    url: str

    @property
    def journal(self) -> Path:
        return self.folder / "shop.sqlite"

    async def hands(self, line: str) -> str:
        """Do something with one's hands at the simulated bench; return what is seen there."""
        said = await asyncio.to_thread(tell, self.folder / "sim", line)
        assert said.startswith("ok"), said
        return said

    @property
    def worker(self) -> int:
        """The process that the daemon's supervisor watches."""
        pid = self.daemon.pid
        return int(Path(f"/proc/{pid}/task/{pid}/children").read_text().split()[0])

    async def is_safe(self) -> bool:
        """Tell whether output and heater are off, as the world sees it."""
        seen = await self.hands("state")
        return " output=off " in seen and " heater=off " in seen

    async def becomes_safe(self, timeout_s: float = 10.0) -> None:
        """Wait until output and heater are off."""
        async with asyncio.timeout(timeout_s):
            while not await self.is_safe():
                pass  # each look takes its time

    async def output_is_off(self) -> bool:
        return " output=off " in await self.hands("state")

    async def run(self, *args: str) -> Program:
        """Start ``wakerail run`` on this bench; its verdict goes to stdout, all else to stderr."""
        return await Program.start("run", *args, "--json", "--config", str(self.config))

    async def boot_watch(self, *inputs: str) -> Program:
        """Start a boot watch, press the power button when asked, and confirm; return it while it watches."""
        program = await self.run("boot-watch", *(part for text in inputs for part in ("--set", text)))
        await self.confirm(program, "press power-button")
        return program

    async def confirm(self, program: Program, *hands: str) -> None:
        """Do what the program's next prompt asks, with these hands, and press Enter; a run that ends needs neither."""
        asked = asyncio.ensure_future(program.says(PROMPT))
        ended = asyncio.ensure_future(program.ends())
        await asyncio.wait([asked, ended], return_when=asyncio.FIRST_COMPLETED)
        if asked.done() and asked.exception() is None:
            for line in hands:
                await self.hands(line)
            await program.type("\n")
        for task in (asked, ended):
            task.cancel()
        await asyncio.gather(asked, ended, return_exceptions=True)

    async def are(self, state: InstrumentState, *instruments: str, timeout_s: float = 20.0) -> None:
        """Wait until the bus says so of each of these instruments."""
        seen: dict[str, InstrumentState] = {}
        async with (
            asyncio.timeout(timeout_s),
            BusClient(self.url, "shop") as client,
            contextlib.aclosing(client.messages(f"{topics.ROOT}/shop/+/status")) as statuses,
        ):
            async for _, status in statuses:
                seen[status.instrument] = status.state
                if all(seen.get(name) is state for name in instruments):
                    return

    def kept_verdicts(self) -> list[Verdict]:
        """Return the verdicts in the journal."""
        with JournalReader(str(self.journal)) as reader:
            return [entry.message for entry in reader.messages() if isinstance(entry.message, Verdict)]


class Shop:
    """Starts what a person starts, in a folder of its own."""

    def __init__(self, folder: Path, verdict_schema: Path) -> None:
        self.folder = folder
        self._schema = verdict_schema
        schema = json.loads(verdict_schema.read_text())
        checker = jsonschema.validators.validator_for(schema)
        self._check = checker(schema, format_checker=jsonschema.FormatChecker())

    def branch(self, name: str) -> Shop:
        """Return a shop in a folder of its own within this one."""
        (self.folder / name).mkdir()
        return Shop(self.folder / name, self._schema)

    def verdict(self, program: Program) -> Verdict:
        """Return the verdict that stands alone on a program's stdout, having checked it against the JSON Schema."""
        assert program.out.count("\n") == 1, program.out + program.err
        self._check.validate(json.loads(program.out))
        return msgspec.json.decode(program.out, type=Verdict)

    async def program(self, *args: str) -> Program:
        """Start ``wakerail`` with arguments, in the folder."""
        return await Program.start(*args, cwd=self.folder)

    async def command(self, *args: str) -> tuple[int, Program]:
        """Run ``wakerail`` with arguments to its end, its input empty; give its exit code and what it said."""
        program = await Program.start(*args, cwd=self.folder, stdin=asyncio.subprocess.DEVNULL)
        return await program.ends(), program

    def configure(
        self, addresses: dict[str, str], *, broker: str | None = None, spacing_s: float | None = None
    ) -> Path:
        """Write the configuration of a bench called ``shop``, with a broker port of its own unless given one."""
        config = write_config(self.folder, "shop", addresses, Polling(spacing_s=spacing_s))
        named = broker or f"embedded:{find_free_port()}"
        config.write_text(config.read_text().replace("broker: embedded:0", f"broker: {named}"))
        return config

    @asynccontextmanager
    async def sim(self, *options: str) -> AsyncIterator[dict[str, str]]:
        """Run the simulators; give the addresses of their far ends."""
        folder = str(self.folder / "sim")
        sim = await self.program("sim", "--json", "--dir", folder, "--supply-port", "0", *options)
        try:
            await sim.says("\n")
            yield json.loads(sim.out)
        finally:
            await sim.stop()

    @asynccontextmanager
    async def daemon(self, config: Path) -> AsyncIterator[tuple[Program, str]]:
        """Run the daemon and wait until it is ready; give it and its broker's URL."""
        daemon = await self.program("serve", "--log", "json", "--config", str(config))
        try:
            await daemon.says(" is ready; broker ")
            yield daemon, daemon.out.split()[-1]
        finally:
            await daemon.stop()

    @asynccontextmanager
    async def bench(
        self, *sim_options: str, broker: str | None = None, spacing_s: float | None = None
    ) -> AsyncIterator[BenchUp]:
        """Run simulators and a daemon on them; with ``spacing_s`` the supply is read in blocks of samples."""
        async with self.sim(*sim_options) as addresses:
            config = self.configure(addresses, broker=broker, spacing_s=spacing_s)
            async with self.daemon(config) as (daemon, url):
                yield self.bench_of(config, daemon, url)

    def bench_of(self, config: Path, daemon: Program, url: str) -> BenchUp:
        return BenchUp(self.folder, config, daemon, url)


def find_free_port() -> int:
    """Find a free port below those that the system hands out by itself, so that nobody is handed it meanwhile."""
    while True:
        port = 20000 + secrets.randbelow(10000)
        with socket.socket() as probe, contextlib.suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return port


@pytest.fixture
def shop(project: Path) -> Iterator[Shop]:
    """A shop in a folder whose path is short enough for the sockets in it."""
    with tempfile.TemporaryDirectory(prefix="wakerail-", ignore_cleanup_errors=True) as scratch:
        yield Shop(Path(scratch), project / "docs" / "schemas" / "verdict.json")


@pytest.fixture
def free_port() -> Callable[[], int]:
    """Find a port of the loopback that nobody listens on."""
    return find_free_port
