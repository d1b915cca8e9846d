"""A broker of the shop's own: the bench works on while it is away, and whoever follows is told when the daemon dies."""

from __future__ import annotations

import asyncio
import contextlib
import os
import shutil
import signal

import pytest

from wakerail.bus import BusClient
from wakerail_kit import topics
from wakerail_kit.messages import Verdict

WATCHING = "Watch the boot"
MOSQUITTO = shutil.which("mosquitto") or "/usr/sbin/mosquitto"


@contextlib.asynccontextmanager
async def mosquitto(shop, port):
    """Run a Mosquitto on the loopback."""
    config = shop.folder / "mosquitto.conf"
    config.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    broker = await shop.program(MOSQUITTO, "-c", str(config))
    try:
        await broker.says("running")
        yield broker
    finally:
        await broker.stop()


async def next_verdict(url):
    """Return the next verdict that a broker delivers."""
    async with BusClient(url, "shop") as client:
        messages = client.messages(f"{topics.ROOT}/shop/sequence/+/verdict")
        async with contextlib.aclosing(messages):
            await client.subscribed()
            async for _, message in messages:
                if isinstance(message, Verdict):
                    return message
    return None


@pytest.mark.needs("mosquitto")
async def test_a_broker_that_dies_in_a_run_disturbs_nothing_and_gets_the_verdict_later(shop, free_port):
    port = free_port()
    url = f"mqtt://127.0.0.1:{port}"
    async with contextlib.AsyncExitStack() as stack:
        broker = await stack.enter_async_context(mosquitto(shop, port))
        bench = await stack.enter_async_context(shop.bench(broker=url))
        program = await bench.boot_watch("window=2 s")
        await program.says(WATCHING)
        journal = await shop.program("log", "tail", "--json", "--journal", str(bench.journal))
        stack.push_async_callback(journal.stop)
        broker.signal(signal.SIGKILL)
        assert await program.ends() == 5
        assert program.out == ""
        (line,) = (line for line in program.mistakes if line.startswith("wakerail: "))
        assert line.startswith(f"wakerail: lost the broker at {url}")

        await journal.says("run-finished")
        (kept,) = bench.kept_verdicts()
        assert kept.finding == "too-little-data"  # of so short a window, not of the broker
        assert await bench.output_is_off()

        await stack.enter_async_context(mosquitto(shop, port))
        async with asyncio.timeout(40):
            assert await next_verdict(url) == kept

        followed = await bench.boot_watch("window=60 s")
        await followed.says(WATCHING)
        os.kill(bench.worker, signal.SIGKILL)
        assert await followed.ends() == 5
        (line,) = (line for line in followed.mistakes if line.startswith("wakerail: "))
        assert line.startswith("wakerail: the daemon of shop is gone: ")
        assert line.endswith("treat every instrument as energised")
