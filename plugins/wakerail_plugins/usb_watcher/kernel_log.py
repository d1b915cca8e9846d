"""The kernel's log, read for devices that were plugged in and did not enumerate: no uevent tells of those.

``parse_record`` and ``FailureCounter`` are pure; ``KernelLog`` follows the file.
"""

from __future__ import annotations

import contextlib
import os
import re
from dataclasses import dataclass
from pathlib import Path

from wakerail_kit.errors import DeviceUnavailable

_RECORD_SIZE = 16 * 1024  # longer than any record of /dev/kmsg, which fails on a shorter buffer
# "level and facility, sequence number, microseconds, flags[, more];text" (Linux ABI, testing/dev-kmsg)
_RECORD = re.compile(r"^(?P<priority>\d+),\d+,\d+,[^;]*;(?P<text>.*)$")
_ATTEMPT = re.compile(r"^usb (?P<path>\d+-[\d.]+): (?:new|reset) .*USB device number \d+")
_DEVICE_FAILURE = re.compile(
    r"^usb (?P<path>\d+-[\d.]+): (?P<says>device descriptor read/\S+, error -?\d+"
    r"|device not accepting address \d+, error -?\d+)"
)
_PORT_FAILURE = re.compile(
    r"^usb (?:usb(?P<bus>\d+)|(?P<hub>\d+-[\d.]+))-port(?P<port>\d+): "
    r"(?P<says>unable to enumerate USB device|cannot enable\b.*)",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class EnumerationRecord:
    """One record about enumerating a port. ``path`` is the port as sysfs names a device there (``1-2.4``)."""

    path: str
    failed: bool
    says: str


def parse_record(line: str) -> EnumerationRecord | None:
    """Read one line of /dev/kmsg; None if it is not the kernel speaking of an enumeration.

    Records of other facilities are left out: any program may write those.
    """
    record = _RECORD.match(line)
    if record is None or int(record["priority"]) >> 3 != 0:
        return None
    text = record["text"].strip()
    if attempt := _ATTEMPT.match(text):
        return EnumerationRecord(attempt["path"], failed=False, says=text)
    if failure := _DEVICE_FAILURE.match(text):
        return EnumerationRecord(failure["path"], failed=True, says=failure["says"])
    if failure := _PORT_FAILURE.match(text):
        parent = f"{failure['bus']}-" if failure["bus"] else f"{failure['hub']}."
        return EnumerationRecord(parent + failure["port"], failed=True, says=failure["says"])
    return None


class FailureCounter:
    """Counts failed enumerations by port. The kernel says one failed attempt in several lines; it counts once."""

    def __init__(self) -> None:
        self._counts: dict[str, int] = {}
        self._said: dict[str, bool] = {}  # by path, once an attempt was announced: was its failure counted?

    def count(self, record: EnumerationRecord) -> int | None:
        """Return how many attempts failed on this port so far, or None if this record adds none."""
        if not record.failed:
            self._said[record.path] = False
            return None
        if self._said.get(record.path, False):
            return None
        if record.path in self._said:
            self._said[record.path] = True
        return self.add(record.path)

    def add(self, path: str) -> int:
        """Count one failure on a port and return how many there were."""
        self._counts[path] = self._counts.get(path, 0) + 1
        return self._counts[path]


class KernelLog:
    """Follows the kernel's log from now on: /dev/kmsg, or a file or pipe of the same records."""

    def __init__(self, path: Path) -> None:
        """Open at the end. Raises OSError if the log cannot be read by this user."""
        self._path = path
        self._rest = b""
        self._fd = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        with contextlib.suppress(OSError):  # a pipe has no place to go to; it starts at what is written from now on
            os.lseek(self._fd, 0, os.SEEK_END)

    def read(self) -> list[EnumerationRecord]:
        """Return the enumeration records written since the last call. Never waits. Raises DeviceUnavailable."""
        while True:
            try:
                data = os.read(self._fd, _RECORD_SIZE)
            except BlockingIOError:
                break
            except BrokenPipeError:
                continue  # /dev/kmsg: records were overwritten before they were read; go on with the oldest left
            except OSError as wrong:
                raise DeviceUnavailable(f"{self._path}: {wrong.strerror}") from wrong
            if not data:
                break
            self._rest += data
        *lines, self._rest = self._rest.split(b"\n")
        records = (parse_record(line.decode("utf-8", "replace")) for line in lines)
        return [record for record in records if record is not None]

    def close(self) -> None:
        """Let go of the file. May be called twice."""
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1
