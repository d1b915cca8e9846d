"""``wakerail serve``: the daemon of a bench."""

from __future__ import annotations

import asyncio
import gc
import os
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import structlog
import typer

from wakerail.cli import told
from wakerail.cli.options import Config, config_file
from wakerail_kit.clock import RealClock
from wakerail_kit.errors import ConfigInvalid

if TYPE_CHECKING:
    from wakerail.serve.lifeline import Lifeline
    from wakerail.serve.walk import Note


def serve(
    config: Config = None,
    log_form: Annotated[str, typer.Option("--log", help="How to log: console or json.")] = "console",
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
    clock = RealClock()
    bench = load_bench_config(config_file(config), plugins.types, clock)

    def ready(name: str, url: str) -> None:
        print(f"{name} is ready; broker {url}", flush=True)  # noqa: T201
        gc.freeze()  # what is loaded now stays: no collection need ever look at it
        gc.enable()

    def work(lifeline: Lifeline, notes: Sequence[Note]) -> int:
        gc.disable()  # until the bench is ready
        from wakerail.serve.worker import serve as serve_bench  # noqa: PLC0415  what only the worker needs

        return told(lambda: asyncio.run(serve_bench(bench, clock, lifeline, notes, ready)))

    gc.freeze()  # shared with the worker for as long as neither touches it
    gc.enable()
    with bench_lock(lock_folder(bench.journal), bench.name):
        raise typer.Exit(Supervisor(bench, clock, work, ServiceManager(os.environ, clock)).run())
