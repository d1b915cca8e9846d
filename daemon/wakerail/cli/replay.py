"""``wakerail replay``: the boot watch on a recorded current trace, which the simulated supply plays."""

from __future__ import annotations

import asyncio
import itertools
import statistics
from pathlib import Path
from typing import Annotated

import typer
import yaml

from wakerail.cli.options import AsJson
from wakerail.cli.run import Screen, parse_inputs, run_on_screen
from wakerail.cli.session import Polling, scratch, simulated_bench
from wakerail.cli.terminal import Reply
from wakerail.config import shipped
from wakerail_kit.messages import Prompt, RunSequence

#: The shortest spacing at which a recorded trace is read back in blocks.
SHORTEST_SPACING_S = 0.0001
#: What a supply is asked one value at a time cannot follow faster than this.
POLLED_SPACING_S = 0.045


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
    from wakerail.bus import BusClient  # noqa: PLC0415
    from wakerail.sequences import exit_code_of  # noqa: PLC0415
    from wakerail_sim.bench import load_trace  # noqa: PLC0415
    from wakerail_sim.hands import tell  # noqa: PLC0415

    recorded = load_trace(trace)
    spacing_s = statistics.median(later - earlier for earlier, later in itertools.pairwise(recorded.t_s))
    blocks_s = None if spacing_s >= POLLED_SPACING_S else max(spacing_s, SHORTEST_SPACING_S)
    inputs = {"window": f"{recorded.length_s:.6g} s", **parse_inputs(set_ or [])}
    with scratch() as folder:
        _write_replay_sequence(folder / "sequences")
        options = ["--trace", str(trace.resolve())]
        with simulated_bench(folder, "replay", options, Polling(spacing_s=blocks_s)) as session:

            def press(prompt: Prompt) -> Reply:
                return Reply(confirmed=bool(prompt.text) and tell(session.folder, "press power-button") == "ok")

            request = RunSequence(sequence="boot-watch", inputs=inputs, operator="replay")
            screen = Screen(as_json=as_json, do=press)
            verdict = asyncio.run(run_on_screen(BusClient(session.url, session.bench), request, screen, out))
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
