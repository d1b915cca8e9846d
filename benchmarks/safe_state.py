"""How soon the bench is off when the daemon's worker is killed with everything on.

Each time a daemon is started on the simulated bench (supply on TCP, plate on a serial line), a sequence switches output
and heater on, and at a random moment the worker gets SIGKILL. Timed is from the kill until the simulated world itself
has both off, looked at every few milliseconds. ``unsafe`` counts the kills after which one of the two stayed on, or was
on again once the daemon was ready anew. In the full form the plate is above 60 degC before each kill.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import random
import re
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import psutil
from _harness import arguments, report

from wakerail.bus import BusClient
from wakerail.cli.following import follow_run
from wakerail.cli.session import Polling, simulators, write_config
from wakerail.cli.terminal import Reply, Wish
from wakerail_kit.errors import WakerailError
from wakerail_kit.messages import Prompt, RunSequence
from wakerail_sim.hands import tell

KILLS, KILLS_SHORT = 50, 3
HOT_C = 60.0
GIVEN_UP_S = 10.0
LOOK_EVERY_S = 0.004
HEAT = """\
sequence: heat
purpose: Output and heater on.
needs: {supply: power-source, plate: heat-source}
steps:
  - prompt: Confirm.
  - wait: 1 s  # a plate is not heated before its sensor has been seen to read
  - supply: {volts: 3.85 V, limit: 1 A, output: on}
  - plate: {temperature: 180 degC, heater: on}
  - wait: 120 s
finally:
  - supply: {output: off}
  - plate: {heater: off}
"""


class Confirming:
    """Confirms what is asked and looks at nothing."""

    def take(self, topic: str, message: object) -> None: ...

    async def answer(self, prompt: Prompt) -> Reply:  # noqa: ARG002
        return Reply(confirmed=True)

    async def wish(self) -> Wish:
        await asyncio.Event().wait()  # for none
        return Wish.COOL


class World:
    """What the simulated world says of itself."""

    def __init__(self, sim: Path) -> None:
        self._sim = sim

    async def seen(self) -> dict[str, str]:
        said = await asyncio.to_thread(tell, self._sim, "state")
        return dict(re.findall(r"([\w-]+)=(\S+)", said))

    async def until(self, *, on: bool, within_s: float, plate_c: float = 0.0) -> dict[str, str] | None:
        """Wait until output and heater are both on, or both off; return what was seen then, or None."""
        wanted = "on" if on else "off"
        end_s = time.perf_counter() + within_s
        while time.perf_counter() < end_s:
            seen = await self.seen()
            hot = float(seen["plate"].removesuffix("degC")) >= plate_c
            if seen["output"] == seen["heater"] == wanted and hot:
                return seen
            await asyncio.sleep(LOOK_EVERY_S)
        return None


async def kill_once(config: Path, world: World, pause_s: float, plate_c: float) -> tuple[float, bool, float]:
    """Kill one worker; return how long both took to be off, whether they stayed so, and how hot the plate was."""
    command = [sys.executable, "-m", "wakerail", "serve", "--config", str(config), "--log", "json"]
    with config.with_suffix(".log").open("a") as log:
        daemon = await asyncio.create_subprocess_exec(*command, stdout=asyncio.subprocess.PIPE, stderr=log)
    assert daemon.stdout is not None
    try:
        ready = (await daemon.stdout.readline()).decode()
        async with BusClient(ready.split()[-1], "kill") as client:
            request = RunSequence(sequence="heat", operator="bench")
            following = asyncio.ensure_future(follow_run(client, request, Confirming(), asyncio.Event()))
            on = asyncio.ensure_future(world.until(on=True, within_s=90.0, plate_c=plate_c))
            await asyncio.wait([on, following], return_when=asyncio.FIRST_COMPLETED)
            if following.done():  # it should still wait: what went wrong comes out here
                raise SystemExit(f"the run ended early: {await following}")
            if (before := await on) is None:
                raise SystemExit("the bench was never switched on")
            await asyncio.sleep(pause_s)
            (worker, *_) = psutil.Process(daemon.pid).children()
            begin_s = time.perf_counter()
            worker.kill()
            off = await world.until(on=False, within_s=GIVEN_UP_S)
            took_s = time.perf_counter() - begin_s
            with contextlib.suppress(WakerailError):
                await following
        async with asyncio.timeout(30):
            await daemon.stdout.readline()  # ready anew
        after = await world.seen()
    finally:
        daemon.terminate()
        await daemon.wait()
    safe = off is not None and after["output"] == after["heater"] == "off"
    return took_s, safe, float(before["plate"].removesuffix("degC"))


async def kill_often(config: Path, sim: Path, kills: int, plate_c: float) -> list[tuple[float, bool, float]]:
    chance = random.Random(9)
    return [await kill_once(config, World(sim), chance.uniform(0.0, 0.5), plate_c) for _ in range(kills)]


def main() -> None:
    args = arguments(__doc__)
    logging.getLogger().addHandler(logging.NullHandler())  # that a broker went away is what is done here
    with tempfile.TemporaryDirectory(prefix="wakerail-bench-") as scratch:
        folder = Path(scratch)
        (folder / "sequences").mkdir()
        (folder / "sequences" / "heat.yaml").write_text(HEAT, encoding="utf-8")
        with simulators(folder, []) as addresses:
            config = write_config(folder, "kill", addresses, Polling())
            kills, plate_c = (KILLS_SHORT, 0.0) if args.short else (KILLS, HOT_C)
            found = asyncio.run(kill_often(config, folder / "sim", kills, plate_c))
    took_s = [each for each, _, _ in found]
    figures = {
        "kills": len(found),
        "unsafe": sum(not safe for _, safe, _ in found),
        "p50_s": round(float(np.quantile(took_s, 0.5)), 3),
        "p99_s": round(float(np.quantile(took_s, 0.99)), 3),
        "slowest_s": round(max(took_s), 3),
        "coolest_plate_c": round(min(plate_c for _, _, plate_c in found), 1),
    }
    goals = {"unsafe": "0", "p99_s": "under 1"}
    report("From the worker's death to everything off", figures, goals, as_json=args.json)


if __name__ == "__main__":
    main()
