"""Uevents on a byte stream."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail_kit.errors import OutOfSync
from wakerail_plugins.usb_watcher.uevent import Uevent, UeventStream

plain = st.text(st.characters(blacklist_characters="\0", blacklist_categories=["Cs"]), max_size=20)
keys = st.from_regex(r"[A-Z_]{1,10}", fullmatch=True)
uevents = st.builds(
    Uevent,
    action=st.sampled_from(["add", "remove", "change", "bind", "unbind"]),
    devpath=st.from_regex(r"/devices(/[a-z0-9:-]{1,8}){1,4}", fullmatch=True),
    properties=st.dictionaries(keys, plain, max_size=6),
)


def as_bytes(event: Uevent) -> bytes:
    texts = [f"{event.action}@{event.devpath}", *(f"{key}={value}" for key, value in event.properties.items())]
    return b"".join(text.encode() + b"\0" for text in texts) + b"\0"


@given(st.lists(uevents, max_size=5), st.data())
def test_any_chunking_gives_the_same_messages(events, data):
    """Wherever the stream is cut, the same uevents come out in the same order."""
    stream = b"".join(as_bytes(event) for event in events)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=12)))
    reader = UeventStream()
    found = []
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        found += reader.feed(stream[start:end])
    assert found == events


@pytest.mark.parametrize(
    "garbage", [b"hello\0\0", b"add@relative/path\0\0", b"add@/devices/../../etc\0\0", b"add@/devices/x\0NO-EQUALS\0\0"]
)
def test_what_is_no_uevent_is_out_of_sync(garbage):
    """A garbled stream is never guessed at."""
    with pytest.raises(OutOfSync, match="uevent source"):
        UeventStream().feed(garbage)


def test_a_message_without_end_is_not_collected_for_ever():
    """The stream holds a bounded amount."""
    reader = UeventStream()
    reader.feed(b"x" * 60_000)
    with pytest.raises(OutOfSync, match="without an end"):
        reader.feed(b"x" * 6_000)


@pytest.mark.parametrize(
    ("action", "devtype", "concerns"),
    [
        ("add", "usb_device", True),
        ("remove", "usb_device", True),
        ("bind", "usb_device", False),
        ("unbind", "usb_device", False),
        ("change", "usb_device", False),
        ("add", "usb_interface", False),
        ("remove", "usb_interface", False),
    ],
)
def test_only_a_whole_device_coming_or_going_counts(action, devtype, concerns):
    """Drivers that bind and interfaces are no attach or detach."""
    assert Uevent(action, "/devices/x", {"DEVTYPE": devtype}).concerns_usb_device is concerns
