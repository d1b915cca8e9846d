"""A program for test_supervisor.py: supervisors over workers that end in every way, one after the other.

A program of its own, because a supervisor forks and must have no threads. It prints a JSON object of what came out.
"""

from __future__ import annotations

import asyncio
import errno
import json
import os
import signal
import socket
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from wakerail.config import BenchConfig, InstrumentConfig
from wakerail.journal import JournalReader
from wakerail.serve.child import Child
from wakerail.serve.lifeline import Lifeline
from wakerail.serve.service_manager import ServiceManager
from wakerail.serve.supervisor import Patience, Supervisor
from wakerail.serve.walk import Note
from wakerail_kit.clock import RealClock
from wakerail_kit.events import WorkerDied, read_event
from wakerail_kit.hooks import InstrumentType
from wakerail_kit.kinds import HEAT_SOURCE, PORT_TESTER, Reading

SUPERVISOR = os.getpid()
PATIENCE = Patience(silence_s=0.6, stop_s=0.6, first_retry_s=0.01, last_retry_s=0.02)


class Plate:
    """A plate that only counts how often it was switched off, whatever is sent to its process meanwhile."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def make_safe(self):
        if os.getpid() != SUPERVISOR:
            os.kill(os.getpid(), signal.SIGTERM)  # as to a whole process group: the walk goes on
        count(self._folder / "safe")

    def open(self): ...

    def read(self):
        return Reading({"temperature": [81.0], "setpoint": [20.0], "heater": [0.0]})

    def close(self): ...


class Forbidden:
    """What cannot hurt is not touched."""

    def __getattr__(self, name):
        raise AssertionError(name)


def count(file: Path) -> int:
    """Add one to the number of marks in a file and return it."""
    with file.open("a") as marks:
        marks.write("x")
    return marked(file)


def marked(file: Path) -> int:
    return len(file.read_text()) if file.exists() else 0


def serve(lifeline: Lifeline, then=lambda: None, *, heeds=True, records=True) -> int:
    """Be ready; do ``then``; end when told to, if it heeds that."""

    async def work() -> int:
        stop = asyncio.Event()
        for number in (signal.SIGTERM, signal.SIGHUP):
            asyncio.get_running_loop().add_signal_handler(number, stop.set if heeds else lambda: None)
        async with lifeline.beating(stop.set):
            lifeline.ready()
            if records:
                lifeline.recorded()
            then()
            await stop.wait()
        return 0

    return asyncio.run(work())


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def told_to_end(number: int = signal.SIGTERM) -> None:
    os.kill(os.getppid(), number)


def crash() -> int:
    raise RuntimeError("a worker's own mistake")


def refuse_forks(*numbers: int) -> None:
    """Let the system have no place for some of the next children, numbered from 0."""
    fork, forks = Child.fork, iter(range(99))

    def refusing(work):
        if next(forks) in numbers:
            raise OSError(errno.EAGAIN, os.strerror(errno.EAGAIN))
        return fork(work)

    Child.fork = refusing


WORKERS = {
    "told to end": lambda line, start: serve(line, told_to_end),
    "its terminal closes": lambda line, start: serve(line, lambda: told_to_end(signal.SIGHUP)),
    "halted at its terminal": lambda line, start: serve(line, lambda: [told_to_end(signal.SIGTSTP), told_to_end()]),
    "bad input": lambda line, start: 2,
    "a bench that fails before it is ready": lambda line, start: 5,
    "a crash before it is ready": lambda line, start: crash(),
    "killed three times": lambda line, start: serve(line, die if start < 4 else told_to_end),
    "killed before it could record": lambda line, start: serve(line, die, records=False) if start < 3 else 2,
    "a crash when it was ready": lambda line, start: serve(line, lambda: 1 / 0) if start < 2 else 2,
    "hung": lambda line, start: serve(line, lambda: time.sleep(60)) if start < 2 else 2,
    "hung before its first sign": lambda line, start: time.sleep(60) or 0 if start < 2 else 2,
    "no more processes": lambda line, start: serve(line, die) if start < 2 else 2,
    "deaf to being told": lambda line, start: serve(line, told_to_end, heeds=False),
}


def scenario(name: str, folder: Path) -> dict[str, object]:
    folder.mkdir()
    clock = RealClock()
    config = BenchConfig(
        file=folder / "bench.yaml",
        name="shop",
        broker_url=None,
        broker_port=0,
        journal=str(folder / "shop.sqlite"),
        files=None,
        sequences=folder,
        devices=folder,
        families=(),
        instruments=(
            InstrumentConfig("plate", InstrumentType("plate", HEAT_SOURCE, "", None), Plate(folder), "", "", 1.0, {}),
            InstrumentConfig("port", InstrumentType("port", PORT_TESTER, "", None), Forbidden(), "", "", 1.0, {}),
        ),
    )

    def work(lifeline: Lifeline, notes: Sequence[Note]) -> int:
        (folder / "notes").write_text(str(len(notes)))
        return WORKERS[name](lifeline, count(folder / "starts"))

    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(folder / "notify"))
        manager.setblocking(False)
        environment = {"NOTIFY_SOCKET": str(folder / "notify"), "WATCHDOG_USEC": "60000000"}
        if name == "no more processes":
            refuse_forks(1, 2)  # the first walk, and the next worker
        code = Supervisor(config, clock, work, ServiceManager(environment, clock), PATIENCE).run()
        heard = []
        with suppress(BlockingIOError):
            while True:
                heard += manager.recv(4096).decode().splitlines()
    died = []
    if Path(config.journal).exists():
        with JournalReader(config.journal) as journal:
            events = [entry.message for entry in journal.messages()]
        died = [data.how for event in events if (data := read_event(event, WorkerDied)) is not None]
    return {
        "code": code,
        "starts": marked(folder / "starts"),
        "safe": marked(folder / "safe"),
        "notes": int((folder / "notes").read_text()),
        "died": died,
        "told": [line for line in heard if line != "WATCHDOG=1"],
        "watched": "WATCHDOG=1" in heard,
    }


if __name__ == "__main__":
    base = Path(sys.argv[1])
    found = {name: scenario(name, base / str(number)) for number, name in enumerate(WORKERS)}
    sys.stdout.write(json.dumps(found) + "\n")
