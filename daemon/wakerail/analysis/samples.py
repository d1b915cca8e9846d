"""Samples on their way into ticks: gathered to batches that pay, and kept for a while to look at them one by one."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wakerail.analysis.ticks import TICK_S, Floats

_BATCH_S, _BATCH_SAMPLES = 0.1, 100
_MOST = 65_536  # samples worked on at a time, so that memory stays small


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Finite currents at ascending times, arrays of one length; None for what was not recorded.

    ``voltage_v`` may hold NaN. ``limiting`` is above 0 where the supply says that it limits. ``half_width_s`` is how
    far a time may be from the truth.
    """

    t_s: Floats
    current_a: Floats
    voltage_v: Floats | None = None
    limiting: Floats | None = None
    half_width_s: Floats | None = None

    def __len__(self) -> int:
        return len(self.t_s)

    def where(self, keep: slice | np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Samples:
        """Return some of the samples."""
        return Samples(*(None if column is None else column[keep] for column in self._columns()))  # type: ignore[arg-type]

    def _columns(self) -> tuple[Floats | None, ...]:
        return self.t_s, self.current_a, self.voltage_v, self.limiting, self.half_width_s


class Gathering:
    """Gathers samples until 0.1 s or 100 samples are at hand; those slower than 50 a second never wait."""

    def __init__(self) -> None:
        self._parts: list[Samples] = []
        self._count = 0
        self._since_s = math.nan  # the newest sample that was given away

    def take(self, samples: Samples) -> list[Samples]:
        """Take samples; return what is at hand in batches, or nothing yet."""
        if math.isnan(self._since_s):
            self._since_s = float(samples.t_s[0])
        self._parts.append(samples)
        self._count += len(samples)
        waited_s = float(samples.t_s[-1]) - self._since_s
        if self._count < _BATCH_SAMPLES and waited_s < min(_BATCH_S, TICK_S * self._count):
            return []
        return self.rest()

    def rest(self) -> list[Samples]:
        """Return all that is at hand."""
        if not self._parts:
            return []
        parts, self._parts, self._count = self._parts, [], 0
        together = parts[0] if len(parts) == 1 else _joined(parts)
        self._since_s = float(together.t_s[-1])
        if len(together) <= _MOST:
            return [together]
        return [together.where(slice(first, first + _MOST)) for first in range(0, len(together), _MOST)]


def _joined(parts: list[Samples]) -> Samples:
    def column(name: str) -> Floats | None:
        columns = [getattr(part, name) for part in parts]
        if all(one is None for one in columns):
            return None
        filled = [np.full(len(part), np.nan) if one is None else one for part, one in zip(parts, columns, strict=True)]
        return np.concatenate(filled)

    return Samples(
        np.concatenate([part.t_s for part in parts]),
        np.concatenate([part.current_a for part in parts]),
        column("voltage_v"),
        column("limiting"),
        column("half_width_s"),
    )


class Recent:
    """The newest samples, to find the one at which a level was crossed."""

    def __init__(self) -> None:
        self._t_s = self._current_a = np.empty(0)

    def add(self, samples: Samples, since_s: float) -> None:
        """Add samples, and forget those before ``since_s``."""
        first = int(np.searchsorted(self._t_s, since_s))
        self._t_s = np.concatenate((self._t_s[first:], samples.t_s))
        self._current_a = np.concatenate((self._current_a[first:], samples.current_a))

    def edge(self, from_s: float, to_s: float, level_a: float, above: bool) -> float | None:
        """Return the first sample between two moments that is above a level, or below it; None if there is none."""
        first, last = np.searchsorted(self._t_s, (from_s - 1e-9, to_s + 1e-9))
        part = self._current_a[first:last]
        found = np.flatnonzero(part > level_a if above else part < level_a)
        return float(self._t_s[first + found[0]]) if len(found) else None
