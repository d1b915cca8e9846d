"""The bus inside the daemon: every message reaches every subscriber at once, in the order it was published."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import structlog
from msgspec import Struct

from wakerail_kit import topics
from wakerail_kit.errors import ContractViolation

log = structlog.get_logger(__name__)

_KNOWN_TOPICS = 1024  # runs come and go, so the memory of who wants which topic is emptied when it gets this long


def check_filter(pattern: str) -> None:
    """Raise ContractViolation for what is no MQTT topic filter (MQTT 5.0, 4.7.1)."""
    *front, last = pattern.split("/")
    wrong = any("#" in level for level in front) or ("#" in last and last != "#")
    if wrong or not pattern or any("+" in level and level != "+" for level in [*front, last]):
        raise ContractViolation(
            f"{pattern!r} is no topic filter: '+' stands for one whole level, and '#' for all the rest, at the end"
        )


@dataclass(frozen=True, slots=True)
class Publication:
    """A message as it was published. ``row`` is its place in the journal, None for one that is not durable."""

    topic: str
    message: Struct
    row: int | None = None
    retain: bool = False


Follower = Callable[[Publication], None]


@dataclass(frozen=True, slots=True, eq=False)
class _Subscription:
    pattern: str
    deliver: Follower


class Bus:
    """Joins whatever lives on the daemon's event loop. It belongs to that loop and to no other thread.

    Delivery is synchronous: when ``publish`` returns, every subscriber was called. The one exception is a
    publish from inside a subscriber: it is delivered as soon as the message in hand has reached everybody, so that
    all see the same order. A subscriber that raises is logged and stops neither the others nor the publisher.
    """

    def __init__(self) -> None:
        self._subscriptions: list[_Subscription] = []
        self._wanted_by: dict[str, list[_Subscription]] = {}
        self._retained: dict[str, Struct] = {}
        self._waiting: deque[Publication] = deque()
        self._delivering = False

    def publish(self, topic: str, message: Struct, *, row: int | None = None, retain: bool = False) -> None:
        """Deliver ``message`` to every subscriber of ``topic``.

        ``row`` is the journal row of a durable message (events, prompts, verdicts); with ``retain`` the message is
        kept as the topic's present state.
        """
        if retain:
            self._retained[topic] = message
        self._waiting.append(Publication(topic, message, row, retain))
        if self._delivering:
            return
        self._delivering = True
        try:
            while self._waiting:
                self._deliver(self._waiting.popleft())
        finally:
            self._delivering = False

    def subscribe(self, pattern: str, deliver: Callable[[str, Struct], None]) -> Callable[[], None]:
        """Call ``deliver(topic, message)`` for each message whose topic matches; return what ends it.

        ``pattern`` is an MQTT topic filter (``+`` one level, ``#`` the rest). Retained messages of the past are not
        delivered: ask ``retained`` for them. Raises ContractViolation for a pattern that is no filter.
        """
        return self.follow(pattern, lambda publication: deliver(publication.topic, publication.message))

    def follow(self, pattern: str, deliver: Follower) -> Callable[[], None]:
        """Like ``subscribe``, for who needs the journal row and the retain mark as well."""
        check_filter(pattern)
        subscription = _Subscription(pattern, deliver)
        self._subscriptions.append(subscription)
        self._wanted_by.clear()

        def unsubscribe() -> None:
            if subscription in self._subscriptions:
                self._subscriptions.remove(subscription)
                self._wanted_by.clear()

        return unsubscribe

    @asynccontextmanager
    async def listen(
        self, pattern: str, *, size: int = 256, when_full: Literal["oldest", "fail"] = "oldest"
    ) -> AsyncIterator[Listener]:
        """Subscribe a coroutine through a queue of ``size`` messages.

        When the queue is full, ``oldest`` drops the oldest message (for samples, where the newest counts) and ``fail``
        ends the listener with ContractViolation (for whoever must not miss a message).
        """
        listener = Listener(pattern, size, when_full)
        unsubscribe = self.subscribe(pattern, listener.offer)
        try:
            yield listener
        finally:
            unsubscribe()

    def retained(self, topic: str) -> Struct | None:
        """Return the present state that a topic retains, or None."""
        return self._retained.get(topic)

    def retained_all(self) -> Mapping[str, Struct]:
        """Return a read-only view of every retained message by topic."""
        return MappingProxyType(self._retained)

    def _deliver(self, publication: Publication) -> None:
        for subscription in self._who_wants(publication.topic):
            if subscription not in self._subscriptions:
                continue  # it ended while this very message went round
            try:
                subscription.deliver(publication)
            except Exception:
                log.exception("a subscriber failed", pattern=subscription.pattern, topic=publication.topic)

    def _who_wants(self, topic: str) -> list[_Subscription]:
        found = self._wanted_by.get(topic)
        if found is None:
            if len(self._wanted_by) >= _KNOWN_TOPICS:
                self._wanted_by.clear()
            found = [each for each in self._subscriptions if topics.matches(each.pattern, topic)]
            self._wanted_by[topic] = found
        return found


class Listener:
    """The receiving end of ``Bus.listen``: iterate over it to get ``(topic, message)``."""

    def __init__(self, pattern: str, size: int, when_full: Literal["oldest", "fail"]) -> None:
        self._pattern = pattern
        self._size = size
        self._when_full = when_full
        self._queue: deque[tuple[str, Struct]] = deque()
        self._bell = asyncio.Event()
        self._failed = False
        #: how many messages were dropped because the queue was full
        self.dropped = 0

    def offer(self, topic: str, message: Struct) -> None:
        """Put a message in; called by the bus."""
        if len(self._queue) >= self._size:
            self.dropped += 1
            if self._when_full == "fail":
                self._failed = True
                self._bell.set()
                return
            self._queue.popleft()
        self._queue.append((topic, message))
        self._bell.set()

    def __aiter__(self) -> Listener:
        return self

    async def __anext__(self) -> tuple[str, Struct]:
        while not self._queue and not self._failed:
            self._bell.clear()
            await self._bell.wait()
        if self._queue and not self._failed:
            return self._queue.popleft()
        raise ContractViolation(f"the listener of {self._pattern!r} fell more than {self._size} messages behind")
