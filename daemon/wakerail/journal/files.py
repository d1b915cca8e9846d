"""Files kept beside the journal, each by the SHA-256 of its bytes: ``files/ab/abcdef...``."""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from contextlib import suppress
from pathlib import Path

from wakerail.journal.errors import JournalDamaged, JournalUnavailable
from wakerail_kit.errors import ContractViolation

_SHA256 = re.compile(r"^[0-9a-f]{64}$")


class FileStore:
    """A folder of files by content; the same bytes are kept once. Its calls block: use it from a thread."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def keep(self, content: bytes) -> str:
        """Keep bytes and return their SHA-256 in hexadecimal, once they are durable. Raises JournalUnavailable."""
        sha256 = hashlib.sha256(content).hexdigest()
        place = self._place(sha256)
        part = place.with_name(f".{sha256}.{secrets.token_hex(4)}")
        try:
            if place.exists() and place.read_bytes() == content:
                return sha256
            place.parent.mkdir(parents=True, exist_ok=True)
            try:
                with part.open("xb") as file:
                    file.write(content)
                    file.flush()
                    os.fsync(file.fileno())
                part.replace(place)
            finally:
                part.unlink(missing_ok=True)
            for folder in (place.parent, self.folder):
                _sync(folder)
        except OSError as wrong:
            raise JournalUnavailable(f"{self.folder}: the file cannot be kept: {wrong.strerror or wrong}") from wrong
        return sha256

    def holds(self, sha256: str) -> bool:
        """Tell whether there is a file of that name, whatever is in it."""
        return self._place(sha256).exists()

    def read(self, sha256: str) -> bytes:
        """Return the bytes that were kept. Raises JournalUnavailable if they are gone, JournalDamaged if changed."""
        place = self._place(sha256)
        try:
            content = place.read_bytes()
        except OSError as wrong:
            raise JournalUnavailable(f"{place}: the file is not here: {wrong.strerror or wrong}") from wrong
        if hashlib.sha256(content).hexdigest() != sha256:
            raise JournalDamaged(f"{place}: the file is not what was kept; it was changed or is damaged")
        return content

    def remove(self, sha256: str) -> bool:
        """Remove a file; return False if it was not here. Raises JournalUnavailable."""
        place = self._place(sha256)
        try:
            there = place.exists()
            place.unlink(missing_ok=True)
            if place.parent.is_dir():
                _sync(place.parent)
        except OSError as wrong:
            raise JournalUnavailable(f"{place}: the file cannot be removed: {wrong.strerror or wrong}") from wrong
        with suppress(OSError):  # others are in it
            place.parent.rmdir()
        return there

    def _place(self, sha256: str) -> Path:
        if not _SHA256.match(sha256):
            raise ContractViolation(f"{sha256!r} is no SHA-256 in hexadecimal")
        return self.folder / sha256[:2] / sha256


def _sync(folder: Path) -> None:
    """Make the names in a folder durable."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
