"""``wakerail demo``: a whole job on the simulated bench, over real transports, from intake to its report."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from wakerail.cli.report import write_report
from wakerail.cli.session import Polling, scratch, simulated_bench
from wakerail.config import files_beside, shipped
from wakerail.report.job.paper import Paper
from wakerail_kit.clock import RealClock

#: How many times as fast as a real one the demo's bench goes at most.
SPEED = 16.0
#: So that a busy machine misses nothing at that speed, the supply hands out what it sampled meanwhile.
POLLING = Polling(supply_hz=5.0, plate_hz=2.0, spacing_s=0.02)


def demo(
    out: Annotated[Path, typer.Option("--out", help="In a folder of its own in here the report is written.")] = Path(
        "out/demo"
    ),
) -> None:
    """Repair a device on a simulated bench, from intake to report: about a minute, and nothing to connect.

    A liquid-damaged terminal restarts over and over: its port is checked and cleaned, the cause is isolated, the boards
    are separated, cleaned and rejoined on the plate, the repair is proved.
    """
    from wakerail.cli.demo_story import FAULTS, TICKET, tell_story  # noqa: PLC0415  what only the demo needs

    console = Console(highlight=False)
    folder = out / RealClock().now().astimezone().strftime("%Y%m%d-%H%M%S")
    options = ["--plate-fan", "--speed", f"{SPEED:g}", *(word for fault in FAULTS for word in ("--fault", fault))]
    try:
        with scratch() as inside:
            console.print("Starting a simulated bench, its daemon and a broker ...")
            with simulated_bench(inside, "demo", options, POLLING) as session:
                asyncio.run(tell_story(session, console, SPEED))
            console.print()
            write_report(
                TICKET,
                out=folder,
                paper=Paper.A4,
                journal=str(session.journal),
                files=files_beside(str(session.journal)),
                devices=shipped("devices"),
                made=session.clock.now(),
            )
    except KeyboardInterrupt:
        left = f"what there is of the report is in {folder}" if folder.exists() else "no report was written"
        print(f"wakerail: interrupted: the simulated bench is stopped and its journal removed; {left}", file=sys.stderr)  # noqa: T201
        raise
