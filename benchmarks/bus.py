"""What the way over the bus costs, in time and in processor.

Time: from Bus.publish(frame) to its arrival at an MQTT subscriber in another process, against a bare aiomqtt publish
of the same bytes to the same broker and subscriber. Both take turns in random order, a few milliseconds apart.
``ratio_to_bare_aiomqtt`` is the worse of the two brokers' ratios of medians; each has its 95 % bootstrap interval.

Processor: the share of one core that a process spends on 40 and 80 frames a second, with bus, mirror and embedded
broker in it, and for comparison the same loop that publishes nothing.
"""

from __future__ import annotations

import asyncio
import contextlib
import random
import resource
import shutil
import socket
import struct
import sys
import tempfile
import time
from collections.abc import AsyncIterator
from pathlib import Path

import aiomqtt
import numpy as np
from _harness import arguments, report

from wakerail.bus import Bus, EmbeddedBroker, Mirror
from wakerail_kit import topics
from wakerail_kit.clock import RealClock, rfc3339
from wakerail_kit.messages import Frame, InstrumentState, Status, encode

BENCH = "timed"
TOPIC = topics.instrument(BENCH, "supply", "frame")
PAIRS, PAIRS_SHORT = 2000, 400
WARM_UP = 50
SPAN_S, SPAN_S_SHORT = 10.0, 1.5
RATES_HZ = (40, 80)

# Stamps each message's arrival on the machine's monotonic clock, which all its processes share.
SUBSCRIBER = """
import asyncio, struct, sys, time
import aiomqtt

async def main():
    async with aiomqtt.Client("127.0.0.1", int(sys.argv[1])) as client:
        await client.subscribe(sys.argv[2], qos=1)
        out = sys.stdout.buffer
        out.write(struct.pack("d", 0.0))
        out.flush()
        async for _ in client.messages:
            out.write(struct.pack("d", time.monotonic()))
            out.flush()

asyncio.run(main())
"""


def frame(number: int) -> Frame:
    """Return a frame as a supply polled at 20 Hz gives it."""
    return Frame(
        bench=BENCH,
        instrument="supply",
        number=number,
        start=rfc3339(RealClock().now()),
        t_s=[1234.567891],
        half_width_s=[0.000412],
        signals={"voltage": [3.8512], "current": [0.123456], "limiting": [0.0], "output": [1.0]},
        units={"voltage": "V", "current": "A", "limiting": "1", "output": "1"},
    )


def status(state: InstrumentState) -> Status:
    return Status(bench=BENCH, instrument="daemon", state=state, words=state, since=rfc3339(RealClock().now()))


@contextlib.asynccontextmanager
async def subscriber(port: int) -> AsyncIterator[asyncio.StreamReader]:
    """Run a subscriber of the frames as a process of its own; give the stream of its stamps."""
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-c", SUBSCRIBER, str(port), TOPIC, stdout=asyncio.subprocess.PIPE
    )
    try:
        if process.stdout is None:
            raise RuntimeError("the subscriber has no output")
        await process.stdout.readexactly(8)
        yield process.stdout
    finally:
        process.kill()
        await process.communicate()


@contextlib.asynccontextmanager
async def mosquitto() -> AsyncIterator[str]:
    """Run a Mosquitto of our own; give its URL."""
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
    if program is None:
        raise FileNotFoundError("mosquitto is not installed")
    with socket.socket() as probe, tempfile.TemporaryDirectory() as folder:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        probe.close()
        config = Path(folder) / "mosquitto.conf"
        config.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\nset_tcp_nodelay true\nlog_dest stderr\n")
        process = await asyncio.create_subprocess_exec(program, "-c", str(config), stderr=asyncio.subprocess.PIPE)
        try:
            while process.stderr is not None and b"running" not in await process.stderr.readline():
                pass
            yield f"mqtt://127.0.0.1:{port}"
        finally:
            process.kill()
            await process.communicate()


@contextlib.asynccontextmanager
async def mirrored(url: str, door: EmbeddedBroker | None) -> AsyncIterator[Bus]:
    """Run a mirror to the broker; give the bus."""
    bus = Bus()
    mirror = Mirror(
        bus,
        url=url,
        bench=BENCH,
        outbox=None,
        requests=None,
        clock=RealClock(),
        will=status(InstrumentState.GONE),
        door=door,
    )
    running = asyncio.create_task(mirror.run())
    await mirror.connected()
    try:
        yield bus
    finally:
        await mirror.close(status(InstrumentState.STOPPED))
        await running


