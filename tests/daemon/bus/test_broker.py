"""The embedded broker: this machine only, one clear line when its port is taken, and no client can hurt it."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator
from types import SimpleNamespace
from typing import Any

import psutil
import pytest

from wakerail.bus import BusClient, EmbeddedBroker
from wakerail_kit import topics
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.messages import Frame, encode

BENCH = "bench-1"
SUPPLY_FRAME = topics.instrument(BENCH, "supply", "frame")


def port_of(url: str) -> int:
    return int(url.rpartition(":")[2])


def read_to_the_end(connection: socket.socket) -> None:
    with contextlib.suppress(ConnectionResetError):
        while connection.recv(1 << 20):
            pass


@pytest.fixture
async def embedded() -> AsyncIterator[EmbeddedBroker]:
    broker = EmbeddedBroker()
    yield broker
    await broker.stop()


def frame(number: int, samples: int = 1) -> Frame:
    return Frame(
        bench=BENCH,
        instrument="supply",
        number=number,
        start="2026-01-01T00:00:00Z",
        t_s=[0.0] * samples,
        half_width_s=[0.0] * samples,
        signals={},
        units={},
    )


async def test_it_listens_on_loopback_only(embedded: EmbeddedBroker) -> None:
    url = await embedded.start()
    assert url == f"mqtt://127.0.0.1:{port_of(url)}"
    with socket.socket() as elsewhere:  # the whole of 127/8 is this machine, but only 127.0.0.1 was asked for
        assert elsewhere.connect_ex(("127.0.0.2", port_of(url))) != 0


async def test_a_taken_port_is_one_line_that_says_which_and_what_to_do() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(ConfigInvalid) as refused:
            await EmbeddedBroker(port).start()
    line = str(refused.value)
    assert "\n" not in line
    assert f"port {port}" in line
    assert "name another port" in line


async def test_it_starts_again_on_the_same_port_and_leaves_nothing_behind(embedded: EmbeddedBroker) -> None:
    port = port_of(await embedded.start())
    await embedded.stop()
    before = psutil.Process().num_fds()
    tasks = len(asyncio.all_tasks())
    for _ in range(20):
        broker = EmbeddedBroker(port)
        url = await broker.start()
        async with BusClient(url, BENCH) as client:
            messages = client.messages("#")
            await client.subscribed()
            await messages.aclose()
        await broker.stop()
        await broker.stop()
    assert len(asyncio.all_tasks()) == tasks
    assert psutil.Process().num_fds() == before


async def test_it_stops_though_clients_are_connected(embedded: EmbeddedBroker) -> None:
    url = await embedded.start()
    idle = [await asyncio.open_connection("127.0.0.1", port_of(url)) for _ in range(3)]
    began_s = asyncio.get_running_loop().time()
    await embedded.stop()
    assert asyncio.get_running_loop().time() - began_s < 1.5
    for reader, writer in idle:
        assert await reader.read() == b""
        writer.close()
        await writer.wait_closed()


async def test_frames_go_in_by_the_door_only_while_somebody_listens(
    embedded: EmbeddedBroker, daemon_side: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = await embedded.start()
    side = daemon_side(url, door=embedded)
    encoded: list[object] = []
    monkeypatch.setattr("wakerail.bus.mirror.encode", lambda message: encoded.append(message) or encode(message))
    async with asyncio.timeout(10):
        await side.mirror.connected()
        encoded.clear()
        side.show(1)
        async with BusClient(url, BENCH) as client:
            frames = client.messages(topics.instrument(BENCH, "supply", "frame"))
            await client.subscribed()
            for number in range(2, 102):
                side.show(number)
            assert [(await anext(frames))[1].number for _ in range(100)] == list(range(2, 102))
    assert len(encoded) == 100  # each once, and the first, which nobody wanted, not at all


async def test_a_subscriber_that_never_reads_is_cut_off_and_the_others_get_everything(
    embedded: EmbeddedBroker, daemon_side: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("wakerail.bus.broker.UNREAD_TIMEOUT_S", 0.2)
    warned = asyncio.Event()
    monkeypatch.setattr("wakerail.bus.broker.log", SimpleNamespace(warning=lambda *_, **__: warned.set()))
    url = await embedded.start()
    side = daemon_side(url, door=embedded)
    pattern = topics.everything(BENCH).encode()
    with socket.create_connection(("127.0.0.1", port_of(url))) as deaf:
        deaf.settimeout(10)
        deaf.sendall(b"\x10\x10\x00\x04MQTT\x04\x02\x00\x00\x00\x04deaf")
        deaf.sendall(b"\x82" + bytes([5 + len(pattern)]) + b"\x00\x01\x00" + bytes([len(pattern)]) + pattern + b"\x00")
        async with asyncio.timeout(30), BusClient(url, BENCH) as client:
            frames = client.messages(SUPPLY_FRAME)
            await client.subscribed()
            await side.mirror.connected()
            for number in range(1, 91):
                side.show(number, samples=10_000)  # more than 100 kB each, more in all than any socket holds
                assert (await anext(frames))[1].number == number
            await warned.wait()
            side.show(91)
            assert (await anext(frames))[1].number == 91
        await asyncio.to_thread(read_to_the_end, deaf)
        assert side.mirror.is_connected


async def test_a_client_that_comes_while_another_is_let_in_does_not_throw_it_out(
    embedded: EmbeddedBroker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """amqtt walks its subscriptions for each client that connects, and waits in between."""
    url = await embedded.start()
    broker: Any = embedded._broker
    walk = broker._publish_retained_messages_for_subscription
    waits, goes_on = asyncio.Event(), asyncio.Event()

    async def waiting(subscription: tuple[str, int], session: Any) -> None:
        if subscription[1] == 0 and not waits.is_set():  # QoS 0: the walk at connecting, not a subscription of ours
            waits.set()
            await goes_on.wait()
        await walk(subscription, session)

    async with asyncio.timeout(20), BusClient(url, BENCH):  # one subscription to walk over
        monkeypatch.setattr(broker, "_publish_retained_messages_for_subscription", waiting)
        late = BusClient(url, BENCH)
        entering = asyncio.create_task(late.__aenter__())
        await waits.wait()
        async with BusClient(url, BENCH):  # subscribes, so that there is one more
            goes_on.set()
            await entering
            messages = late.messages(topics.everything(BENCH))
            await late.subscribed()
            await messages.aclose()
        await late.__aexit__(None, None, None)


@pytest.mark.parametrize(
    "rubbish",
    [
        b"",
        b"GET / HTTP/1.1\r\n\r\n",
        b"\x10\xff\xff\xff\xff",
        b"\x10\x10\x00\x04MQTT\x05\x02\x00\x00\x00\x04five",
        b"\x30\x00",
    ],
)
async def test_a_client_that_speaks_rubbish_harms_nobody(embedded: EmbeddedBroker, rubbish: bytes) -> None:
    url = await embedded.start()
    reader, writer = await asyncio.open_connection("127.0.0.1", port_of(url))
    writer.write(rubbish)
    writer.write_eof()
    async with asyncio.timeout(10):
        await reader.read()
        writer.close()
        async with BusClient(url, BENCH) as client:
            frames = client.messages(SUPPLY_FRAME)
            await client.subscribed()
            await embedded.publish(SUPPLY_FRAME, encode(frame(1)))
            assert (await anext(frames))[1] == frame(1)
