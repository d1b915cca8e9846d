"""Frames packed for the journal: many samples a row, each column a run of little-endian 64-bit floats.

A packed chunk is ``t_s``, ``half_width_s`` and then each signal in the order of its units, end to end. A sample that
the instrument could not give is NaN.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from wakerail.journal.gathering import HeldFrame
from wakerail_kit.clock import rfc3339
from wakerail_kit.messages import Frame

_COLUMN = np.dtype("<f8")
_MAX_SAMPLES = 16_384


@dataclass(frozen=True, slots=True, eq=False)
class Chunk:
    """Samples of one instrument, oldest first, without a gap between its frames.

    ``t_s`` (monotonic seconds of the daemon of that day), ``half_width_s`` and every array in ``signals`` have one
    length; a sample that the instrument could not give is NaN. ``units`` are UCUM codes by signal. ``start`` is the
    civil time of the first sample, ``first_number`` and ``last_number`` are those of the frames it was made from.
    """

    row: int
    bench: str
    instrument: str
    run: str | None
    start: datetime
    first_number: int
    last_number: int
    t_s: NDArray[np.float64]
    half_width_s: NDArray[np.float64]
    signals: Mapping[str, NDArray[np.float64]]
    units: Mapping[str, str]

    def __len__(self) -> int:
        return len(self.t_s)

    def times(self) -> NDArray[np.datetime64]:
        """Return the civil time of every sample, UTC, to the microsecond."""
        since_start = np.round((self.t_s - self.t_s[0]) * 1e6).astype("timedelta64[us]")
        times: NDArray[np.datetime64] = utc64(self.start) + since_start
        return times

    def between(self, start: datetime | None, end: datetime | None) -> Chunk | None:
        """Return the samples from ``start`` up to but without ``end``, or None if there are none."""
        if start is None and end is None:
            return self
        keep = np.ones(len(self), dtype=bool)
        times = self.times()
        if start is not None:
            keep &= times >= utc64(start)
        if end is not None:
            keep &= times < utc64(end)
        if not keep.any():
            return None
        return replace(
            self,
            start=self.start + timedelta(seconds=float(self.t_s[keep][0] - self.t_s[0])),
            t_s=self.t_s[keep],
            half_width_s=self.half_width_s[keep],
            signals={name: values[keep] for name, values in self.signals.items()},
        )

    def frame(self) -> Frame:
        """Return the chunk as one frame, as if all of it had come at once."""
        return Frame(
            bench=self.bench,
            instrument=self.instrument,
            number=self.last_number,
            start=rfc3339(self.start),
            t_s=self.t_s.tolist(),
            half_width_s=self.half_width_s.tolist(),
            signals={
                name: [None if np.isnan(value) else value for value in values.tolist()]
                for name, values in self.signals.items()
            },
            units=dict(self.units),
        )

    def only(self, signal: str) -> Chunk:
        """Return the chunk with this one of its signals."""
        return replace(self, signals={signal: self.signals[signal]}, units={signal: self.units[signal]})


def pack(held: Iterable[HeldFrame]) -> Iterator[dict[str, object]]:
    """Yield the journal's rows for frames of any instruments, each instrument's in their order.

    A new chunk begins where the run, the signals or their units change, and after a frame that went missing.
    """
    open_chunks: dict[str, list[HeldFrame]] = {}
    for item in held:
        chunk = open_chunks.setdefault(item.frame.instrument, [])
        if chunk and not _continues(chunk, item):
            yield _packed(chunk)
            chunk.clear()
        chunk.append(item)
    for chunk in open_chunks.values():
        yield _packed(chunk)


def _continues(chunk: Sequence[HeldFrame], item: HeldFrame) -> bool:
    before, frame = chunk[-1].frame, item.frame
    return (
        chunk[-1].run == item.run
        and before.number + 1 == frame.number
        and list(before.units.items()) == list(frame.units.items())
        and sum(len(one.frame.t_s) for one in chunk) + len(frame.t_s) <= _MAX_SAMPLES
    )


def _packed(chunk: Sequence[HeldFrame]) -> dict[str, object]:
    frames = [item.frame for item in chunk]
    units = frames[0].units
    columns: list[list[float | None]] = [
        [value for frame in frames for value in frame.t_s],
        [value for frame in frames for value in frame.half_width_s],
        *([value for frame in frames for value in frame.signals[name]] for name in units),
    ]
    return {
        "bench": frames[0].bench,
        "instrument": frames[0].instrument,
        "run": chunk[0].run,
        "first_time": rfc3339(chunk[0].first),
        "last_time": rfc3339(chunk[-1].last),
        "first_number": frames[0].number,
        "last_number": frames[-1].number,
        "samples": len(columns[0]),
        "units": msgspec.json.encode(units).decode(),
        "packed": b"".join(np.array(column, dtype=_COLUMN).tobytes() for column in columns),
    }


# what a reader selects, in the order that ``unpack`` takes it
COLUMNS = '"row", bench, instrument, run, first_time, first_number, last_number, samples, units, packed'


def unpack(record: Sequence[Any]) -> Chunk:
    """Return the chunk of one row, selected by ``COLUMNS``."""
    row, bench, instrument, run, first_time, first_number, last_number, samples, units_json, packed = record
    units = msgspec.json.decode(units_json, type=dict[str, str])
    table = np.frombuffer(packed, dtype=_COLUMN).reshape(2 + len(units), samples)
    return Chunk(
        row=row,
        bench=bench,
        instrument=instrument,
        run=run,
        start=datetime.fromisoformat(first_time),
        first_number=first_number,
        last_number=last_number,
        t_s=table[0],
        half_width_s=table[1],
        signals=dict(zip(units, table[2:], strict=True)),
        units=units,
    )


def utc64(at: datetime) -> np.datetime64:
    """Return an aware time as numpy keeps it: in UTC, without saying so."""
    return np.datetime64(at.astimezone(UTC).replace(tzinfo=None), "us")
