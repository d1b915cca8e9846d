"""``wakerail serve``: the daemon of a bench."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import structlog
import typer

from wakerail.cli import told
from wakerail.cli.options import Config, config_file
from wakerail_kit.clock import Clock, RealClock
from wakerail_kit.errors import ConfigInvalid

if TYPE_CHECKING:
    from wakerail.serve.lifeline import Lifeline
    from wakerail.serve.walk import Note
    from wakerail_sim.fast_clock import FastClock


def serve(
    config: Config = None,
    log_form: Annotated[str, typer.Option("--log", help="How to log: console or json.")] = "console",
    simulated: Annotated[
        Path | None,
        typer.Option(
            "--simulated",
            metavar="DIR",
            help="Go by the clock of the simulated bench that runs in this folder; no instrument may be elsewhere.",
        ),
    ] = None,
    verbose: Annotated[bool, typer.Option("--verbose", "-v", help="Log more.")] = False,
) -> None:
    """Serve the bench: host its instruments, take requests, keep the log. Ends safely on Ctrl-C.

    If the process that does this dies or hangs, another switches every instrument off and starts it again.
    """
    gc.disable()  # until all is loaded: see main()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # numpy only packs samples here: no threads to wake for that
    from wakerail.bench import load_plugins  # noqa: PLC0415  the daemon's imports are only the daemon's
    from wakerail.cli.logs import set_up_logging  # noqa: PLC0415
    from wakerail.config import load_bench_config  # noqa: PLC0415
    from wakerail.serve.lock import bench_lock, lock_folder  # noqa: PLC0415
    from wakerail.serve.service_manager import ServiceManager  # noqa: PLC0415
    from wakerail.serve.supervisor import Supervisor  # noqa: PLC0415

    if log_form not in {"console", "json"}:
        raise ConfigInvalid(f"--log {log_form!r} is not known; one of console, json")
    set_up_logging(log_form, verbose=verbose)
    plugins = load_plugins()
    for refusal in plugins.refused:
        structlog.get_logger().error("plugin refused", why=refusal)
    only_at, fast = _simulated_bench(simulated)
    clock: Clock = fast or RealClock()
    bench = load_bench_config(config_file(config), plugins.types, clock, only_at)

    def ready(name: str, url: str) -> None:
        print(f"{name} is ready; broker {url}", flush=True)  # noqa: T201
        gc.freeze()  # what is loaded now stays: no collection need ever look at it
        gc.enable()

    def work(lifeline: Lifeline, notes: Sequence[Note]) -> int:
        gc.disable()  # until the bench is ready
        from wakerail.serve.worker import serve as serve_bench  # noqa: PLC0415  what only the worker needs

        async def serving() -> None:
            async with fast.followed() if fast else contextlib.nullcontext():
                await serve_bench(bench, clock, lifeline, notes, ready)

        return told(lambda: asyncio.run(serving()))

    gc.freeze()  # shared with the worker for as long as neither touches it
    gc.enable()
    with bench_lock(lock_folder(bench.journal), bench.name):
        ours = RealClock()  # it watches over processes: those live in the machine's time, whatever the bench's is
        raise typer.Exit(Supervisor(bench, ours, work, ServiceManager(os.environ, ours)).run())


def _simulated_bench(folder: Path | None) -> tuple[frozenset[str] | None, FastClock | None]:
    """Return where the instruments of a simulated bench are, None for anywhere, and its clock if that is a fast one.

    Only a simulated bench has a clock of its own, and nothing but its own instruments ever runs on that.
    """
    if folder is None:
        return None, None
    from wakerail_sim.running import running_bench  # noqa: PLC0415  a real bench needs no simulators

    running = running_bench(folder)
    return running.addresses.instruments, running.fast_clock