async def latencies(url: str, bus: Bus, pairs: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the times in seconds over the bus and bare, pair by pair."""
    port = int(url.rpartition(":")[2])
    chance = random.Random(7)
    times: dict[str, list[float]] = {"bus": [], "bare": []}
    async with subscriber(port) as stamps, aiomqtt.Client("127.0.0.1", port) as bare:
        for number in range(pairs + WARM_UP):
            message = frame(number)
            payload = encode(message)
            for way in chance.sample(["bus", "bare"], 2):
                await asyncio.sleep(0.002 + 0.003 * chance.random())
                begin_s = time.monotonic()
                if way == "bus":
                    bus.publish(TOPIC, message)
                else:
                    await bare.publish(TOPIC, payload, qos=1)
                (arrived_s,) = struct.unpack("d", await stamps.readexactly(8))
                times[way].append(arrived_s - begin_s)
    return np.array(times["bus"][WARM_UP:]), np.array(times["bare"][WARM_UP:])


def ratio(ours: np.ndarray, bare: np.ndarray) -> tuple[float, float, float]:
    """Return the ratio of medians and its 95 % interval, by bootstrap over the pairs."""
    chance = np.random.default_rng(7)
    picks = chance.integers(0, len(ours), size=(2000, len(ours)))
    spread = np.median(ours[picks], axis=1) / np.median(bare[picks], axis=1)
    low, high = np.quantile(spread, [0.025, 0.975])
    return float(np.median(ours) / np.median(bare)), float(low), float(high)


async def cpu_percent(bus: Bus | None, rate_hz: int, span_s: float) -> float:
    """Return the share of one core that this process takes while it publishes ``rate_hz`` frames a second."""
    await asyncio.sleep(0.3)
    before, begin_s = resource.getrusage(resource.RUSAGE_SELF), time.monotonic()
    for number in range(round(rate_hz * span_s)):
        if bus is not None:
            bus.publish(TOPIC, frame(number))
        await asyncio.sleep(max(0.0, begin_s + (number + 1) / rate_hz - time.monotonic()))
    after, end_s = resource.getrusage(resource.RUSAGE_SELF), time.monotonic()
    used_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return round(100 * used_s / (end_s - begin_s), 2)


def timing(name: str, times: tuple[np.ndarray, np.ndarray]) -> dict[str, object]:
    """Return the figures of one broker."""
    ours, bare = times
    value, low, high = ratio(ours, bare)
    return {
        f"{name}_ratio": round(value, 3),
        f"{name}_ratio_interval": [round(low, 3), round(high, 3)],
        f"{name}_bus_median_ms": round(1e3 * float(np.median(ours)), 3),
        f"{name}_bare_median_ms": round(1e3 * float(np.median(bare)), 3),
        f"{name}_bus_p99_ms": round(1e3 * float(np.quantile(ours, 0.99)), 3),
        f"{name}_bare_p99_ms": round(1e3 * float(np.quantile(bare, 0.99)), 3),
    }


async def measure(*, short: bool) -> dict[str, object]:
    """Return all figures."""
    pairs, span_s = (PAIRS_SHORT, SPAN_S_SHORT) if short else (PAIRS, SPAN_S)
    figures: dict[str, object] = {}
    for rate_hz in RATES_HZ:
        figures[f"cpu_loop_alone_{rate_hz}_hz_percent"] = await cpu_percent(None, rate_hz, span_s)

    broker = EmbeddedBroker()
    url = await broker.start()
    async with mirrored(url, broker) as bus:
        figures |= timing("embedded", await latencies(url, bus, pairs))
        for rate_hz in RATES_HZ:
            figures[f"cpu_embedded_unheard_{rate_hz}_hz_percent"] = await cpu_percent(bus, rate_hz, span_s)
        async with subscriber(int(url.rpartition(":")[2])):
            for rate_hz in RATES_HZ:
                figures[f"cpu_embedded_heard_{rate_hz}_hz_percent"] = await cpu_percent(bus, rate_hz, span_s)
    await broker.stop()

    with contextlib.suppress(FileNotFoundError):
        async with mosquitto() as url, mirrored(url, None) as bus:
            figures |= timing("mosquitto", await latencies(url, bus, pairs))
            for rate_hz in RATES_HZ:
                figures[f"cpu_mosquitto_{rate_hz}_hz_percent"] = await cpu_percent(bus, rate_hz, span_s)
    ratios = [value for name, value in figures.items() if name.endswith("_ratio") and isinstance(value, float)]
    return {"ratio_to_bare_aiomqtt": max(ratios), **figures}


def main() -> None:
    args = arguments(__doc__)
    figures = asyncio.run(measure(short=args.short))
    report("The bus", figures, {"ratio_to_bare_aiomqtt": "at most 1.3"}, as_json=args.json)


if __name__ == "__main__":
    main()
