"""Kernel uevents as bytes on a stream, taken apart.

A message is ``ACTION@DEVPATH`` and ``KEY=VALUE`` texts, each ended by NUL (the form the Linux kernel sends by
netlink); on a stream an empty text, that is a second NUL, ends the message. Pure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail_kit.errors import OutOfSync

_LONGEST = 64 * 1024  # the kernel's own messages stay within 2 KiB


@dataclass(frozen=True, slots=True)
class Uevent:
    """One message: ``action`` (add, remove, bind, change, ...), the device's place under sysfs, the properties."""

    action: str
    devpath: str
    properties: Mapping[str, str]

    @property
    def concerns_usb_device(self) -> bool:
        """Tell whether a whole USB device came or went; interfaces, drivers and changes are no attach or detach."""
        return (
            self.action in {"add", "remove"}
            and self.properties.get("DEVTYPE") == "usb_device"
            and self.properties.get("SUBSYSTEM", "usb") == "usb"
        )


class UeventStream:
    """Cuts a byte stream into uevents, however the bytes are chunked."""

    def __init__(self) -> None:
        self._rest = b""

    def feed(self, data: bytes) -> list[Uevent]:
        """Take the next bytes and return the messages now complete. Raises OutOfSync on bytes that are no uevent."""
        *messages, self._rest = (self._rest + data).split(b"\0\0")
        if len(self._rest) > _LONGEST:
            raise OutOfSync(f"the uevent source sent {len(self._rest)} bytes without an end of message")
        return [_parse(message) for message in messages if message]


def _parse(message: bytes) -> Uevent:
    head, *texts = message.decode("utf-8", "replace").split("\0")
    action, at, devpath = head.partition("@")
    if not at or not action or not devpath.startswith("/") or ".." in devpath.split("/"):
        raise OutOfSync(f"the uevent source sent {head[:80]!r}, which is no ACTION@DEVPATH")
    return Uevent(action, devpath, dict(_pair(text) for text in texts))


def _pair(text: str) -> tuple[str, str]:
    key, equals, value = text.partition("=")
    if not equals:
        raise OutOfSync(f"the uevent source sent {text[:80]!r}, which is no KEY=VALUE")
    return key, value
