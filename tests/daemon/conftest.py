"""Journals in SQLite and, where it is to be had, PostgreSQL; and one with boot watches, as a bench writes them."""

from __future__ import annotations

import importlib.util
import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
import pytest

from wakerail.journal import Journal
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock, rfc3339
from wakerail_kit.events import (
    EventData,
    OnsetSeen,
    RestartRevised,
    RestartSeen,
    RunStarted,
    StepFinished,
    StepStarted,
    UsbAttached,
    make_event,
)
from wakerail_kit.job_events import IsolationObserved
from wakerail_kit.messages import Frame, SequenceRef, Verdict
from wakerail_kit.outcome import Finding, Outcome

BENCH = "bench-1"
_RATE_HZ, _ONSET_S, _LENGTH_S = 20, 2.0, 30.0


class BootWatches:
    """Writes runs, one after another, and keeps their ids; times of the daemon begin anew with each."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.runs: list[str] = []

    async def add(
        self,
        *,
        family: str = "fenmoor-t3",
        named: str = "",
        sequence: str = "boot-watch",
        outcome: Outcome = Outcome.PASSED,
        onset: bool = True,
        later_a: float = 0.0,
        job: str | None = None,
        restarts_s: Sequence[float] = (),
        taken_back: Sequence[int] = (),
        unplugged: Sequence[str] = (),
    ) -> str:
        """Add a run whose boot begins 2 s into its watch, and draws ``later_a`` more from 10 s after its onset on.

        ``family`` is the device family that USB knew, ``named`` the one that was named for the run.
        With ``restarts_s``, times since the onset, the run told of so many restarts and failed; those whose numbers
        are in ``taken_back`` it took back. With ``unplugged``, its job's isolation observed it with these actions done.
        """
        number = len(self.runs)
        run, start_s = f"0193aaaa-{number:04d}", 100.0 * (number + 1)
        clock = SimulatedClock(datetime(2026, 11, 25, 9, number, tzinfo=UTC))
        journal = await Journal.open(self.path, bench=BENCH, clock=clock)

        async def happens(data: EventData, owner: str = "sequence") -> None:
            event = make_event(data, clock=clock, bench=BENCH, owner=owner, run=run)
            await journal.append(topics.run(BENCH, run, "event"), event)

        started = rfc3339(clock.now())
        roles = {"supply": "psu-1"}
        begun = {"sequence": sequence, "inputs": {}, "roles": roles, "cautions": [], "job": job, "family": named}
        await happens(RunStarted(run=run, at_s=start_s, **begun))
        await happens(StepStarted(run=run, number=1, verb="watch", title="Watch", at_s=start_s))
        t_s = np.arange(0, _LENGTH_S, 1 / _RATE_HZ)
        journal.append_frame(self._frame(t_s + start_s, _current_a(t_s, number, later_a), started), run)
        if onset:
            await happens(OnsetSeen(run=run, at_s=start_s + _ONSET_S, level_a=0.12))
        if family:
            ids = {"vendor_id": 0x1209, "product_id": 1, "device_class": 0}
            await happens(UsbAttached(instrument="usb-1", at_s=start_s + 6, path="1-2", family=family, **ids), "usb-1")
        for place, at_s in enumerate(restarts_s, 1):
            moments = {"at_s": start_s + _ONSET_S + at_s - 0.4, "again_s": start_s + _ONSET_S + at_s}
            await happens(RestartSeen(run=run, number=place, evidence=["current-collapse"], says="fell", **moments))
        for place in taken_back:
            none = {"probability": 0.1, "counts": False, "says": "it was none"}
            await happens(RestartRevised(run=run, number=place, at_s=start_s + restarts_s[place - 1], **none))
        finding = Finding.RESTARTING if restarts_s else Finding.RUNNING
        outcome = Outcome.FAILED if restarts_s else outcome
        clock.advance(_LENGTH_S)
        await happens(StepFinished(run=run, number=1, verb="watch", title="Watch", outcome=outcome))
        verdict = Verdict(
            id=f"verdict-{number}", bench=BENCH, run=run, sequence=SequenceRef(name=sequence, sha256="0" * 64),
            inputs={}, started=started, ended=rfc3339(clock.now()), outcome=outcome, finding=finding, job=job,
            reason="As it was.", steps=[], measurements=[], evidence=[], instruments=[], operator="",
            software_version="0",
        )  # fmt: skip
        await journal.append(topics.run(BENCH, run, "verdict"), verdict)
        if unplugged:
            done = {"job": job or "t-1", "number": 1, "kind": "boot", "done": list(unplugged), "says": "a clean boot"}
            event = make_event(IsolationObserved(run=run, **done), clock=clock, bench=BENCH, owner="job")
            await journal.append(topics.job(BENCH, "t-1"), event)
        await journal.close()
        self.runs.append(run)
        return run

    def _frame(self, t_s: np.ndarray, current_a: np.ndarray, start: str) -> Frame:
        return Frame(
            bench=BENCH, instrument="psu-1", number=1, start=start, t_s=t_s.tolist(), half_width_s=[0.001] * len(t_s),
            signals={"current": current_a.tolist(), "output": [1.0] * len(t_s)}, units={"current": "A", "output": "1"},
        )  # fmt: skip


def _current_a(t_s: np.ndarray, seed: int, later_a: float) -> np.ndarray:
    since_s = t_s - _ONSET_S
    stages = [since_s < 0, since_s < 2, since_s < 6, since_s < 10]
    level_a = np.select(stages, [0.0005, 0.12, 0.41, 0.22], 0.15 + later_a)
    noise = np.random.default_rng(seed)
    return level_a * (1 + noise.normal(0, 0.02, t_s.size)) + noise.normal(0, 1e-4, t_s.size)


@pytest.fixture(name="watches")
def _watches(tmp_path: Path) -> BootWatches:
    return BootWatches(tmp_path / "bench.sqlite")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where a SQLite journal may be; its folder is not there yet."""
    return tmp_path / "var" / "bench-1.sqlite"


