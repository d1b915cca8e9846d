"""The bus in process: at once, in order, whatever a subscriber does."""

from __future__ import annotations

import asyncio

import msgspec
import pytest
import structlog
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.bus import Bus, Publication
from wakerail_kit import topics
from wakerail_kit.errors import ContractViolation


class Note(msgspec.Struct, frozen=True):
    text: str


def test_a_message_is_delivered_before_publish_returns() -> None:
    bus, seen = Bus(), []
    bus.subscribe("wakerail/v1/+/supply/frame", lambda topic, message: seen.append((topic, message)))
    bus.publish("wakerail/v1/b/supply/frame", Note("one"))
    bus.publish("wakerail/v1/b/plate/frame", Note("not asked for"))
    assert seen == [("wakerail/v1/b/supply/frame", Note("one"))]


def test_all_subscribers_see_the_order_of_publishing_though_one_publishes_while_it_listens() -> None:
    bus = Bus()
    first: list[str] = []
    second: list[str] = []

    def react(topic: str, _: msgspec.Struct) -> None:
        first.append(topic)
        if topic == "cause":
            bus.publish("effect", Note(""))

    bus.subscribe("#", react)
    bus.subscribe("#", lambda topic, _: second.append(topic))
    bus.publish("cause", Note(""))
    assert first == second == ["cause", "effect"]


def test_a_raising_subscriber_is_logged_and_stops_nobody() -> None:
    bus, seen = Bus(), []

    def broken(*_: object) -> None:
        raise ValueError("broken on purpose")

    bus.subscribe("#", broken)
    bus.subscribe("#", lambda topic, _: seen.append(topic))
    with structlog.testing.capture_logs() as logs:
        bus.publish("one", Note(""))
        bus.publish("two", Note(""))
    assert seen == ["one", "two"]
    assert [line["event"] for line in logs] == ["a subscriber failed"] * 2


def test_an_interrupt_inside_a_subscriber_leaves_the_bus_usable() -> None:
    bus, seen = Bus(), []

    def interrupted(topic: str, _: msgspec.Struct) -> None:
        if topic == "one":
            raise KeyboardInterrupt

    bus.subscribe("#", interrupted)
    bus.subscribe("#", lambda topic, _: seen.append(topic))
    with pytest.raises(KeyboardInterrupt):
        bus.publish("one", Note(""))
    bus.publish("two", Note(""))
    assert seen == ["two"]


def test_unsubscribing_counts_at_once_even_during_delivery() -> None:
    bus, seen = Bus(), []
    leave = [lambda: None]
    bus.subscribe("#", lambda *_: leave[0]())
    leave[0] = bus.subscribe("#", lambda topic, _: seen.append(topic))
    bus.publish("one", Note(""))
    leave[0]()  # twice does no harm
    assert seen == []


def test_the_latest_retained_message_is_kept_and_others_are_not() -> None:
    bus = Bus()
    bus.publish("state", Note("old"), retain=True)
    bus.publish("state", Note("new"), retain=True)
    bus.publish("state", Note("passing"))
    bus.publish("event", Note("passing"))
    assert bus.retained("state") == Note("new")
    assert bus.retained("event") is None
    assert dict(bus.retained_all()) == {"state": Note("new")}


def test_a_follower_sees_the_journal_row_and_the_retain_mark() -> None:
    bus, seen = Bus(), []
    bus.follow("#", seen.append)
    bus.publish("a", Note("x"), row=7)
    bus.publish("b", Note("y"), retain=True)
    assert seen == [Publication("a", Note("x"), 7, False), Publication("b", Note("y"), None, True)]


_LEVEL = st.sampled_from(["a", "b", "", "sequence"])
_TOPIC = st.lists(_LEVEL, min_size=1, max_size=4).map("/".join)
_PATTERN = st.lists(st.one_of(_LEVEL, st.just("+")), min_size=1, max_size=4).flatmap(
    lambda levels: st.sampled_from(["/".join(levels) or "#", "/".join([*levels, "#"]), "#"])
)


@settings(deadline=None)  # the machine may be busy
@given(st.lists(_PATTERN, max_size=5), st.lists(_TOPIC, max_size=20))
def test_whatever_came_before_exactly_the_matching_subscribers_are_called(
    patterns: list[str], published: list[str]
) -> None:
    bus = Bus()
    seen: list[list[str]] = [[] for _ in patterns]
    for pattern, got in zip(patterns, seen, strict=True):
        bus.subscribe(pattern, lambda topic, _, got=got: got.append(topic))  # type: ignore[misc]
    for topic in published:
        bus.publish(topic, Note(topic))
    assert seen == [[topic for topic in published if topics.matches(pattern, topic)] for pattern in patterns]


def test_many_topics_do_not_make_the_bus_forget_its_subscribers() -> None:
    bus, seen = Bus(), []
    bus.subscribe("run/+", lambda topic, _: seen.append(topic))
    for number in range(3000):
        bus.publish(f"run/{number}", Note(""))
    bus.publish("run/0", Note(""))
    assert len(seen) == 3001


async def test_a_listener_gets_messages_in_order_and_ends_with_its_context() -> None:
    bus = Bus()
    async with bus.listen("a/#") as messages:
        bus.publish("a/1", Note("1"))
        bus.publish("b/1", Note("-"))
        waiting = asyncio.create_task(anext(messages))
        assert await waiting == ("a/1", Note("1"))
        waiting = asyncio.create_task(anext(messages))
        await asyncio.sleep(0)
        bus.publish("a/2", Note("2"))
        assert await waiting == ("a/2", Note("2"))
    bus.publish("a/3", Note("3"))
    assert messages.dropped == 0


async def test_a_full_listener_drops_its_oldest_and_counts_them() -> None:
    bus = Bus()
    async with bus.listen("#", size=2) as messages:
        for number in range(5):
            bus.publish("t", Note(str(number)))
        assert [await anext(messages), await anext(messages)] == [("t", Note("3")), ("t", Note("4"))]
        assert messages.dropped == 3


async def test_a_full_listener_that_must_not_miss_anything_fails() -> None:
    bus = Bus()
    async with bus.listen("#", size=2, when_full="fail") as messages:
        for number in range(3):
            bus.publish("t", Note(str(number)))
        with pytest.raises(ContractViolation, match="more than 2 messages behind"):
            await anext(messages)
