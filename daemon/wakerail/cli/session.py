"""A whole bench of our own for a while: simulators and daemon as processes of their own, over their real transports."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from wakerail_kit.errors import WakerailError

START_TIMEOUT_S = 30.0
STOP_TIMEOUT_S = 15.0

BENCH_YAML = """\
bench: {bench}
broker: embedded:0
journal: {folder}/journal.sqlite
instruments:
  supply:
    driver: supply
    address: {supply}
    dialect: {dialect}
    rate: 20 Hz
    limits: {{volts: 5 V, limit: 5 A}}
{supply_extra}  plate:
    driver: plate
    address: {plate}
    dialect: plate-ascii
    rate: 20 Hz
    limits: {{temperature: 260 degC}}
  port:
    driver: port-tester
    address: {port_tester}
    dialect: port-tester-ascii
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
    """A bench that is up: where its broker listens and where its simulator's hands are."""

    bench: str
    url: str
    folder: Path


@contextmanager
def simulated_bench(
    folder: Path, bench: str, sim_options: list[str], spacing_s: float | None = None
) -> Iterator[Session]:
    """Start simulators and daemon in ``folder``, each in a process of its own; stop both, safely, at the end.

    With ``spacing_s`` the supply is read in blocks of samples that far apart. Raises WakerailError if either does not start.
    """
    folder.mkdir(parents=True, exist_ok=True)
    sim_folder = folder / "sim"
    with _process(
        ["sim", "--json", "--dir", str(sim_folder), "--supply-port", "0", *sim_options], folder / "sim.log"
    ) as sim:
        addresses = json.loads(_first_line(sim, "the simulated bench", folder / "sim.log"))
        blocks = spacing_s is not None
        config = folder / "bench.yaml"
        config.write_text(
            BENCH_YAML.format(
                bench=bench,
                folder=folder,
                dialect="scpi-1999-buffered" if blocks else "scpi-1999",
                supply_extra=f"    spacing: {spacing_s:.6g} s\n" if blocks else "",
                **addresses,
            ),
            encoding="utf-8",
        )
        serving = ["serve", "--config", str(config), "--log", "json"]
        with _process(serving, folder / "daemon.log") as daemon:
            url = _first_line(daemon, "the daemon", folder / "daemon.log").rpartition(" ")[2]
            yield Session(bench, url, sim_folder)


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
        raise WakerailError(f"{who} did not start: {said[-1] if said else 'it said nothing'}")
    return line
