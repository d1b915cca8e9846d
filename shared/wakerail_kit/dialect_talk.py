"""Runs a dialect's exchanges over any link of bytes: sends, skips the echo, reads the lines or blocks that are due.

No I/O of its own: the link is a Wire, which a driver makes of a VISA resource, a serial port or a socket.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from wakerail_kit.dialect import Dialect
from wakerail_kit.dialect_exchange import Exchange
from wakerail_kit.dialect_wording import NOT_DATA, Value, Values, Wording
from wakerail_kit.errors import DeviceRefused, OutOfSync

#: One character a byte, so that status bytes above 127 survive.
ENCODING = "latin-1"
_MOST_LINES = 200
#: A little under NOT_DATA, which a 32-bit float cannot hold exactly.
_BLOCK_NOT_DATA = NOT_DATA * 0.9999
_MOST_BLOCK_BYTES = 64_000_000


class Wire(Protocol):
    """A link of bytes. Each method raises DeviceUnavailable (gone) or OutOfSync (nothing came in time)."""

    def write(self, data: bytes) -> None:
        """Send all of ``data``."""
        ...

    def read_until(self, end: bytes) -> bytes:
        """Return what comes up to and with ``end``."""
        ...

    def read_exactly(self, count: int) -> bytes:
        """Return the next ``count`` bytes."""
        ...

    def pause(self, delay_s: float) -> None:
        """Let the instrument rest for ``delay_s`` seconds."""
        ...


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back: ``values`` of the answer, one mapping for each of the ``each`` lines, and a block's samples."""

    values: Mapping[str, Value] = field(default_factory=dict)
    rows: tuple[Mapping[str, Value], ...] = ()
    samples: Mapping[str, list[float | None]] = field(default_factory=dict)
    text: str = ""


class Talk:
    """A conversation in a dialect over a wire. Raises what the wire raises, and:

    DeviceRefused when the instrument answers as the dialect's ``refused`` says, or a value cannot be sent;
    OutOfSync when an answer is not worded as expected.
    """

    def __init__(self, dialect: Dialect, wire: Wire) -> None:
        self._dialect = dialect
        self._link = dialect.link
        self._wire = wire

    def run(self, exchange: Exchange, values: Values | None = None) -> Answer:
        """Run one exchange, with the dialect's ``before`` first."""
        for first in self._dialect.before:
            self.bare(first)
        return self.bare(exchange, values)

    def bare(self, exchange: Exchange, values: Values | None = None) -> Answer:
        """Run one exchange by itself."""
        asked = exchange.send.render(values or {})
        self._send(asked)
        if exchange.block is not None:
            return Answer(samples={exchange.block.signal: self._block(exchange.block.code, asked)})
        rows: list[Mapping[str, Value]] = []
        found: dict[str, Value] = {}
        lines: list[str] = []
        for wording in exchange.answer:
            line = self._line(wording, exchange.length, asked)
            while exchange.each is not None and len(lines) < _MOST_LINES and wording.match(line) is None:
                lines.append(line)
                rows.append(_matched(exchange.each, line, asked))
                line = self._line(wording, exchange.length, asked)
            lines.append(line)
            found |= _matched(wording, line, asked)
        return Answer(found, tuple(rows), {}, "\n".join(lines))

    def tell(self, exchange: Exchange, values: Values | None = None) -> None:
        """Send an exchange's text and wait for nothing: the last resort towards an instrument that does not answer."""
        self._wire.write((exchange.send.render(values or {}) + self._link.write_end).encode(ENCODING))
        if self._link.delay_s:
            self._wire.pause(self._link.delay_s)

    def _send(self, asked: str) -> None:
        data = (asked + self._link.write_end).encode(ENCODING)
        self._wire.write(data)
        if self._link.echo and (echo := self._wire.read_exactly(len(data))) != data:
            raise OutOfSync(f"sent {asked!r}, but {echo.decode(ENCODING)!r} was echoed")
        if self._link.delay_s:
            self._wire.pause(self._link.delay_s)

    def _line(self, wording: Wording, length: int | None, asked: str) -> str:
        if not self._link.read_end:
            return self._wire.read_exactly(length or wording.length or 1).decode(ENCODING)
        end = self._link.read_end
        line = self._wire.read_until(end.encode(ENCODING)).decode(ENCODING).removesuffix(end)
        if any(refusal.match(line) is not None for refusal in self._dialect.refused):
            raise DeviceRefused(f"the instrument answered {line!r} to {asked!r}")
        return line

    def _block(self, code: str, asked: str) -> list[float | None]:
        head = self._wire.read_exactly(2)
        if head[:1] != b"#" or head[1:] not in {b"%d" % digit for digit in range(1, 10)}:
            came = head.decode(ENCODING)
            raise OutOfSync(f"asked {asked!r}, got {came!r}, expected a block that starts with '#' and a digit")
        digits = self._wire.read_exactly(int(head[1:]))
        count = int(digits) if digits.isdigit() else -1
        if not 0 <= count <= _MOST_BLOCK_BYTES or count % struct.calcsize(code):
            came = digits.decode(ENCODING)
            raise OutOfSync(f"asked {asked!r}, got a block of {came!r} bytes, which is no whole number of samples")
        data = self._wire.read_exactly(count) if count else b""
        end = self._link.read_end.encode(ENCODING)
        if end and (tail := self._wire.read_exactly(len(end))) != end:
            raise OutOfSync(f"asked {asked!r}, got {tail!r} after the block, expected {end!r}")
        samples = struct.iter_unpack(code, data)
        return [value if math.isfinite(value) and abs(value) < _BLOCK_NOT_DATA else None for (value,) in samples]


def _matched(wording: Wording, line: str, asked: str) -> Mapping[str, Value]:
    values = wording.match(line)
    if values is None:
        raise OutOfSync(f"asked {asked!r}, got {line[:200]!r}, expected {wording.text!r}")
    return values
