"""A signal's last seconds as a small block chart of text, peaks kept."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence

_HELD_S = 1.0  # a value stands until the next sample, but no longer than this


class RecentSignal:
    """The last ``span_s`` seconds of a signal, kept as the highest value of each of many short slots."""

    def __init__(self, span_s: float = 30.0, slots: int = 120) -> None:
        self.span_s = span_s
        self.now: float | None = None
        self._slot_s = span_s / slots
        self._slots: deque[tuple[int, float]] = deque(maxlen=slots)

    def take(self, times_s: Sequence[float], values: Sequence[float | None]) -> None:
        """Take samples in the order of time; None is no data."""
        for at_s, value in zip(times_s, values, strict=True):
            self.now = value
            if value is None:
                continue
            slot = int(at_s // self._slot_s)
            if self._slots and self._slots[-1][0] >= slot:
                last, highest = self._slots[-1]
                self._slots[-1] = (last, max(highest, value))
            else:
                self._slots.append((slot, value))

    @property
    def highest(self) -> float | None:
        """The highest value of the span, or None without one."""
        return max((value for _, value in self._recent()), default=None)

    def columns(self, width: int) -> list[float | None]:
        """Return the span as ``width`` columns, oldest first: the highest value of each, None where there was none."""
        columns: list[float | None] = [None] * width
        recent = self._recent()
        if not recent:
            return columns
        first = recent[-1][0] - self._all + 1
        for slot, value in recent:
            place = (slot - first) * width // self._all
            columns[place] = max(value, columns[place] or value)
        longest = math.ceil(_HELD_S / self.span_s * width)
        filled = columns.copy()
        for place in range(1, width):
            if columns[place] is None and any(one is not None for one in columns[max(place - longest, 0) : place]):
                filled[place] = filled[place - 1]
        return filled

    @property
    def _all(self) -> int:
        return self._slots.maxlen or 1

    def _recent(self) -> list[tuple[int, float]]:
        slots = list(self._slots)
        return [(slot, value) for slot, value in slots if slot > slots[-1][0] - self._all]


def block_chart(columns: Sequence[float | None], top: float, rows: int, bars: str) -> list[str]:
    """Return a bar chart from zero to ``top``, ``rows`` lines high, top line first.

    ``bars`` are characters from empty to full. Whatever is above zero shows at least the lowest bar.
    """
    steps = len(bars) - 1
    lines = []
    for row in reversed(range(rows)):
        line = ""
        for value in columns:
            height = 0 if value is None or value <= 0 or top <= 0 else max(1, round(value / top * rows * steps))
            line += bars[min(max(height - row * steps, 0), steps)]
        lines.append(line)
    return lines
