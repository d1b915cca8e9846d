"""``wakerail demo`` and ``wakerail replay``: the main job on the simulated bench, over real transports."""

from __future__ import annotations

import asyncio
import itertools
import statistics
import tempfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer
import yaml
from rich.console import Console

from wakerail.cli.bench import ask_over
from wakerail.cli.options import AsJson
from wakerail.cli.run import Screen, parse_inputs, run_on_screen
from wakerail.cli.session import Session, simulated_bench
from wakerail.cli.terminal import Reply
from wakerail.config import shipped
from wakerail_kit.job_requests import OpenJob
from wakerail_kit.messages import Prompt, RunSequence, Verdict

#: The shortest spacing at which a recorded trace is read back in blocks.
SHORTEST_SPACING_S = 0.0001
#: What a supply is asked one value at a time cannot follow faster than this.
POLLED_SPACING_S = 0.045


def demo(
    out: Annotated[Path, typer.Option("--out", help="Where verdict and picture, or the report, are written.")] = Path(
        "out/demo"
    ),
    fault: Annotated[
        list[str] | None, typer.Option("--fault", help="What is wrong with the device; again for more.")
    ] = None,
    window: Annotated[str, typer.Option(help="How long the boot is watched.")] = "25 s",
    plan: Annotated[
        bool, typer.Option("--plan", help="A whole job: opened, its cause isolated, closed, its report (two minutes).")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Watch a device that restarts: broker, daemon, five simulated instruments, boot watch, verdict and picture."""
    from wakerail_sim.bench import parse_fault  # noqa: PLC0415

    folder = out / datetime.now().astimezone().strftime("%Y%m%d-%H%M%S")
    if plan:
        from wakerail.cli.demo_plan import demo_plan  # noqa: PLC0415

        with _scratch() as scratch:
            demo_plan(Path(scratch), fault or (), folder, Console(highlight=False))
        return
    console = Console(stderr=True, highlight=False)
    faults = fault or ["restart-at-stage:kernel"]
    for text in faults:
        parse_fault(text)
    console.print(
        "[bold]The job.[/bold] A handheld data terminal came in from a wet warehouse; it restarts over and over."
    )
    console.print(
        "A simulated bench stands in for the hardware: supply and meter on TCP, plate and tester on serial, USB events."
    )
    console.print(f"  faults put in: {', '.join(faults)}\n  starting daemon, broker and five instruments ...")
    options = [option for text in faults for option in ("--fault", text)]
    with _scratch() as scratch, simulated_bench(Path(scratch), "demo", options) as session:
        job = asyncio.run(_open_job(session))
        console.print(f"  job {job} is open")
        request = RunSequence(sequence="boot-watch", inputs={"window": window}, job=job, operator="demo")
        verdict = _watch(session, request, folder, as_json=as_json)
        console.print(f"  verdict: {verdict.outcome}, {verdict.finding}")


def replay(
    trace: Annotated[Path, typer.Argument(help="CSV: time in s, current in A, optionally voltage in V.")],
    set_: Annotated[list[str] | None, typer.Option("--set", help="An input of boot-watch; again for more.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write the verdict and its picture into this folder.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Run the boot watch on a recorded current trace: the simulated supply plays it over its SCPI socket.

    The steps that measure before the boot are left out: what was drawn then is not in a recording.
    """
    from wakerail.sequences import exit_code_of  # noqa: PLC0415
    from wakerail_sim.bench import load_trace  # noqa: PLC0415

    recorded = load_trace(trace)
    spacing_s = statistics.median(later - earlier for earlier, later in itertools.pairwise(recorded.t_s))
    blocks_s = None if spacing_s >= POLLED_SPACING_S else max(spacing_s, SHORTEST_SPACING_S)
    inputs = {"window": f"{recorded.length_s:.6g} s", **parse_inputs(set_ or [])}
    with _scratch() as scratch:
        _write_replay_sequence(Path(scratch) / "sequences")
        options = ["--trace", str(trace.resolve())]
        with simulated_bench(Path(scratch), "replay", options, blocks_s) as session:
            request = RunSequence(sequence="boot-watch", inputs=inputs, operator="replay")
            verdict = _watch(session, request, out, as_json=as_json)
    raise typer.Exit(exit_code_of(verdict))


def _write_replay_sequence(folder: Path) -> None:
    """Write the shipped boot watch into ``folder``, its measuring steps replaced by the time that they would give.

    Without it the watch could begin while the output still comes up, and take that for what the recording begins with.
    """
    sequence = yaml.safe_load((shipped("sequences") / "boot-watch.yaml").read_text(encoding="utf-8"))
    first, *others = (step for step in sequence["steps"] if "measure" not in step)
    sequence["steps"] = [first, {"title": "Let the output come up", "wait": "500 ms"}, *others]
    folder.mkdir()
    (folder / "boot-watch.yaml").write_text(yaml.safe_dump(sequence, sort_keys=False), encoding="utf-8")


def _scratch() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix="wakerail-")


async def _open_job(session: Session) -> str:
    """Open the demo's job with the answers of its intake; return its name."""
    from wakerail.bus import BusClient  # noqa: PLC0415

    request = OpenJob(
        family="fenmoor-t3",
        ticket="T-114",
        symptom="restarts over and over",
        exposure="wet warehouse, condensation",
        keep="the day's counts, not uploaded yet",
        operator="demo",
    )
    async with BusClient(session.url, session.bench) as client:
        answer = await ask_over(client, "job-open", request)
    return str(answer.data["job"])


def _watch(session: Session, request: RunSequence, out: Path | None, *, as_json: bool) -> Verdict:
    from wakerail.bus import BusClient  # noqa: PLC0415

    screen = Screen(as_json=as_json, do=_hands_of(session))
    return asyncio.run(run_on_screen(BusClient(session.url, session.bench), request, screen, out))


def _hands_of(session: Session) -> Callable[[Prompt], Reply]:
    """Return hands that do what the boot watch's prompt asks: press the device's power button."""
    from wakerail_sim.hands import tell  # noqa: PLC0415

    def press(prompt: Prompt) -> Reply:
        return Reply(confirmed=bool(prompt.text) and tell(session.folder, "press power-button") == "ok")

    return press
