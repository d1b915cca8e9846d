"""Mirrors the in-process bus to an MQTT broker, and takes requests from there.

Nothing in the process ever waits for the broker. Three sorts of messages leave by three ways:

- durable (with a journal row): live while the broker keeps up; else they wait in the outbox and go out in order;
- retained (status): the latest of each topic, and all of them again at every connect;
- the rest (frames): a bounded queue that drops its oldest; what is dropped is in the journal.
"""

from __future__ import annotations

import asyncio
import random
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Protocol

import msgspec
import structlog

from wakerail.bus.link import WINDOW, BrokerAddress, client_id, connect, lost, publish
from wakerail.bus.local import Bus, Publication
from wakerail.bus.requests import Requests
from wakerail_kit import topics
from wakerail_kit.clock import Clock
from wakerail_kit.errors import WakerailError
from wakerail_kit.messages import InstrumentState, Status, encode

if TYPE_CHECKING:
    import aiomqtt

log = structlog.get_logger(__name__)

FIRST_RETRY_S = 0.5
LAST_RETRY_S = 15.0


class OutboxItem(Protocol):
    """A durable message that the broker has not confirmed: its journal row, topic and JSON."""

    @property
    def row(self) -> int: ...
    @property
    def topic(self) -> str: ...
    @property
    def payload(self) -> bytes: ...


class Outbox(Protocol):
    """What was recorded but not yet confirmed by the broker; the journal keeps it."""

    async def pending(self, limit: int) -> Sequence[OutboxItem]:
        """Return the oldest ``limit`` unconfirmed messages, oldest first."""
        ...

    async def sent(self, rows: Sequence[int]) -> None:
        """Note that the broker has confirmed the messages of these journal rows."""
        ...


class Door(Protocol):
    """A way into a broker of this very process that needs no socket, for frames."""

    def wants(self, topic: str) -> bool:
        """Tell whether anybody listens to ``topic``."""
        ...

    async def publish(self, topic: str, payload: bytes) -> None:
        """Deliver to whoever listens."""
        ...


