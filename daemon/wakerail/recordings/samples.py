"""Samples as every recording gives them: pieces of arrays, checked."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import numpy.typing as npt

from wakerail.analysis.settings import ReaderSettings
from wakerail.recordings.errors import BadRow
from wakerail.recordings.units import Floats
from wakerail_kit.events import UsbAttached, UsbDetached, UsbEnumerationFailed

Mask = npt.NDArray[np.bool_]
UsbEvent = UsbAttached | UsbDetached | UsbEnumerationFailed


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Samples in the order of time, arrays of one length. All are finite, but for a voltage that is missing (NaN).

    ``current_a`` is in the recording's unit: amperes, or watts where power was recorded. ``limiting`` is 1 where the
    supply limited.
    """

    t_s: Floats
    current_a: Floats
    voltage_v: Floats | None = None
    limiting: Floats | None = None

    def between(self, first: int, last: int) -> Piece:
        """Return the samples from place ``first`` up to, not including, ``last``."""
        cut = slice(first, last)
        return Piece(
            self.t_s[cut],
            self.current_a[cut],
            None if self.voltage_v is None else self.voltage_v[cut],
            None if self.limiting is None else self.limiting[cut],
        )


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """A column's values of some rows in SI units, and which of its cells are empty. ``what`` names the column."""

    values: Floats
    missing: Mask
    what: str


@dataclass(slots=True, eq=False)
class Recording:
    """What is read, before and while it is read.

    pieces: the samples, once. unit: ``A``, or ``W`` where power was recorded.
    read_as: how it was understood. notes: what had to be passed over, complete once the pieces are through.
    begins: the civil time of 0 s, None where the times are the file's own numbers.
    known: what is known of the device beforehand. usb: what USB saw, in the order of time.
    onset_s: when a live watch saw the boot begin, None where there was none or it saw nothing.
    share: tells how much was read so far, from 0 to 1.
    """

    read_as: str
    pieces: Iterator[Piece]
    unit: str = "A"
    notes: Callable[[], list[str]] = list
    begins: Callable[[], datetime | None] = lambda: None
    known: ReaderSettings = field(default_factory=ReaderSettings)
    usb: Sequence[UsbEvent] = ()
    onset_s: float | None = None
    share: Callable[[], float] = lambda: 1.0


class Checker:
    """Makes pieces of raw rows: leaves out rows in which a sample is missing, and holds time to going forward."""

    def __init__(self) -> None:
        self.missing = 0
        self.rows = 0
        self._last_s = -math.inf

    def take(self, t_s: Cells, current_a: Cells, voltage_v: Cells | None, limiting: Cells | None) -> Piece:
        """Take the next rows. Raises BadRow if one is no sample that could follow those before."""
        begin = self.rows
        self.rows += len(t_s.values)
        for cells in (t_s, current_a, voltage_v, limiting):
            if cells is not None:
                bad = np.flatnonzero(~np.isfinite(cells.values) & ~cells.missing)
                if bad.size:
                    text = f"{cells.values[bad[0]]:g}"
                    raise BadRow(begin + int(bad[0]), f"{cells.what} is {text}; leave the cell empty if it is missing")
        keep = ~(t_s.missing | current_a.missing)
        self.missing += int(np.count_nonzero(~keep))
        whole = bool(keep.all())
        times = t_s.values if whole else t_s.values[keep]
        self._check_order(times, np.flatnonzero(keep) + begin)
        return Piece(
            times,
            current_a.values if whole else current_a.values[keep],
            None if voltage_v is None else voltage_v.values[keep],
            None if limiting is None else np.where(limiting.missing, 0.0, limiting.values)[keep],
        )

    def _check_order(self, times: Floats, rows: npt.NDArray[np.int64]) -> None:
        if not times.size:
            return
        before = np.concatenate([[self._last_s], times[:-1]])
        bad = np.flatnonzero(times <= before)
        if bad.size:
            first = bad[0]
            back_s = float(before[first] - times[first])
            says = f"time goes back by {back_s:.9g} s" if back_s else "it has the time of the row before"
            says += "; each row needs a later time than the one before"
            raise BadRow(int(rows[first]), says)
        self._last_s = float(times[-1])


def in_time(pieces: Iterator[Piece], usb: Sequence[UsbEvent]) -> Iterator[Piece | UsbEvent]:
    """Yield samples and USB events in the order of time: an event before the samples of its moment."""
    waiting = sorted(usb, key=lambda event: event.at_s)
    place = 0
    for piece in pieces:
        begin = 0
        while place < len(waiting) and waiting[place].at_s <= piece.t_s[-1]:
            cut = int(np.searchsorted(piece.t_s, waiting[place].at_s, side="left"))
            if cut > begin:
                yield piece.between(begin, cut)
                begin = cut
            yield waiting[place]
            place += 1
        if begin < len(piece.t_s):
            yield piece.between(begin, len(piece.t_s)) if begin else piece
    yield from waiting[place:]


def missing_note(count: int) -> str:
    """Say how many samples were missing."""
    return f"{count} {'row' if count == 1 else 'rows'} without a sample left out"
