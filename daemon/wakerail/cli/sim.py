"""``wakerail sim``: the simulated bench alone, as if it were the hardware."""

from __future__ import annotations

import contextlib
import signal
import sys
import threading
from pathlib import Path
from typing import Annotated

import msgspec
import typer
from rich.console import Console

from wakerail.cli.options import AsJson
from wakerail.config import shipped
from wakerail_kit.alloys import load_alloys
from wakerail_kit.clock import RealClock
from wakerail_kit.errors import ConfigInvalid, WakerailError
from wakerail_kit.families import load_families

#: Faster than this the instruments cannot be read often enough for their interlocks.
MAX_SPEED = 20.0
SCPI_RAW_PORT = 5025  # registered with IANA for SCPI over raw TCP


def sim(
    folder: Annotated[Path, typer.Option("--dir", help="Where the ports of the simulated bench appear.")] = Path(
        "var/sim"
    ),
    fault: Annotated[
        list[str] | None, typer.Option("--fault", help="What is wrong, e.g. restart-at-stage:kernel; again for more.")
    ] = None,
    trace: Annotated[
        Path | None, typer.Option("--trace", help="Play this recorded current trace instead of a device.")
    ] = None,
    family: Annotated[str, typer.Option(help="The device family on the bench.")] = "fenmoor-t3",
    supply_port: Annotated[
        int, typer.Option(help="TCP port of the supply, the meter has the next one; 0 takes any free ones.")
    ] = SCPI_RAW_PORT,
    plate_fan: Annotated[
        bool, typer.Option("--plate-fan", help="The plate has a fan that cools it while its heater is off.")
    ] = False,
    speed: Annotated[
        float,
        typer.Option(
            min=1.0,
            max=MAX_SPEED,
            help="How many times as fast its clock runs; serve it with `wakerail serve --simulated DIR` then.",
        ),
    ] = 1.0,
    seed: Annotated[int, typer.Option(help="The same seed gives the same bench.")] = 1,
    as_json: AsJson = False,
) -> None:
    """Run the simulated bench alone: supply, plate, port tester, multimeter, a USB bus and a device between them."""
    from wakerail_sim.bench import SimSettings, SimulatedBench, load_trace, parse_fault  # noqa: PLC0415
    from wakerail_sim.fast_clock import FastClock  # noqa: PLC0415
    from wakerail_sim.hands import USAGE  # noqa: PLC0415

    families = {one.name: one for one in load_families(shipped("devices"), load_alloys(shipped("alloys.yaml")))}
    if family not in families:
        raise ConfigInvalid(f"--family {family!r} is not known; one of {', '.join(families)}")
    settings = SimSettings(
        folder=folder,
        family=families[family],
        supply_port=supply_port,
        meter_port=supply_port and supply_port + 1,
        seed=seed,
        faults=tuple(parse_fault(text) for text in fault or ()),
        trace=load_trace(trace) if trace else None,
        plate_has_fan=plate_fan,
    )
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    clock = FastClock.new(speed) if speed > 1 else RealClock()
    with SimulatedBench(settings, clock) as addresses:
        if as_json:
            print(msgspec.json.encode(addresses).decode(), flush=True)  # noqa: T201
        else:
            console = Console(highlight=False)
            fast = f", its clock {speed:g} times as fast as yours" if speed > 1 else ""
            console.print(f"[bold]Simulated bench[/bold]{fast}" + "".join(f"\n  fault: {text}" for text in fault or ()))
            for name, address in msgspec.to_builtins(addresses).items():
                console.print(f"  {name:12} {address}")
            console.print(f"Your hands: type [bold]{', '.join(USAGE.values())}[/bold]; Ctrl-C ends.")
            threading.Thread(target=_hands, args=(folder, console), daemon=True).start()
        stop.wait()


def _hands(folder: Path, console: Console) -> None:
    """Do what is typed at the terminal, as a technician's hands would."""
    from wakerail_sim.hands import tell  # noqa: PLC0415

    for line in sys.stdin:
        if line.strip():
            with contextlib.suppress(WakerailError, ValueError):  # the bench is ending, or the terminal is gone
                console.print(tell(folder, line.strip()))
