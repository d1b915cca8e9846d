"""What tables of text and Parquet files have in common: from columns of a batch to pieces of samples, in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from wakerail.recordings.headings import Column, Columns, Wishes
from wakerail.recordings.moments import CivilTimes, TimeColumn, epoch_unit, number_cells
from wakerail.recordings.samples import Cells, Checker, Piece
from wakerail_kit.errors import ConfigInvalid


class TableReader:
    """Turns batches of a table's columns into pieces."""

    def __init__(self, columns: Columns, wishes: Wishes) -> None:
        self.checker = Checker()
        self.civil = CivilTimes()
        self._columns = columns
        self._rate_hz = wishes.rate_hz
        self._time = None if columns.time is None else TimeColumn(columns.time, self.civil)

    def take(self, arrays: Callable[[Column], Any], rows: int) -> Piece:
        """Return the next ``rows`` rows; ``arrays`` gives a column's pyarrow array. Raises BadRow."""
        columns = self._columns
        if self._time is not None and columns.time is not None:
            times = self._time.cells(arrays(columns.time))
        else:
            places = np.arange(self.checker.rows, self.checker.rows + rows)
            times = Cells(places / (self._rate_hz or 1.0), np.zeros(rows, dtype=bool), "the time")

        def cells(column: Column | None) -> Cells | None:
            return None if column is None else number_cells(arrays(column), column)

        return self.checker.take(
            times,
            number_cells(arrays(columns.current), columns.current),
            cells(columns.voltage),
            cells(columns.limiting),
        )


def from_1970(columns: Columns, first: float) -> tuple[Columns, str | None]:
    """Return the columns with the unit of a time whose first number is so great that it counts from 1970, in words.

    Columns whose time does not are returned as they are, with None.
    """
    unit = None if columns.time is None else epoch_unit(first)
    if columns.time is None or unit is None:
        return columns, None
    return replace(columns, time=replace(columns.time, unit=unit)), f"taken to be in {unit.name} from 1970"


def words_of(columns: Columns, wishes: Wishes, *, civil: str | None) -> str:
    """Say which columns are read as what. ``civil`` says how the time is taken if it is no number of its unit."""
    if columns.time is None:
        parts = [f"{wishes.rate_hz:g} samples a second"]
    else:
        unit = civil if civil is not None else _in_unit(columns.time)
        parts = [f"time from {columns.time.words} {unit}"]
    what = "power" if columns.current.unit.si == "W" else "current"
    parts.append(f"{what} from {columns.current.words} {_in_unit(columns.current)}")
    if columns.voltage is not None:
        parts.append(f"voltage from {columns.voltage.words} {_in_unit(columns.voltage)}")
    if columns.limiting is not None:
        parts.append(f"limiting from {columns.limiting.words}")
    return ", ".join(parts)


def check_rate(wishes: Wishes) -> None:
    """Raise ConfigInvalid if a rate is given that is none."""
    if wishes.rate_hz is not None and not 0 < wishes.rate_hz < 1e9:
        raise ConfigInvalid(f"--rate {wishes.rate_hz:g} is no rate; give samples in a second, like '--rate 20'")


def _in_unit(column: Column) -> str:
    return f"in {column.unit.name}" if column.told else f"taken to be in {column.unit.name}"
