"""A whole bench of our own for a while: simulators and daemon as processes of their own, over their real transports."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from wakerail_kit.clock import Clock, RealClock
from wakerail_kit.errors import WakerailError
from wakerail_sim.running import running_bench

START_TIMEOUT_S = 30.0
STOP_TIMEOUT_S = 15.0

BENCH_YAML = """\
bench: {bench}
broker: embedded:0
journal: {folder}/{bench}.sqlite
instruments:
  supply:
    driver: supply
    address: {supply}
    dialect: {dialect}
    rate: {supply_hz:g} Hz
    limits: {{volts: 5 V, limit: 5 A}}
{supply_extra}  plate:
    driver: plate
    address: {plate}
    dialect: plate-ascii
    rate: {plate_hz:g} Hz
    limits: {{temperature: 260 degC}}
  port:
    driver: port-tester
    address: {port_tester}
    dialect: port-tester-ascii
    rate: 1 Hz
  meter:
    driver: multimeter
    address: {meter}
    dialect: scpi-1999-meter
    rate: 1 Hz
  usb:
    driver: usb-watcher
    source: uevents
    socket: {usb_socket}
    sysfs: {usb_sysfs}
    kernel_log: {kernel_log}
"""


@dataclass(frozen=True, slots=True)
class Session:
    """A bench that is up: where its broker listens, where its simulator's hands are, its journal, and its clock."""

    bench: str
    url: str
    folder: Path
    journal: Path
    clock: Clock


@contextmanager
def scratch() -> Iterator[Path]:
    """Give a folder for a bench that is gone afterwards; its path is short enough for the sockets in it."""
    with tempfile.TemporaryDirectory(prefix="wakerail-") as folder:
        yield Path(folder)


@dataclass(frozen=True, slots=True)
class Polling:
    """How often supply and plate are read. With ``spacing_s`` the supply gives blocks of samples that far apart."""

    supply_hz: float = 20.0
    plate_hz: float = 20.0
    spacing_s: float | None = None


@contextmanager
def simulated_bench(folder: Path, bench: str, sim_options: list[str], polling: Polling) -> Iterator[Session]:
    """Start simulators and daemon in ``folder``, each a process of its own; stop both, safely, at the end.

    Raises WakerailError if either does not start.
    """
    with simulators(folder, sim_options) as addresses:
        config = write_config(folder, bench, addresses, polling)
        with daemon(config, "--simulated", str(folder / "sim")) as url:
            journal = folder / f"{bench}.sqlite"
            yield Session(bench, url, folder / "sim", journal, running_bench(folder / "sim").fast_clock or RealClock())


@contextmanager
def simulators(folder: Path, sim_options: list[str]) -> Iterator[dict[str, str]]:
    """Run the simulated bench with its ports in ``folder``/sim; give the addresses of its far ends."""
    folder.mkdir(parents=True, exist_ok=True)
    args = ["sim", "--json", "--dir", str(folder / "sim"), "--supply-port", "0", *sim_options]
    with _process(args, folder / "sim.log") as process:
        addresses: dict[str, str] = json.loads(_first_line(process, "the simulated bench", folder / "sim.log"))
        yield addresses


def write_config(folder: Path, bench: str, addresses: dict[str, str], polling: Polling) -> Path:
    """Write a bench.yaml for simulators into ``folder`` and return it."""
    blocks = polling.spacing_s is not None
    config = folder / f"{bench}.yaml"
    text = BENCH_YAML.format(
        bench=bench,
        folder=folder,
        dialect="scpi-1999-buffered" if blocks else "scpi-1999",
        supply_extra=f"    spacing: {polling.spacing_s:.6g} s\n" if blocks else "",
        supply_hz=polling.supply_hz,
        plate_hz=polling.plate_hz,
        **addresses,
    )
    config.write_text(text, encoding="utf-8")
    return config


@contextmanager
def daemon(config: Path, *options: str) -> Iterator[str]:
    """Run a daemon on a configuration; give its broker's URL once it is ready."""
    log = config.with_suffix(".log")
    with _process(["serve", "--config", str(config), "--log", "json", *options], log) as process:
        yield _first_line(process, "the daemon", log).rpartition(" ")[2]


@contextmanager
def _process(args: list[str], log: Path) -> Iterator[subprocess.Popen[str]]:
    with log.open("w", encoding="utf-8") as errors:
        process = subprocess.Popen(  # noqa: S603  our own program
            [sys.executable, "-m", "wakerail", *args],
            stdout=subprocess.PIPE,
            stderr=errors,
            stdin=subprocess.DEVNULL,
            text=True,
            start_new_session=True,  # Ctrl-C in the terminal is ours to pass on, in the right order
        )
        try:
            yield process
        finally:
            process.terminate()
            try:
                process.wait(STOP_TIMEOUT_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            _stdout(process).close()


def _stdout(process: subprocess.Popen[str]) -> IO[str]:
    if process.stdout is None:
        raise WakerailError("a process was started without its output")
    return process.stdout


def _first_line(process: subprocess.Popen[str], who: str, log: Path) -> str:
    """Return the first line that the process prints: it is up. A process that ends first says why in its log."""
    line = _stdout(process).readline().strip()
    if not line:
        process.wait(START_TIMEOUT_S)
        said = log.read_text(encoding="utf-8").strip().splitlines()
        why = said[-1].removeprefix("wakerail: ") if said else "it said nothing"
        raise WakerailError(f"{who} did not start: {why}")
    return line
