"""One connection to an MQTT broker: where it is, how it is made, and what its errors mean to a person."""

from __future__ import annotations

import asyncio
import math
import os
import secrets
import socket
import ssl
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from urllib.parse import unquote, urlsplit

from wakerail_kit.errors import ConfigInvalid, DeviceUnavailable

if TYPE_CHECKING:  # importing aiomqtt takes a good part of the second in which the daemon must be ready
    import aiomqtt

#: How long a broker may take to answer one packet.
ANSWER_TIMEOUT_S = 5.0
#: A silent connection is asked for a sign of life after this long, and given up after twice as long.
KEEPALIVE_S = 10
#: Publishes that may be on their way at the same time, each waiting for its acknowledgement.
WINDOW = 64

_PORTS = {"mqtt": 1883, "mqtts": 8883}
_NOT_AUTHORISED = (134, 135)  # what paho makes of CONNACK 4 and 5 (MQTT 3.1.1, 3.2.2.3)
_UNREAD_MESSAGES = 4096


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """Where a broker is. ``str()`` leaves the password out, and so does ``repr()``."""

    host: str
    port: int
    encrypted: bool = False
    user: str | None = None
    password: str | None = field(default=None, repr=False)

    @classmethod
    def parse(cls, url: str) -> BrokerAddress:
        """Read ``mqtt://host[:port]`` or ``mqtts://...``, with optional ``user:password@``. Raises ConfigInvalid."""
        wanted = (
            "write mqtt://host, mqtt://host:port or mqtts://host:port, with user:password@ before the host if needed"
        )
        shown = url.rpartition("@")[2] if "@" in url else url
        try:
            parts = urlsplit(url)
            port = parts.port
        except ValueError as error:
            raise ConfigInvalid(f"the broker address ending in {shown!r} cannot be read: {wanted}") from error
        if parts.scheme not in _PORTS:
            raise ConfigInvalid(
                f"the broker address ending in {shown!r} is of a kind that is not spoken here: {wanted}"
            )
        if not parts.hostname or parts.path not in {"", "/"} or parts.query or parts.fragment or port == 0:
            raise ConfigInvalid(f"the broker address ending in {shown!r} is not complete or says too much: {wanted}")
        return cls(
            host=parts.hostname,
            port=port or _PORTS[parts.scheme],
            encrypted=parts.scheme == "mqtts",
            user=unquote(parts.username) if parts.username else None,
            password=unquote(parts.password) if parts.password else None,
        )

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{'mqtts' if self.encrypted else 'mqtt'}://{host}:{self.port}"


def client_id(bench: str, role: str) -> str:
    """Return an MQTT client id that no other process or role has: a broker cuts off the elder of two equals."""
    return f"wakerail-{bench}-{role}-{os.getpid()}-{secrets.token_hex(3)}"


@asynccontextmanager
async def connect(
    address: BrokerAddress, identifier: str, *, will: aiomqtt.Will | None = None
) -> AsyncIterator[aiomqtt.Client]:
    """Hold one connection. Raises DeviceUnavailable if there is no broker or it goes, ConfigInvalid if it says no.

    A client is made anew for each connection: one that failed cannot be used again.
    """
    import aiomqtt  # noqa: PLC0415 - see the top of the file

    client = aiomqtt.Client(
        address.host,
        address.port,
        identifier=identifier,
        username=address.user,
        password=address.password,
        tls_context=ssl.create_default_context() if address.encrypted else None,
        will=will,
        clean_session=True,
        keepalive=KEEPALIVE_S,
        timeout=ANSWER_TIMEOUT_S,
        max_inflight_messages=WINDOW,
        max_queued_incoming_messages=_UNREAD_MESSAGES,
        socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
    )
    client.pending_calls_threshold = WINDOW
    try:
        await _enter(client)
    except aiomqtt.MqttCodeError as error:
        if error.rc in _NOT_AUTHORISED:
            raise ConfigInvalid(f"the broker at {address} does not accept this user name and password") from error
        raise DeviceUnavailable(f"the broker at {address} refuses the connection: {error}") from error
    except aiomqtt.MqttError as error:
        raise DeviceUnavailable(f"no broker answers at {address}: {error}") from error
    try:
        yield client
    except aiomqtt.MqttError as error:
        raise lost(address, error) from error
    finally:
        with suppress(aiomqtt.MqttError):
            await client.__aexit__(None, None, None)


def lost(address: BrokerAddress, error: aiomqtt.MqttError) -> DeviceUnavailable:
    """Return what to raise when a connection that stood has ended with ``error``."""
    return DeviceUnavailable(f"lost the broker at {address}: {error.__cause__ or error}")


async def publish(client: aiomqtt.Client, messages: Sequence[tuple[str, bytes, bool]]) -> None:
    """Publish ``(topic, payload, retain)`` messages in order at QoS 1; return when the broker has confirmed them all.

    All are on their way at once, so hand in at most WINDOW. Raises DeviceUnavailable if the broker does not
    confirm in time, aiomqtt.MqttError (perhaps in a group) if it is gone.
    """
    try:
        # aiomqtt's own time-out makes a task for every message, which costs more than the message
        async with asyncio.timeout(ANSWER_TIMEOUT_S):
            if len(messages) == 1:
                [(topic, payload, retain)] = messages
                await client.publish(topic, payload, qos=1, retain=retain, timeout=math.inf)
                return
            async with asyncio.TaskGroup() as sending:
                for topic, payload, retain in messages:
                    sending.create_task(client.publish(topic, payload, qos=1, retain=retain, timeout=math.inf))
    except TimeoutError as error:
        raise DeviceUnavailable(f"the broker confirms nothing for {ANSWER_TIMEOUT_S:g} s") from error


async def _enter(client: aiomqtt.Client) -> None:
    """Connect, leaving no half-open connection behind, whatever happens."""
    entering = asyncio.ensure_future(client.__aenter__())
    try:
        await asyncio.shield(entering)
    except asyncio.CancelledError:
        # The socket is opened in a thread, which cannot be stopped; its own time-outs bound this wait.
        await asyncio.wait([entering])
        if not entering.cancelled() and entering.exception() is None:
            await client.__aexit__(None, None, None)
        else:
            _drop(client)
        raise
    except Exception:
        _drop(client)
        raise


def _drop(client: aiomqtt.Client) -> None:
    # aiomqtt 2.5 leaves the socket of a failed attempt open and on the loop until the keepalive ends it.
    client._client.disconnect()  # noqa: SLF001 - there is no public way to close a client that never came up
