"""Starts a run on a daemon and follows it to its verdict over MQTT. It prints nothing: a Watcher does."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator, Coroutine
from typing import Any, Protocol

from msgspec import Struct

from wakerail.bus import BusClient
from wakerail.cli.bench import ask_over
from wakerail.cli.terminal import Reply, Wish
from wakerail_kit import topics
from wakerail_kit.errors import DeviceUnavailable, WakerailError
from wakerail_kit.messages import (
    AbortRun,
    AnswerPrompt,
    ConfirmPresence,
    CoolRun,
    InstrumentState,
    Prompt,
    RunSequence,
    Status,
    Verdict,
)


class Watcher(Protocol):
    """Who sees a run: shows what comes, and answers its prompts."""

    def take(self, topic: str, message: Struct) -> None:
        """See a message of the run, or a frame, event or status of the bench."""
        ...

    async def answer(self, prompt: Prompt) -> Reply:
        """Do what the prompt asks and say so, or refuse."""
        ...

    async def wish(self) -> Wish:
        """Return what the person wants next of a run that goes on; wait until they want something."""
        ...


async def follow_run(client: BusClient, request: RunSequence, watcher: Watcher, abort: asyncio.Event) -> Verdict:
    """Start a run and follow it. When ``abort`` is set the run is aborted; its verdict is still awaited.

    Raises what the daemon refused as ConfigInvalid or WakerailError, and DeviceUnavailable when daemon or broker die.
    """
    async with contextlib.AsyncExitStack() as stack:
        following = _Following(client, stack)
        following.do(following.read(client.messages(topics.everything(client.bench))))
        await client.subscribed()
        run: str = (await ask_over(client, "run", request)).data["run"]
        following.do(_abort_when_asked(client, run, abort))
        following.do(_grant_wishes(client, watcher, request.operator, run))
        while True:
            topic, message = await following.next()
            place = topics.parse(topic)
            if place.branch in {"ask", "answer"} or (place.branch == "sequence" and place.owner != run):
                continue
            watcher.take(topic, message)
            if isinstance(message, Status) and message.instrument == topics.DAEMON:
                _check_alive(message)
            if isinstance(message, Prompt):
                following.do(_answer(client, watcher, message))
            if isinstance(message, Verdict):
                return message


class _Following:
    """The tasks of one follower, ended with it; what goes wrong in any of them comes out of ``next``."""

    def __init__(self, client: BusClient, stack: contextlib.AsyncExitStack) -> None:
        self._client = client
        self._stack = stack
        self._inbox: asyncio.Queue[tuple[str, Struct] | WakerailError] = asyncio.Queue()

    def do(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(self._guarded(work), name="follower")
        self._stack.push_async_callback(_end, task)

    async def read(self, messages: AsyncGenerator[tuple[str, Struct], None]) -> None:
        async with contextlib.aclosing(messages):
            async for item in messages:
                self._inbox.put_nowait(item)

    async def next(self) -> tuple[str, Struct]:
        item = await self._inbox.get()
        if isinstance(item, WakerailError):
            raise item
        return item

    async def _guarded(self, work: Coroutine[Any, Any, None]) -> None:
        try:
            await work
        except WakerailError as wrong:
            self._inbox.put_nowait(wrong)


async def _end(task: asyncio.Task[None]) -> None:
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


async def _abort_when_asked(client: BusClient, run: str, abort: asyncio.Event) -> None:
    await abort.wait()
    await client.ask("abort", AbortRun(run=run))


async def _answer(client: BusClient, watcher: Watcher, prompt: Prompt) -> None:
    said = await watcher.answer(prompt)
    answer = AnswerPrompt(
        run=prompt.run,
        prompt=prompt.id,
        confirmed=said.confirmed,
        choice=said.choice,
        note=said.note,
        person=said.person,
    )
    await client.ask("confirm", answer)


async def _grant_wishes(client: BusClient, watcher: Watcher, operator: str, run: str) -> None:
    """Ask the daemon for what the person wants; what it refuses has come too late, and the run says so itself."""
    while True:
        wish = await watcher.wish()
        if wish is Wish.COOL:
            await client.ask("cool", CoolRun(run=run, operator=operator))
        else:
            await client.ask("present", ConfirmPresence(operator=operator))


def _check_alive(daemon: Status) -> None:
    if daemon.state in {InstrumentState.GONE, InstrumentState.STOPPED}:
        raise DeviceUnavailable(f"the daemon of {daemon.bench} is {daemon.state}: {daemon.words}")
