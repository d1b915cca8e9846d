"""Starts a run on a daemon and follows it to its verdict over MQTT. It prints nothing: a Watcher does."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from typing import Protocol

from msgspec import Struct

from wakerail.bus import BusClient
from wakerail.cli.bench import raise_refusal
from wakerail_kit import topics
from wakerail_kit.errors import DeviceUnavailable
from wakerail_kit.messages import AbortRun, AnswerPrompt, InstrumentState, Prompt, RunSequence, Status, Verdict


class Watcher(Protocol):
    """Who sees a run: shows what comes, and answers its prompts."""

    def take(self, topic: str, message: Struct) -> None:
        """See a message of the run or a frame of the bench."""
        ...

    async def answer(self, prompt: Prompt) -> bool:
        """Do what the prompt asks and return True, or refuse and return False."""
        ...


async def follow_run(client: BusClient, request: RunSequence, watcher: Watcher, abort: asyncio.Event) -> Verdict:
    """Start a run and follow it. When ``abort`` is set the run is aborted; its verdict is still awaited.

    Raises what the daemon refused as ConfigInvalid or WakerailError, and DeviceUnavailable when the daemon dies.
    """
    messages = client.messages(topics.everything(client.bench))
    async with contextlib.aclosing(messages), asyncio.TaskGroup() as group:
        inbox: asyncio.Queue[tuple[str, Struct]] = asyncio.Queue()
        reader = group.create_task(_read(messages, inbox), name="reader")
        await client.subscribed()
        answer = await client.ask("run", request)
        if not answer.ok:
            reader.cancel()
            raise_refusal(answer)
        run: str = answer.data["run"]
        aborter = group.create_task(_abort_when_asked(client, run, abort), name="aborter")
        answering: set[asyncio.Task[None]] = set()
        try:
            while True:
                topic, message = await inbox.get()
                place = topics.parse(topic)
                if place.branch == "sequence" and place.owner != run:
                    continue
                watcher.take(topic, message)
                if isinstance(message, Status) and message.instrument == topics.DAEMON:
                    _check_alive(message)
                if isinstance(message, Prompt):
                    answering.add(group.create_task(_answer(client, watcher, message), name="answer"))
                if isinstance(message, Verdict):
                    return message
        finally:
            for task in (reader, aborter, *answering):
                task.cancel()


async def _read(messages: AsyncIterator[tuple[str, Struct]], inbox: asyncio.Queue[tuple[str, Struct]]) -> None:
    async for item in messages:
        inbox.put_nowait(item)


async def _abort_when_asked(client: BusClient, run: str, abort: asyncio.Event) -> None:
    await abort.wait()
    await client.ask("abort", AbortRun(run=run))


async def _answer(client: BusClient, watcher: Watcher, prompt: Prompt) -> None:
    confirmed = await watcher.answer(prompt)
    await client.ask("confirm", AnswerPrompt(run=prompt.run, prompt=prompt.id, confirmed=confirmed))


def _check_alive(daemon: Status) -> None:
    if daemon.state in {InstrumentState.GONE, InstrumentState.STOPPED}:
        raise DeviceUnavailable(f"the daemon of {daemon.bench} is {daemon.state}: {daemon.words}")