class Mirror:
    """Keeps one connection to a broker for as long as ``run`` runs, and mends it whenever it breaks.

    ``will`` is the daemon's status in state ``gone``, which the broker publishes if the daemon dies. ``door`` is the
    embedded broker, if it is the one at ``url``: frames then go straight in, and only if somebody listens, since
    each trip through a socket costs more processor time than all the rest of a frame's way.
    Raises ConfigInvalid for a URL that cannot be.
    """

    def __init__(
        self,
        bus: Bus,
        *,
        url: str,
        bench: str,
        outbox: Outbox | None,
        requests: Requests | None,
        clock: Clock,
        will: Status,
        door: Door | None = None,
        queue_size: int = 256,
        jitter: Callable[[], float] = random.random,
    ) -> None:
        self._bus = bus
        self._address = BrokerAddress.parse(url)
        self._bench = bench
        self._outbox = outbox
        self._requests = requests
        self._clock = clock
        self._daemon_topic = topics.instrument(bench, topics.DAEMON, "status")
        self._will = will
        self._door = door
        self._jitter = jitter
        self._queue_size = queue_size
        self._statuses: dict[str, Publication] = {}
        self._loose: deque[Publication] = deque(maxlen=queue_size)
        self._durable: deque[Publication] = deque()
        self._caught_up = False  # is whatever the outbox holds also in `_durable` or on its way?
        self._missed = False  # was a durable message left to the outbox since we last looked there?
        self._live_bell = asyncio.Event()
        self._durable_bell = asyncio.Event()
        self._client: aiomqtt.Client | None = None
        self._up = asyncio.Event()
        self._closing = asyncio.Event()
        self._ended = asyncio.Event()
        self._running = False
        self._lost_told = False
        #: the MQTT client id, the same for all connections of this mirror
        self.identifier = client_id(bench, "mirror")
        #: one line for a person on how the connection stands
        self.words = f"not yet connected to {self._address}"
        #: how many frames were dropped because the broker was away or too slow
        self.dropped = 0

    @property
    def is_connected(self) -> bool:
        """True while the broker takes messages."""
        return self._up.is_set()

    async def connected(self) -> None:
        """Wait until the broker is there, has the retained statuses, and requests are taken."""
        await self._up.wait()

    async def run(self) -> None:
        """Mirror until ``close`` is called. Whatever the broker or the outbox does, this only ends when told to."""
        self._running = True
        unfollow = self._bus.follow("#", self._offer)
        try:
            async with asyncio.TaskGroup() as answering:
                failures = 0
                while not self._closing.is_set():
                    failures = 1 if await self._one_connection(answering) else failures + 1
                    await self._pause(failures)
        finally:
            unfollow()
            self._ended.set()

    async def close(self, last: Status, within_s: float = 3.0) -> None:
        """Publish the daemon's ``last`` status after all that waits, and hang up, in ``within_s`` seconds at most."""
        self._bus.publish(self._daemon_topic, last, retain=True)
        self._closing.set()
        self._live_bell.set()
        self._durable_bell.set()
        if self._running:
            try:
                async with asyncio.timeout(within_s):
                    await self._ended.wait()
            except TimeoutError:
                log.warning("the broker did not take the last messages in time", broker=str(self._address))

    # --- from the bus, synchronously; nothing here may take long ---

    def _offer(self, publication: Publication) -> None:
        if publication.row is not None and self._outbox is not None:
            if self._caught_up and len(self._durable) < self._queue_size:
                self._durable.append(publication)
            else:
                self._caught_up = False
                self._missed = True
            self._durable_bell.set()
            return
        if publication.retain:
            self._statuses[publication.topic] = publication
        elif self._door is None or self._door.wants(publication.topic):
            if len(self._loose) == self._queue_size:
                self.dropped += 1
            self._loose.append(publication)
        else:
            return
        self._live_bell.set()

    # --- one connection ---

    async def _one_connection(self, answering: asyncio.TaskGroup) -> bool:
        """Connect and serve until the connection ends; tell whether it ever stood."""
        import aiomqtt  # noqa: PLC0415 - late, so that the daemon is ready sooner

        will = aiomqtt.Will(self._daemon_topic, encode(self._will), qos=1, retain=True)
        stood = False
        try:
            async with connect(self._address, self.identifier, will=will) as client:
                await client.subscribe([(self._daemon_topic, 1), (f"{topics.ROOT}/{self._bench}/ask/+", 1)])
                await self._state_everything(client)
                stood = True
                self._stand(client)
                await self._serve(client, answering)
        except* (WakerailError, aiomqtt.MqttError) as errors:
            error = _first(errors)
            self._fall(str(lost(self._address, error) if isinstance(error, aiomqtt.MqttError) else error))
        finally:
            self._client = None
            self._up.clear()
            self._caught_up = False
            self._durable.clear()  # all of it is in the outbox
        return stood

    async def _state_everything(self, client: aiomqtt.Client) -> None:
        """Publish every retained status: the broker may have lost them, or hold what an earlier daemon's will said."""
        self._statuses.clear()
        states = [(topic, encode(message), True) for topic, message in self._bus.retained_all().items()]
        for start in range(0, len(states), WINDOW):
            await publish(client, states[start : start + WINDOW])

    async def _serve(self, client: aiomqtt.Client, answering: asyncio.TaskGroup) -> None:
        async with asyncio.TaskGroup() as crew:
            incoming = crew.create_task(self._take_in(client, answering), name="mirror takes in")
            senders = [crew.create_task(self._send_live(client), name="mirror sends")]
            if self._outbox is not None:
                senders.append(crew.create_task(self._send_durable(client, self._outbox), name="mirror empties outbox"))
            await asyncio.wait(senders)  # they end when all is sent after `close`
            incoming.cancel()

    async def _take_in(self, client: aiomqtt.Client, answering: asyncio.TaskGroup) -> None:
        async for message in client.messages:
            topic, payload = message.topic.value, message.payload
            if not isinstance(payload, bytes) or message.retain:
                continue  # a request retained by the broker is an old one: it must not switch anything on today
            if topic == self._daemon_topic:
                self._contradict(payload)
            elif self._requests is not None:
                answering.create_task(self._answer(self._requests, topic, payload), name=f"answers {topic}")

    def _contradict(self, payload: bytes) -> None:
        """Say that we live when a broker publishes, late, the will of a connection of ours that broke before."""
        present = self._bus.retained(self._daemon_topic)
        with suppress(msgspec.DecodeError):
            said = msgspec.json.decode(payload, type=Status)
            if said.state is InstrumentState.GONE and present is not None:
                self._offer(Publication(self._daemon_topic, present, retain=True))

    async def _answer(self, requests: Requests, topic: str, payload: bytes) -> None:
        import aiomqtt  # noqa: PLC0415 - see above

        answered = await requests.answer(topic, payload)
        if answered is None:
            return
        reply_to, answer = answered
        try:
            if self._client is None:
                raise aiomqtt.MqttError("the broker is away")
            await publish(self._client, [(reply_to, encode(answer), False)])
        except (WakerailError, aiomqtt.MqttError) as error:
            log.warning("an answer could not be delivered", topic=topic, error=str(error))

    async def _send_live(self, client: aiomqtt.Client) -> None:
        """Send statuses and frames as they come, as many at once as there are."""
        while not (self._closing.is_set() and not self._statuses and not self._loose):
            await self._live_bell.wait()
            self._live_bell.clear()
            while self._statuses or self._loose:
                statuses = [self._statuses.pop(topic) for topic in list(self._statuses)[:WINDOW]]
                frames = [self._loose.popleft() for _ in range(min(len(self._loose), WINDOW - len(statuses)))]
                if self._door is not None:
                    for frame in frames:
                        await self._door.publish(frame.topic, encode(frame.message))
                    frames = []
                parcels = [(each.topic, encode(each.message), each.retain) for each in statuses + frames]
                if parcels:
                    await publish(client, parcels)

    async def _send_durable(self, client: aiomqtt.Client, outbox: Outbox) -> None:
        """Send what waits in the outbox, then what comes live, each noted as sent once the broker has confirmed it."""
        while True:
            if self._durable:
                live = [self._durable.popleft() for _ in range(min(len(self._durable), WINDOW))]
                items = [(each.row, each.topic, encode(each.message)) for each in live if each.row is not None]
            elif self._caught_up:
                if self._closing.is_set():
                    return
                self._durable_bell.clear()
                await self._durable_bell.wait()
                continue
            else:
                self._missed = False
                items = [(each.row, each.topic, each.payload) for each in await outbox.pending(WINDOW)]
                # A message announced while we looked may or may not be among those we saw: then look again.
                self._caught_up = not items and not self._missed
            if items:
                await publish(client, [(topic, payload, False) for _, topic, payload in items])
                await outbox.sent([row for row, _, _ in items])

    # --- how it stands ---

    def _stand(self, client: aiomqtt.Client) -> None:
        self._client = client
        self.words = f"connected to {self._address}"
        self._lost_told = False
        self._up.set()
        log.info("connected to the broker", broker=str(self._address))

    def _fall(self, why: str) -> None:
        self.words = why
        if not self._lost_told:  # once, not at every attempt
            self._lost_told = True
            log.warning("the broker is away; the bench works on without it", why=why)

    async def _pause(self, failures: int) -> None:
        """Wait before the next attempt: longer each time, never the same for two benches, and not after ``close``."""
        longest_s = min(LAST_RETRY_S, FIRST_RETRY_S * 2 ** min(failures - 1, 16))
        delay_s = longest_s * (0.5 + 0.5 * self._jitter())
        waits = [
            asyncio.ensure_future(self._closing.wait()),
            asyncio.ensure_future(self._clock.sleep(delay_s)),
        ]
        try:
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for each in waits:
                each.cancel()
            await asyncio.gather(*waits, return_exceptions=True)


def _first(errors: BaseExceptionGroup[BaseException]) -> BaseException:
    """Return the first error of a group, and of the groups within."""
    first = errors.exceptions[0]
    return _first(first) if isinstance(first, BaseExceptionGroup) else first
