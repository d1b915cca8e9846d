"""Times as recordings write them: numbers in some unit, numbers of a calendar's epoch, or civil times."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from wakerail.recordings.dialect import has_zone
from wakerail.recordings.headings import Column
from wakerail.recordings.samples import Cells
from wakerail.recordings.units import Floats, Unit, find_unit

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# A number of this size without a unit counts from 1970: in ms from 1973 on, then the same in µs and in ns. Fewer are s.
_EPOCH_UNITS = ((1e17, "ns"), (1e14, "µs"), (1e11, "ms"))


def epoch_unit(first: float) -> Unit | None:
    """Return the unit of a first time that is so great that it must count from 1970, if no unit was told."""
    name = next((name for least, name in _EPOCH_UNITS if first >= least), None)
    return None if name is None else find_unit(name)


class CivilTimes:
    """Civil times as seconds from the first of them. ``begins`` is that first time."""

    def __init__(self, origin: datetime | None = None) -> None:
        self.begins = origin

    def seconds(self, nanoseconds: Any, missing: Any, *, zoned: bool) -> Floats:
        """Return times that count nanoseconds from 1970 as seconds from the first that is not missing."""
        if self.begins is None and not missing.all():
            first = int(nanoseconds[~missing][0])
            begins = _EPOCH + timedelta(microseconds=first // 1000)
            self.begins = begins if zoned else begins.replace(tzinfo=None)
        if self.begins is None:
            return np.full(len(nanoseconds), np.nan)
        begins = self.begins if self.begins.tzinfo is not None else self.begins.replace(tzinfo=UTC)
        zero = (begins - _EPOCH) // timedelta(microseconds=1) * 1000
        seconds: Floats = np.where(missing, np.nan, (nanoseconds - zero) / 1e9)
        return seconds


class TimeColumn:
    """Turns arrays of a time column into seconds, whatever it is written in."""

    def __init__(self, column: Column, civil: CivilTimes) -> None:
        self._column = column
        self._civil = civil

    def cells(self, array: Any) -> Cells:
        """Return the seconds of a pyarrow array of numbers, of timestamps or of civil times as text.

        Raises pyarrow's ArrowInvalid if a text is no civil time.
        """
        import pyarrow as pa  # noqa: PLC0415  large, and few commands read tables

        kind = array.type
        if pa.types.is_string(kind) or pa.types.is_large_string(kind):
            array = to_timestamps(array)
            kind = array.type
        if not pa.types.is_timestamp(kind):
            return number_cells(array, self._column)
        missing = np.asarray(array.is_null())
        nanoseconds = array.cast(pa.timestamp("ns", kind.tz)).cast(pa.int64()).fill_null(0).to_numpy()
        seconds = self._civil.seconds(nanoseconds, missing, zoned=kind.tz is not None)
        return Cells(seconds, missing, f"the time in {self._column.words}")


def to_timestamps(texts: Any) -> Any:
    """Return civil times in text as pyarrow timestamps, in UTC if the first of them says its zone."""
    import pyarrow as pa  # noqa: PLC0415
    import pyarrow.compute as pc  # noqa: PLC0415

    tidy = pc.utf8_trim_whitespace(texts)
    tidy = pc.replace_substring(tidy, pattern=",", replacement=".")  # ISO 8601 allows either mark
    tidy = pc.replace_substring_regex(tidy, pattern=r"\s([+-]\d\d(:?\d\d)?|[Zz])$", replacement=r"\1")
    tidy = pc.utf8_upper(tidy)
    tidy = pc.if_else(pc.equal(tidy, ""), None, tidy)
    first = next((text for text in tidy.to_pylist() if text is not None), "") if tidy.null_count < len(tidy) else ""
    return tidy.cast(pa.timestamp("ns", "UTC" if has_zone(first) else None))


def number_cells(array: Any, column: Column, what: str = "") -> Cells:
    """Return the numbers of a pyarrow array in SI units."""
    import pyarrow as pa  # noqa: PLC0415

    missing = np.asarray(array.is_null())
    numbers = array.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False)
    return Cells(column.unit.to_si(numbers), missing, what or column.words)
