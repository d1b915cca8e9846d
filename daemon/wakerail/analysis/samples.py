"""Samples on their way into ticks: gathered to batches that pay, and kept for a while to look at them one by one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
import numpy.typing as npt

from wakerail.analysis.ticks import TICK_S, Floats
from wakerail_kit.messages import Frame

Mask = npt.NDArray[np.bool_]

_BATCH_S, _BATCH_SAMPLES = 0.2, 200
_SLACK = 0.99  # times are sums of floats
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

    def where(self, keep: slice | Mask) -> Samples:
        """Return some of the samples."""
        return Samples(self.t_s[keep], self.current_a[keep], *(_cut(column, keep) for column in self._others()))

    def _others(self) -> tuple[Floats | None, ...]:
        return self.voltage_v, self.limiting, self.half_width_s


class Gathering:
    """Gathers samples until 0.2 s or 200 samples are at hand; those slower than 50 a second never wait."""

    def __init__(self) -> None:
        self._parts: list[Samples | Frame] = []
        self._count = 0
        self._given_s = -math.inf  # the newest sample that was given away
        self._since_s = math.nan

    def take(self, part: Samples | Frame) -> Iterator[Samples]:
        """Take some samples, at least one; return what is at hand in batches, or nothing yet."""
        if math.isnan(self._since_s):
            self._since_s = float(part.t_s[0])
        self._parts.append(part)
        self._count += len(part.t_s)
        waited_s = part.t_s[-1] - self._since_s
        if self._count < _BATCH_SAMPLES and waited_s < min(_BATCH_S, _SLACK * TICK_S * self._count):
            return iter(())
        return self.rest()

    def rest(self) -> Iterator[Samples]:
        """Return all that is at hand."""
        parts, self._parts, self._count = self._parts, [], 0
        if not parts:
            return
        self._since_s = float(parts[-1].t_s[-1])
        for samples in map(self._going_forward, _joined(parts)):
            if not len(samples):
                continue
            self._given_s = float(samples.t_s[-1])
            if len(samples) <= _MOST:
                yield samples
            else:
                yield from (samples.where(slice(first, first + _MOST)) for first in range(0, len(samples), _MOST))

    def _going_forward(self, samples: Samples) -> Samples:
        """Return the samples that are later than all before them."""
        t_s = samples.t_s
        if not len(t_s) or (t_s[0] > self._given_s and (t_s[1:] > t_s[:-1]).all()):
            return samples
        latest_s = np.maximum.accumulate(np.concatenate(([self._given_s], t_s)))
        return samples.where(t_s > latest_s[:-1])


def _joined(parts: Sequence[Samples | Frame]) -> list[Samples]:
    """Return parts as few pieces of arrays; with frames, what says nothing about the device is left out."""
    frames = [part for part in parts if isinstance(part, Frame)]
    pieces = [part for part in parts if isinstance(part, Samples)]
    if not frames:
        return [_concatenated(pieces)] if len(pieces) > 1 else pieces
    if not pieces:
        return [_of_frames(frames)]
    return [_of_frames([part]) if isinstance(part, Frame) else part for part in parts]


def _concatenated(parts: Sequence[Samples]) -> Samples:
    def column(columns: list[Floats | None]) -> Floats | None:
        if all(one is None for one in columns):
            return None
        pairs = zip(parts, columns, strict=True)
        return np.concatenate([np.full(len(part), np.nan) if one is None else one for part, one in pairs])

    return Samples(
        np.concatenate([part.t_s for part in parts]),
        np.concatenate([part.current_a for part in parts]),
        column([part.voltage_v for part in parts]),
        column([part.limiting for part in parts]),
    )


def _of_frames(frames: Sequence[Frame]) -> Samples:
    """Return the samples that were measured with the output on."""

    def column(name: str) -> Floats | None:
        if all(frame.signals.get(name) is None for frame in frames):
            return None
        return _array([frame.signals.get(name) or () for frame in frames], counts)

    counts = [len(frame.t_s) for frame in frames]
    current_a, output = column("current"), column("output")
    samples = Samples(
        _array([frame.t_s for frame in frames], counts),
        np.empty(0) if current_a is None else current_a,
        column("voltage"),
        column("limiting"),
        _array([frame.half_width_s for frame in frames], counts, missing=0.0),
    )
    keep = np.isfinite(samples.current_a)
    if output is not None:
        keep &= output != 0  # with the output off the samples say nothing about the device
    return samples if keep.all() else samples.where(keep)


def _array(columns: Sequence[Sequence[float | None]], counts: list[int], missing: float | None = None) -> Floats:
    """Return lists one after another as an array, each as long as it should be; None is NaN."""
    if [len(column) for column in columns] != counts:
        columns = [
            [*column[:count], *[missing] * (count - len(column))] for column, count in zip(columns, counts, strict=True)
        ]
    return np.array(list(chain.from_iterable(columns)), dtype=np.float64)


def _cut(column: Floats | None, keep: slice | Mask) -> Floats | None:
    return None if column is None else column[keep]


class Recent:
    """The newest samples, to find the one at which a level was crossed."""

    def __init__(self) -> None:
        self._t_s = self._current_a = self._half_width_s = np.empty(0)

    def add(self, samples: Samples, since_s: float) -> None:
        """Add samples, and forget those before ``since_s``."""
        half_width_s = np.zeros(len(samples)) if samples.half_width_s is None else samples.half_width_s
        first = int(self._t_s.searchsorted(since_s))
        self._t_s = np.concatenate((self._t_s[first:], samples.t_s))
        self._current_a = np.concatenate((self._current_a[first:], samples.current_a))
        self._half_width_s = np.concatenate((self._half_width_s[first:], half_width_s))

    def edge(self, from_s: float, to_s: float, level_a: float, above: bool) -> float | None:
        """Return the first sample between two moments that is above a level, or below it; None if there is none."""
        first, last = self._t_s.searchsorted((from_s - 1e-9, to_s + 1e-9))
        part = self._current_a[first:last]
        found = (part > level_a if above else part < level_a).nonzero()[0]
        return float(self._t_s[first + found[0]]) if len(found) else None

    def half_widths_s(self, t_s: Floats) -> list[float]:
        """Return how far the times of samples may be from the truth."""
        widths: list[float] = self._half_width_s[self._t_s.searchsorted(t_s)].tolist()
        return widths
