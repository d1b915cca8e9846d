"""All commands, put together."""

from __future__ import annotations

from importlib import metadata
from typing import Annotated, cast

import typer

from wakerail.cli import analyze, bench, demo, replay, run, safe, serve, sim
from wakerail.cli.job import job
from wakerail.cli.log import log
from wakerail.cli.plan import plan
from wakerail.cli.report import report

#: A command line that cannot be understood; typer has no public name for what its own errors are made from.
UsageError = cast("type[typer.BadParameter]", typer.BadParameter.__bases__[0])

app = typer.Typer(
    name="wakerail",
    help="Bench automation for board-level repair: supply, heating plate, port tester and USB on one bus.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


def _say_version(wanted: bool) -> None:
    if wanted:
        print(f"wakerail {metadata.version('wakerail')}")  # noqa: T201  this is the command line
        raise typer.Exit


@app.callback()
def _wakerail(
    version: Annotated[
        bool, typer.Option("--version", help="Say which Wakerail this is.", callback=_say_version, is_eager=True)
    ] = False,
) -> None: ...


app.command("serve")(serve.serve)
app.command("safe")(safe.safe)
app.command("sim")(sim.sim)
app.command("run")(run.run)
app.command("replay")(replay.replay)
app.command("analyze")(analyze.analyze)
app.command("instruments")(bench.instruments)
app.command("sequences")(bench.sequences)
app.command("check")(bench.check)
app.command("abort")(bench.abort)
app.command("cool")(bench.cool)
app.command("reset")(bench.reset)
app.command("present")(bench.present)
app.command("report")(report)
app.command("demo")(demo.demo)
app.add_typer(job, name="job", help="One device from intake to handover: open, note, keep, show, close.")
app.add_typer(plan, name="plan", help="What is at fault: causes by likelihood, and what to do next.")
app.add_typer(log, name="log", help="What happened on the bench: follow it, look at a run, export it.")
