"""A recorded current trace, read from CSV and played in place of the load model."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wakerail_kit.errors import ConfigInvalid
from wakerail_sim.noise import Floats

MAX_VOLTAGE_V = 100.0
MAX_CURRENT_A = 100.0
_MIN_ROWS = 2
_EPSILON_S = 1e-9  # a sample asked for at its own time must not miss it by the rounding of a float

_TIME_NAMES = ("t_s", "time_s", "time", "t", "seconds", "timestamp_s")
_CURRENT_NAMES = ("current_a", "current", "i_a", "i", "amps", "a")
_VOLTAGE_NAMES = ("voltage_v", "voltage", "v_v", "v", "u_v", "u", "volts")


@dataclass(frozen=True, slots=True, eq=False)
class RecordedTrace:
    """A recording: times in s counted from its first sample, current in A, voltage in V or None if not recorded."""

    t_s: Floats
    current_a: Floats
    voltage_v: Floats | None = None

    @property
    def length_s(self) -> float:
        """The time of the last sample."""
        return float(self.t_s[-1])

    def place(self, at_s: Floats) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
        """Return which sample holds at each time: the last one not later; the first before, the last after."""
        found = np.searchsorted(self.t_s, at_s + _EPSILON_S, side="right") - 1
        return np.clip(found, 0, len(self.t_s) - 1)


def load_trace(file: Path) -> RecordedTrace:
    """Read a trace from CSV: a header, then time in s, current in A and, if recorded, voltage in V.

    Columns are found by their header (``t_s`` or ``time``, ``current_a``, ``voltage_v``, ...); others are ignored.
    Raises ConfigInvalid with file and line when a number is none or not finite, time goes back or a row is short.
    """
    try:
        with file.open(encoding="utf-8-sig", newline="") as stream:
            return _read(stream, _delimiter(file), file)
    except FileNotFoundError:
        raise ConfigInvalid(f"{file}: no such file") from None
    except (OSError, UnicodeDecodeError, csv.Error) as wrong:
        raise ConfigInvalid(f"{file}: cannot be read as CSV: {wrong}") from None


def _delimiter(file: Path) -> str:
    with file.open(encoding="utf-8-sig", newline="") as stream:
        header = stream.readline()
    return max(",;\t", key=header.count)


def _read(text: Iterable[str], delimiter: str, file: Path) -> RecordedTrace:
    rows = csv.reader(text, delimiter=delimiter)
    header = next(rows, None)
    if not header:
        raise ConfigInvalid(f"{file}:1: empty; a header like 't_s,current_a' is needed")
    names = [_plain(cell) for cell in header]
    time = _column(names, _TIME_NAMES)
    current = _column(names, _CURRENT_NAMES)
    voltage = _column(names, _VOLTAGE_NAMES)
    for what, found, example in (("time in s", time, "t_s"), ("current in A", current, "current_a")):
        if found is None:
            raise ConfigInvalid(
                f"{file}:1: no column for {what}; name it {example!r} (the header has {', '.join(header)})"
            )
    bounds = [(time, math.inf), (current, MAX_CURRENT_A)] + ([(voltage, MAX_VOLTAGE_V)] if voltage is not None else [])
    taken: list[list[float]] = []
    for row in rows:
        if not any(cell.strip() for cell in row):
            continue
        try:
            values = [_number(row, header, place, bound) for place, bound in bounds if place is not None]
        except ValueError as wrong:
            raise ConfigInvalid(f"{file}:{rows.line_num}: {wrong}") from None
        if taken and values[0] < taken[-1][0]:
            raise ConfigInvalid(f"{file}:{rows.line_num}: time goes back: {values[0]:g} s after {taken[-1][0]:g} s")
        taken.append(values)
    if len(taken) < _MIN_ROWS:
        raise ConfigInvalid(f"{file}: {len(taken)} rows of data; at least {_MIN_ROWS} are needed")
    if taken[0][0] == taken[-1][0]:
        raise ConfigInvalid(f"{file}: all rows have the same time, {taken[0][0]:g} s; a recording lasts")
    columns = np.asarray(taken, dtype=np.float64).T
    return RecordedTrace(columns[0] - columns[0][0], columns[1], columns[2] if voltage is not None else None)


def _plain(cell: str) -> str:
    """Return a header cell as it is compared: ``Current [A]`` and ``current (A)`` are ``current_a``."""
    return re.sub(r"[^a-z0-9]+", "_", cell.strip().lower()).strip("_")


def _column(names: Sequence[str], known: Sequence[str]) -> int | None:
    return next((names.index(name) for name in known if name in names), None)


def _number(row: Sequence[str], header: Sequence[str], place: int, bound: float) -> float:
    """Return a cell as a number. Raises ValueError saying what is wrong with it."""
    if place >= len(row):
        raise ValueError(f"{len(row)} columns; {header[place]!r} is missing")
    try:
        value = float(row[place])
    except ValueError:
        raise ValueError(f"{header[place]}: {row[place]!r} is not a number") from None
    if not math.isfinite(value):
        raise ValueError(f"{header[place]}: {row[place]!r} is not a finite number")
    if abs(value) > bound:
        raise ValueError(f"{header[place]}: {value:g} is out of bounds; at most {bound:g}")
    return value
