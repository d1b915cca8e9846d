"""The broker inside the daemon: amqtt, on this machine's loopback only."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import structlog

from wakerail_kit import topics
from wakerail_kit.errors import ConfigInvalid

if TYPE_CHECKING:  # importing amqtt takes a good part of the second in which the daemon must be ready
    from amqtt.broker import Broker

log = structlog.get_logger(__name__)

_HOST = "127.0.0.1"
_LISTENER = "default"
_STOP_TIMEOUT_S = 2.0

#: A client that has not read a single byte for so long, though there are many for it, is cut off.
UNREAD_TIMEOUT_S = 10.0


class EmbeddedBroker:
    """An MQTT 3.1.1 broker for the programs of this machine. ``port`` 0 or None takes a free one.

    It needs no password, so it listens on loopback only. Nothing in it outlives it: sessions and retained messages
    are gone when it stops, and the mirror states everything anew.
    """

    def __init__(self, port: int | None = None) -> None:
        self._port = port or 0
        self._broker: Broker | None = None
        self._server: asyncio.Server | None = None
        self._connections: dict[asyncio.Task[None], asyncio.StreamWriter] = {}

    async def start(self) -> str:
        """Listen, and return the URL. Raises ConfigInvalid if the port is taken or forbidden."""
        from amqtt.broker import Broker  # noqa: PLC0415 - see the top of the file

        # amqtt logs a traceback for each client that leaves at the wrong moment; nobody can do anything about those.
        logging.getLogger("amqtt").setLevel(logging.CRITICAL)

        # We own the listening socket ("external" to amqtt): so the port can be any free one, its being taken is
        # our error to word, and a subscriber that never reads can be cut off.
        broker = Broker(
            {
                "listeners": {_LISTENER: {"type": "external", "bind": _HOST}},
                "session_expiry_interval": 60,
                "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
            }
        )
        broker._subscriptions = _Steady()  # noqa: SLF001 - see there; amqtt offers no other way
        try:
            server = await asyncio.start_server(self._take_client, _HOST, self._port)
        except OSError as error:
            raise ConfigInvalid(
                f"the embedded broker cannot listen on port {self._port} of {_HOST} ({error.strerror}): "
                f"stop what uses that port, or name another port or broker"
            ) from error
        await broker.start()
        self._broker, self._server = broker, server
        port: int = server.sockets[0].getsockname()[1]
        return f"mqtt://{_HOST}:{port}"

    async def stop(self) -> None:
        """Say goodbye to all clients and let go of the port. May be called twice."""
        broker, server = self._broker, self._server
        self._broker = self._server = None
        if broker is None or server is None:
            return
        server.close()
        await broker.shutdown()
        for writer in self._connections.values():
            writer.close()
        if self._connections:
            _, late = await asyncio.wait(self._connections, timeout=_STOP_TIMEOUT_S)
            for task in late:
                task.cancel()
            await asyncio.gather(*late, return_exceptions=True)
        await server.wait_closed()

    def wants(self, topic: str) -> bool:
        """Tell whether any client at all listens to ``topic``."""
        if self._broker is None:
            return False
        return any(clients and topics.matches(each, topic) for each, clients in self._broker.subscriptions.items())

    async def publish(self, topic: str, payload: bytes) -> None:
        """Hand a message to all subscribers of ``topic`` without the way over a socket."""
        if self._broker is not None:
            await self._broker.internal_message_broadcast(topic, payload)

    async def _take_client(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        from amqtt.adapters import StreamReaderAdapter, StreamWriterAdapter  # noqa: PLC0415 - see the top of the file

        task = asyncio.current_task()
        if self._broker is None or task is None:
            writer.close()
            return
        self._connections[task] = writer
        try:
            await self._broker.external_connected(
                StreamReaderAdapter(reader), StreamWriterAdapter(_CutOff(writer)), _LISTENER
            )
        except Exception as error:  # noqa: BLE001 - whatever one client does, the broker serves the others
            log.warning("a client of the embedded broker failed", error=repr(error))
        finally:
            del self._connections[task]
            writer.close()


class _Steady(dict[str, list[Any]]):
    """Subscriptions whose walks see them as they were when they began.

    amqtt 0.12 awaits in the midst of walking them: a client that comes meanwhile ends the walk, and with it another
    client's connection or the sending of a message; one that leaves makes its neighbour miss the message.
    """

    def __iter__(self) -> Iterator[str]:
        return iter(list(super().keys()))

    def items(self) -> list[tuple[str, list[Any]]]:  # type: ignore[override]
        return [(pattern, list(clients)) for pattern, clients in super().items()]


class _CutOff:
    """A stream writer that ends the connection of a client who reads nothing, before messages for it pile up."""

    def __init__(self, writer: asyncio.StreamWriter) -> None:
        self._writer = writer

    async def drain(self) -> None:
        transport = self._writer.transport
        if transport.get_write_buffer_size() == 0:
            return
        try:
            async with asyncio.timeout(UNREAD_TIMEOUT_S):
                await self._writer.drain()
        except TimeoutError as error:
            log.warning("a client of the embedded broker does not read and is cut off")
            transport.abort()
            raise ConnectionResetError from error

    def __getattr__(self, name: str) -> Any:
        return getattr(self._writer, name)
