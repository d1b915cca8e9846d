"""A job's cause isolated at a bench of processes: asked, booted, told, stopped, and taken up again."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from wakerail.bus import BusClient
from wakerail_kit import topics
from wakerail_kit.event_data import EventData
from wakerail_kit.events import any_data
from wakerail_kit.job_events import IsolationAdvised, IsolationObserved, IsolationUndone, JobStage, JobStageEntered
from wakerail_kit.job_requests import OpenJob
from wakerail_kit.plan_requests import PlanObserve, PlanWhatIf

QUESTION = "(Enter when done, n to stop, undo, w why)"


async def test_an_isolation_is_driven_stopped_and_taken_up_again(shop):
    async with (
        shop.bench("--fault", "part-restart:scanner") as bench,
        BusClient(bench.url, "shop") as client,
        _heard(client) as heard,
    ):
        opened = await client.ask("job-open", OpenJob(family="fenmoor-t3", symptom="restarts", ticket="T-7"))
        assert opened.ok, opened.says

        drive = ("plan", "start", "--job", "T-7", "--set", "window=7 s", "--config", str(bench.config))
        program = await shop.program(*drive)
        await program.says("Boot with everything connected")
        await bench.confirm(program, "press power-button")
        await program.says("The fault with everything connected, every ")
        await program.says(QUESTION)  # something is to be unplugged now
        await program.type("w\n")
        await program.says(QUESTION, times=2)
        await program.type("n\n")
        assert await program.ends() == 4
        assert "`wakerail plan start --job t-7` goes on" in program.out

        told = await client.ask("plan-observe", PlanObserve(job="t-7", said="clean without scanner"))
        assert told.data["numbers"] == [2]
        asked = await client.ask("plan-whatif", PlanWhatIf(job="t-7", seen=["restart every 6 s"]))
        assert len(asked.data["seen"]) == 3
        refused = await client.ask("plan-observe", PlanObserve(job="t-7", said="clean without scaner"))
        assert (refused.exit_code, "did you mean 'scanner'?" in refused.says) == (2, True)

        program = await shop.program(*drive)
        await program.says("Just now off: the back cover and the scanner.")
        await program.says(QUESTION)
        await program.type("undo\n")
        await program.says("Observation 2 counts no more: A clean boot with scanner off.")
        await program.says(QUESTION, times=2)
        await program.type("n\n")
        assert await program.ends() == 4

        code, stats = await shop.command("plan", "stats", "--json", "--config", str(bench.config))
        assert (code, json.loads(stats.out)[0]["closed"]) == (0, 0)
        code, tree = await shop.command("plan", "tree", "--job", "t-7", "--json", "--config", str(bench.config))
        assert [one["number"] for one in json.loads(tree.out)] == [1]

        kept: list[EventData] = []
        while sum(isinstance(one, IsolationAdvised) for one in kept) < 4:
            kept.append(await heard.get())
    (boot, typed) = (one for one in kept if isinstance(one, IsolationObserved))
    assert (boot.name, boot.run is None, boot.done) == ("restarting", False, [])
    assert boot.interval_s is not None
    assert 5.5 < boot.interval_s < 6.5
    assert typed.done == ["back-cover", "scanner"]
    assert [one.number for one in kept if isinstance(one, IsolationUndone)] == [2]
    assert [one.stage for one in kept if isinstance(one, JobStageEntered)] == [JobStage.ISOLATE]
    advised = [one for one in kept if isinstance(one, IsolationAdvised)]
    assert [one.after for one in advised] == [0, 1, 2, 1]


@asynccontextmanager
async def _heard(client: BusClient) -> AsyncIterator[asyncio.Queue[EventData]]:
    """Gather what happens to jobs, as the bus tells it."""
    heard: asyncio.Queue[EventData] = asyncio.Queue()

    async def listen() -> None:
        async for _, event in client.messages(f"{topics.ROOT}/shop/job/+/event"):
            heard.put_nowait(any_data(event))

    listening = asyncio.create_task(listen())
    await asyncio.sleep(0)
    await client.subscribed()
    yield heard
    listening.cancel()
    await asyncio.gather(listening, return_exceptions=True)
