"""From a restart on the simulated bench to its event at an MQTT subscriber.

The simulated supply plays a trace made here, with boots that begin at known times; the daemon polls it over SCPI at
20 samples a second and the boot watch runs as shipped, but for not ending early. A restart is counted from the moment
the next boot begins; the event is due within one poll period plus 0.15 s, in which the reader sees that it goes on as
a boot does, plus 50 ms.
"""

from __future__ import annotations

import asyncio
import random
import tempfile
import time
from pathlib import Path

import numpy as np
from _harness import arguments, report

from wakerail.bus import BusClient
from wakerail.cli.following import follow_run
from wakerail.cli.session import Polling, daemon, simulators, write_config
from wakerail.cli.terminal import Reply, Wish
from wakerail.config import shipped
from wakerail_kit.events import RestartSeen, read_event
from wakerail_kit.messages import Event, Prompt, RunSequence, Verdict
from wakerail_sim.hands import tell

RATE_HZ = 20.0
SURE_S, MARGIN_S = 0.150, 0.050
SPAN_S, SPAN_S_SHORT = 240.0, 12.0
OFF_A, UP_A = 0.0003, 0.35


def write_trace(file: Path, span_s: float, seed: int = 20) -> list[float]:
    """Write a trace of many short boots; return the times at which each boot after the first begins."""
    chance = random.Random(seed)
    t_s, begins, rows = 0.5, [], [(0.0, OFF_A)]
    while t_s < span_s:
        begins.append(t_s)
        rows.append((t_s, UP_A))
        t_s += 0.7 + chance.random() * 0.3
        rows.append((t_s, OFF_A))
        t_s += 0.35 + chance.random() * 0.15
    rows.append((t_s + 1.0, OFF_A))
    file.write_text("t_s,current_a\n" + "".join(f"{at:.6f},{amps}\n" for at, amps in rows), encoding="utf-8")
    return begins[1:]


class Stopwatch:
    """Presses the button, and notes when it did and when each restart's event came in."""

    def __init__(self, sim: Path) -> None:
        self._sim = sim
        self.pressed_s = 0.0
        self.came_s: list[tuple[float, float]] = []

    def take(self, topic: str, message: object) -> None:  # noqa: ARG002  the Watcher's signature
        if isinstance(message, Event) and (restart := read_event(message, RestartSeen)) is not None:
            self.came_s.append((restart.again_s, time.monotonic()))

    async def wish(self) -> Wish:
        await asyncio.Event().wait()  # for none
        return Wish.COOL

    async def answer(self, prompt: Prompt) -> Reply:  # noqa: ARG002
        before_s = time.monotonic()
        await asyncio.to_thread(tell, self._sim, "press power-button")
        self.pressed_s = (before_s + time.monotonic()) / 2
        return Reply(confirmed=True)


async def watch(url: str, bench: str, sim: Path, window_s: float) -> Stopwatch:
    stopwatch = Stopwatch(sim)
    async with BusClient(url, bench) as client:
        request = RunSequence(sequence="boot-watch", inputs={"window": f"{window_s} s"})
        verdict: Verdict = await follow_run(client, request, stopwatch, asyncio.Event())
    assert verdict.finding == "restarting", verdict.reason
    return stopwatch


def main() -> None:
    args = arguments(__doc__)
    span_s = SPAN_S_SHORT if args.short else SPAN_S
    with tempfile.TemporaryDirectory(prefix="wakerail-bench-") as scratch:
        folder = Path(scratch)
        begins = write_trace(folder / "boots.csv", span_s)
        sequences = folder / "sequences"
        sequences.mkdir()
        text = (shipped("sequences") / "boot-watch.yaml").read_text(encoding="utf-8")
        (sequences / "boot-watch.yaml").write_text(
            text.replace("fail_on: restart}", "fail_on: restart, stop_after: 1000}"), encoding="utf-8"
        )
        with simulators(folder, ["--trace", str(folder / "boots.csv")]) as addresses:
            config = write_config(folder, "latency", addresses, Polling())
            with daemon(config) as url:
                stopwatch = asyncio.run(watch(url, "latency", folder / "sim", span_s))
    true_s = np.array(begins) + stopwatch.pressed_s
    latencies_s = []
    for again_s, came_s in stopwatch.came_s:
        nearest = int(np.abs(true_s - again_s).argmin())
        latencies_s.append(came_s - true_s[nearest])
    figures = {
        "restarts": len(begins),
        "seen": len(latencies_s),
        "p50_s": round(float(np.quantile(latencies_s, 0.5)), 4),
        "p99_s": round(float(np.quantile(latencies_s, 0.99)), 4),
        "allowed_s": round(1 / RATE_HZ + SURE_S + MARGIN_S, 4),
    }
    report("From a restart to its event on MQTT", figures, {"p99_s": "at most allowed_s"}, as_json=args.json)


if __name__ == "__main__":
    main()
