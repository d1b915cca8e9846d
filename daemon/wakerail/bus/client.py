"""The bus as other programs see it: ask the daemon something, and read what it says."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import AsyncGenerator
from contextlib import AsyncExitStack
from types import TracebackType
from typing import TYPE_CHECKING

import msgspec
import structlog
from msgspec import Struct

from wakerail.bus.link import BrokerAddress, client_id, connect, lost, publish
from wakerail.bus.local import check_filter
from wakerail_kit import topics
from wakerail_kit.clock import Clock, RealClock
from wakerail_kit.errors import ContractViolation, DeviceUnavailable, WakerailError
from wakerail_kit.ids import new_id
from wakerail_kit.messages import Answer, Ask, Event, Frame, Prompt, Status, Verdict, encode

if TYPE_CHECKING:
    import aiomqtt

log = structlog.get_logger(__name__)

_LEAVES: dict[str, type[Struct]] = {
    "status": Status,
    "frame": Frame,
    "event": Event,
    "prompt": Prompt,
    "verdict": Verdict,
}
_BRANCHES: dict[str, type[Struct]] = {"ask": Ask, "answer": Answer}


def decode(topic: str, payload: bytes) -> Struct:
    """Return the message that a payload holds, of the struct that belongs to its topic.

    Raises ContractViolation if the topic is none of ours or the payload does not follow its schema.
    """
    place = topics.parse(topic)
    of = _BRANCHES.get(place.branch) or _LEAVES[place.leaf]
    try:
        return msgspec.json.decode(payload, type=of)
    except msgspec.DecodeError as error:
        raise ContractViolation(f"what came on {topic} is no {of.__name__.lower()}: {error}") from error


class BusClient:
    """A program's connection to one bench, as an async context manager.

    Entering raises ConfigInvalid for a wrong URL or password and DeviceUnavailable if no broker is there.
    """

    def __init__(self, url: str, bench: str, *, role: str = "client", clock: Clock | None = None) -> None:
        self.bench = bench
        self._address = BrokerAddress.parse(url)
        self._role = role
        self._clock = clock or RealClock()
        self._reply_to = topics.answer(bench, f"{role}-{secrets.token_hex(6)}")
        self._asked: dict[str, asyncio.Future[Answer]] = {}
        self._streams: list[_Stream] = []
        self._stack = AsyncExitStack()
        self._client: aiomqtt.Client | None = None
        self._taking: asyncio.Task[None] | None = None

    async def __aenter__(self) -> BusClient:
        async with AsyncExitStack() as stack:
            client = await stack.enter_async_context(connect(self._address, client_id(self.bench, self._role)))
            await client.subscribe(self._reply_to, qos=1)
            self._client = client
            self._taking = asyncio.create_task(self._take_answers(client), name="takes answers")
            stack.push_async_callback(_end, self._taking)
            self._stack = stack.pop_all()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._client = None
        for stream in self._streams:
            await _end(stream.task)
        await self._stack.aclose()

    async def ask(self, verb: str, args: Struct, timeout_s: float = 5.0) -> Answer:
        """Ask the daemon to carry out ``verb`` and return its answer, a refusal included.

        Raises DeviceUnavailable if no answer comes within ``timeout_s`` seconds, or the broker goes.
        """
        if self._client is None:
            raise ContractViolation("a BusClient asks between entering and leaving its context, not outside")
        ask = Ask(id=new_id(self._clock.now()), reply_to=self._reply_to, args=msgspec.to_builtins(args))
        answer: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self._asked[ask.id] = answer
        sending = asyncio.create_task(self._send(self._client, topics.ask(self.bench, verb), encode(ask)))
        try:
            async with asyncio.timeout(timeout_s):
                # a broker that goes before it confirms the question leaves the sending waiting: the answer's end tells
                return (await asyncio.gather(sending, answer))[1]
        except TimeoutError as error:
            raise DeviceUnavailable(
                f"{self.bench} did not answer {verb!r} within {timeout_s:g} s: is its daemon at {self._address}?"
            ) from error
        finally:
            sending.cancel()
            del self._asked[ask.id]

    def messages(self, pattern: str) -> AsyncGenerator[tuple[str, Struct], None]:
        """Give ``(topic, message)`` of all that is published on topics matching ``pattern``, retained statuses first.

        They count from the moment that ``subscribed`` returns, or the first one came. What does not follow its schema
        is left out and logged. Ends with DeviceUnavailable if the broker goes. Raises ContractViolation for a pattern
        that is no topic filter.
        """
        check_filter(pattern)
        stream = _Stream(self._address, client_id(self.bench, self._role), pattern)
        self._streams = [each for each in self._streams if not each.task.done()] + [stream]
        return stream.read()

    async def subscribed(self) -> None:
        """Wait until the broker knows of every ``messages`` asked for so far. Raises DeviceUnavailable if it goes."""
        for stream in self._streams:
            await stream.settled.wait()
            if stream.failure is not None:
                raise stream.failure

    async def _send(self, client: aiomqtt.Client, topic: str, payload: bytes) -> None:
        import aiomqtt  # noqa: PLC0415 - late, so that a program starts sooner

        try:
            await publish(client, [(topic, payload, False)])
        except aiomqtt.MqttError as error:
            raise lost(self._address, error) from error

    async def _take_answers(self, client: aiomqtt.Client) -> None:
        import aiomqtt  # noqa: PLC0415 - see above

        try:
            async for message in client.messages:
                if message.topic.value != self._reply_to or not isinstance(message.payload, bytes):
                    continue
                try:
                    answer = msgspec.json.decode(message.payload, type=Answer)
                except msgspec.DecodeError as error:
                    log.warning("an answer could not be read", error=str(error))
                    continue
                waiting = self._asked.get(answer.id)
                if waiting is not None and not waiting.done():
                    waiting.set_result(answer)
        except aiomqtt.MqttError as error:
            for waiting in self._asked.values():
                if not waiting.done():
                    waiting.set_exception(lost(self._address, error))


class _Stream:
    """What matches one pattern, on a connection of its own: overlapping subscriptions of one client come twice."""

    def __init__(self, address: BrokerAddress, identifier: str, pattern: str) -> None:
        self._address = address
        self._identifier = identifier
        self._pattern = pattern
        self._queue: asyncio.Queue[tuple[str, Struct] | WakerailError] = asyncio.Queue(maxsize=256)
        self.failure: WakerailError | None = None
        #: set once the broker knows of the subscription, or cannot be told
        self.settled = asyncio.Event()
        self.task = asyncio.create_task(self._fill(), name=f"reads {pattern}")

    async def read(self) -> AsyncGenerator[tuple[str, Struct], None]:
        try:
            while True:
                item = await self._queue.get()
                if isinstance(item, WakerailError):
                    raise item
                yield item
        finally:
            await _end(self.task)

    async def _fill(self) -> None:
        try:
            async with connect(self._address, self._identifier) as client:
                await client.subscribe(self._pattern, qos=1)
                self.settled.set()
                async for message in client.messages:
                    topic, payload = message.topic.value, message.payload
                    if message.retain and message.qos == 0:
                        continue  # amqtt 0.12 tells a new client what others subscribed to, at QoS 0; ours is QoS 1
                    try:
                        found = decode(topic, payload if isinstance(payload, bytes) else b"")
                    except ContractViolation as error:
                        log.warning("a message was left out", error=str(error))
                        continue
                    await self._queue.put((topic, found))
        except WakerailError as error:
            self.failure = error
            self.settled.set()
            await self._queue.put(error)


async def _end(task: asyncio.Task[None]) -> None:
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