@pytest.fixture(scope="session")
def postgres_server(do_without: Callable[[str], NoReturn]) -> Iterator[str]:
    """The URL of a PostgreSQL server begun for these tests, without the database's name."""
    programs = _postgres_programs()
    if programs is None:
        do_without("PostgreSQL is not installed on this machine")
    if importlib.util.find_spec("psycopg") is None:
        do_without("psycopg is not installed: pip install 'psycopg[binary]'")
    as_user: dict[str, Any] = {}
    if os.geteuid() == 0:  # the server refuses to be root
        as_user = {"user": "nobody", "group": "nogroup", "extra_groups": []}
    with tempfile.TemporaryDirectory() as folder, socket.socket() as free:
        if as_user:
            shutil.chown(folder, "nobody", "nogroup")
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        free.close()

        def run(program: str, *args: str) -> None:
            command = [programs / program, "-D", f"{folder}/data", *args]
            subprocess.run(command, check=True, cwd=folder, stdout=subprocess.DEVNULL, **as_user)

        run("initdb", "-U", "wakerail", "-A", "trust", "--no-sync")
        settings = f"-c fsync=off -c listen_addresses=127.0.0.1 -c port={port} -c unix_socket_directories={folder}"
        run("pg_ctl", "-w", "-l", f"{folder}/server.log", "-o", settings, "start")
        yield f"postgresql://wakerail@127.0.0.1:{port}"
        run("pg_ctl", "-w", "-m", "immediate", "stop")


def _postgres_programs() -> Path | None:
    found = shutil.which("pg_ctl") or next(map(str, Path("/usr/lib/postgresql").glob("*/bin/pg_ctl")), None)
    return Path(found).resolve().parent if found else None


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str:
    """Where a journal may be begun, in each sort of database."""
    if request.param == "sqlite":
        return str(request.getfixturevalue("path"))
    server: str = request.getfixturevalue("postgres_server")  # skips where there is none
    psycopg = importlib.import_module("psycopg")
    name = f"journal_{os.urandom(6).hex()}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {name}")
    return f"{server}/postgres?options=-csearch_path%3D{name}"
