"""Starts a run on a daemon and follows it to its verdict over MQTT. It prints nothing: a Watcher does."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator, Coroutine
from typing import Any, Protocol

from msgspec import Struct

from wakerail.bus import BusClient
from wakerail.cli.bench import raise_refusal
from wakerail_kit import topics
from wakerail_kit.errors import DeviceUnavailable, WakerailError
from wakerail_kit.messages import AbortRun, AnswerPrompt, InstrumentState, Prompt, RunSequence, Status, Verdict


class Watcher(Protocol):
    """Who sees a run: shows what comes, and answers its prompts."""

    def take(self, topic: str, message: Struct) -> None:
        """See a message of the run, or a frame, event or status of the bench."""
        ...

    async def answer(self, prompt: Prompt) -> bool:
        """Do what the prompt asks and return True, or refuse and return False."""
        ...


async def follow_run(client: BusClient, request: RunSequence, watcher: Watcher, abort: asyncio.Event) -> Verdict:
    """Start a run and follow it. When ``abort`` is set the run is aborted; its verdict is still awaited.

    Raises what the daemon refused as ConfigInvalid or WakerailError, and DeviceUnavailable when daemon or broker die.
    """
    async with contextlib.AsyncExitStack() as stack:
        following = _Following(client, stack)
        following.do(following.read(client.messages(topics.everything(client.bench))))
        await client.subscribed()
        answer = await client.ask("run", request)
        if not answer.ok:
            raise_refusal(answer)
        run: str = answer.data["run"]
        following.do(_abort_when_asked(client, run, abort))
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
    confirmed = await watcher.answer(prompt)
    await client.ask("confirm", AnswerPrompt(run=prompt.run, prompt=prompt.id, confirmed=confirmed))


def _check_alive(daemon: Status) -> None:
    if daemon.state in {InstrumentState.GONE, InstrumentState.STOPPED}:
        raise DeviceUnavailable(f"the daemon of {daemon.bench} is {daemon.state}: {daemon.words}")
