"""The data lines of a text file as one stream of clean UTF-8, for a reader of tables that knows no comments."""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable, Generator, Iterator
from pathlib import Path

from wakerail.recordings.dialect import Dialect, is_comment

_BLOCK = 1 << 20
_NO_DATA = re.compile(rb"^ *(?:#[^\n]*)?$", re.MULTILINE)
_BLANKS = re.compile(rb"[ \t]+")
_INDENT = re.compile(rb"^ +| +$", re.MULTILINE)


class DataLines:
    """A file to read from: the lines after the header, comments emptied, so that lines keep their numbers.

    The last line is handed out only if it is whole by ``is_whole(line, ended)``; ``ended`` tells whether it ends with
    a line break. If it is not, ``torn`` is its number in the file. ``share`` is how much of the file was read.
    """

    def __init__(self, file: Path, dialect: Dialect, is_whole: Callable[[str, bool], bool]) -> None:
        self.torn: int | None = None
        self.share = 0.0
        self.closed = False
        self._dialect = dialect
        self._is_whole = is_whole
        self._size = max(file.stat().st_size, 1)
        self._ready = b""
        self._blocks = self._cleaned(file)

    def readable(self) -> bool:
        """It is."""
        return True

    def read(self, count: int = -1) -> bytes:
        """Return at most ``count`` bytes, none at the end."""
        parts, left = [], count
        while left != 0:
            if not self._ready:
                self._ready = next(self._blocks, b"")
                if not self._ready:
                    break
            part = self._ready if left < 0 else self._ready[:left]
            self._ready = self._ready[len(part) :]
            parts.append(part)
            left = left - len(part) if left > 0 else left
        return b"".join(parts)

    def close(self) -> None:
        """Let go of the file."""
        self.closed = True
        self._blocks.close()

    def _cleaned(self, file: Path) -> Generator[bytes]:
        held, number, skip = b"", 0, self._dialect.skip
        for block in self._decoded(file):
            held += block
            # the last line that is not blank may be torn, so it waits
            cut = held.rstrip().rfind(b"\n") + 1
            whole, held = held[:cut], held[cut:]
            lines = whole.count(b"\n")
            if skip > 0:
                whole = _without_first(whole, skip)
                skip -= min(lines, skip)
            number += lines
            if whole:
                yield self._clean(whole)
        if skip > 0:
            held = _without_first(held, skip)
        line = held.rstrip(b"\r\n").decode("utf-8", "replace")
        if not line.strip() or is_comment(line):
            return
        if self._is_whole(line.rstrip("\r\n"), held.endswith((b"\n", b"\r"))):
            yield self._clean(held)
        else:
            self.torn = number + 1

    def _decoded(self, file: Path) -> Iterator[bytes]:
        encoding = self._dialect.encoding
        decode = None if encoding == "utf-8" else codecs.getincrementaldecoder(encoding)("replace").decode
        read = 0
        with file.open("rb") as stream:
            while block := stream.read(_BLOCK):
                read += len(block)
                self.share = read / self._size
                text = block if decode is None else decode(block).encode()
                yield text.replace(b"\r", b"\n") if self._dialect.old_ends else text

    def _clean(self, block: bytes) -> bytes:
        if b"\r" in block:
            block = block.replace(b"\r\n", b"\n").replace(b"\r", b" ")
        if b"#" in block or b"\n " in block or block[:1] == b" ":
            block = _NO_DATA.sub(b"", block)
        if self._dialect.delimiter == " ":
            block = _INDENT.sub(b"", _BLANKS.sub(b" ", block))
        return block


def _without_first(block: bytes, lines: int) -> bytes:
    for _ in range(lines):
        end = block.find(b"\n")
        if end < 0:
            return b""
        block = block[end + 1 :]
    return block


def numbered_lines(file: Path, dialect: Dialect) -> Iterator[tuple[int, list[str]]]:
    """Yield every row of the data with its line number in the file, slowly: to find a line that is wrong."""
    # not universal newlines: a number must be that of the text editor and of the stream above
    with file.open(encoding=dialect.encoding, errors="replace", newline="\r" if dialect.old_ends else "\n") as lines:
        for number, line in enumerate(lines, 1):
            if number > dialect.skip and line.strip(" \r\n") and not is_comment(line):
                yield number, dialect.cells(line.rstrip("\r\n"))
