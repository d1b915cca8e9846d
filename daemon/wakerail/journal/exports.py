"""The journal written out for other programs: JSON Lines, CSV and Parquet, in bounded memory, whole or not at all.

Messages: in JSON Lines each with its row and topic; in CSV and Parquet one a row, with what it is filed under and the
whole of it as JSON. Frames: in JSON Lines one chunk a line, in the form of a frame on the bus with its ``run``; in CSV
and Parquet one sample a row, a column for each signal with its UCUM unit in the title. What an instrument could not
give is empty (CSV) or null; JSON has no infinity, so that is null there too.
"""

from __future__ import annotations

import csv
import itertools
import math
import os
import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import msgspec

from wakerail.journal.reader import JournalReader
from wakerail.journal.records import Entry, bench_of, run_of, time_of, type_of
from wakerail_kit.clock import rfc3339
from wakerail_kit.errors import ConfigInvalid, WakerailError
from wakerail_kit.messages import Frame

if TYPE_CHECKING:
    from wakerail.journal.chunks import Chunk

_ROWS_A_BATCH = 8192
_TIME, _TEXT, _INTEGER, _NUMBER = "time", "text", "integer", "number"


class Form(StrEnum):
    """A file format that can be exported to, by the ending of the file's name."""

    JSON_LINES = "jsonl"
    CSV = "csv"
    PARQUET = "parquet"


def form_of(out: Path) -> Form:
    """Return the form that a file's name asks for. Raises ConfigInvalid if its ending is none of ours."""
    try:
        return Form(out.suffix.removeprefix(".").lower())
    except ValueError:
        raise ConfigInvalid(f"{out}: end the file's name in .jsonl, .csv or .parquet to say what to write") from None


def export(
    reader: JournalReader,
    out: Path,
    form: Form | None = None,
    *,
    run: str | None = None,
    frames: bool = False,
    force: bool = False,
) -> int:
    """Write messages, or with ``frames`` the samples, of one run or of all, and return how many lines or rows.

    The file appears under its name only once it is complete; ``form`` is by the name unless given. Raises ConfigInvalid
    if the file is there already and ``force`` is not set, WakerailError if it cannot be written.
    """
    form = form or form_of(out)
    with _complete_file(out, force=force) as part:
        if form is Form.JSON_LINES:
            return _write_lines(part, _frame_lines(reader, run) if frames else _message_lines(reader, run))
        table = _frame_table(reader, run) if frames else _message_table(reader, run)
        return _write_csv(part, table) if form is Form.CSV else _write_parquet(part, table)


@contextmanager
def _complete_file(out: Path, *, force: bool) -> Iterator[Path]:
    """Give a file beside ``out`` to write to, which takes its name if all goes well and is removed if not."""
    part = out.with_name(f".{out.name}.{secrets.token_hex(4)}.part")

    def refuse_existing() -> None:
        if out.is_dir():
            raise ConfigInvalid(f"{out}: is a folder; name a file")
        if out.exists() and not force:
            raise ConfigInvalid(f"{out}: is there already; name another file, or use --force to replace it")

    refuse_existing()
    try:
        yield part
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        refuse_existing()
        part.replace(out)
    except OSError as wrong:
        raise WakerailError(f"{out}: cannot be written: {wrong.strerror or wrong}") from wrong
    finally:
        part.unlink(missing_ok=True)


# --- JSON Lines ---


class _FrameLine(Frame, frozen=True, kw_only=True):
    run: str | None


def _message_lines(reader: JournalReader, run: str | None) -> Iterator[bytes]:
    return (entry_line(entry) for entry in reader.messages(run=run))


def entry_line(entry: Entry) -> bytes:
    """Return a message as one line of JSON, with its row and topic, without the line's end."""
    return msgspec.json.encode(entry._asdict())


def _frame_lines(reader: JournalReader, run: str | None) -> Iterator[bytes]:
    for chunk in reader.frames(run=run):
        yield msgspec.json.encode(
            _FrameLine(
                bench=chunk.bench,
                instrument=chunk.instrument,
                run=chunk.run,
                number=chunk.first_number,
                start=rfc3339(chunk.start),
                t_s=chunk.t_s.tolist(),
                half_width_s=chunk.half_width_s.tolist(),
                signals={name: values.tolist() for name, values in chunk.signals.items()},  # NaN is written as null
                units=dict(chunk.units),
            )
        )


def _write_lines(part: Path, lines: Iterator[bytes]) -> int:
    count = 0
    with part.open("wb") as out:
        for count, line in enumerate(lines, start=1):  # noqa: B007  the last count is the answer
            out.write(line + b"\n")
    return count


# --- tables ---


class _Table(NamedTuple):
    """Columns (name to sort), and batches of rows: a sequence of values for each column."""

    columns: Mapping[str, str]
    batches: Iterator[Mapping[str, Sequence[Any]]]


def _message_table(reader: JournalReader, run: str | None) -> _Table:
    columns = {
        "row": _INTEGER,
        "time": _TIME,
        "bench": _TEXT,
        "run": _TEXT,
        "type": _TEXT,
        "topic": _TEXT,
        "id": _TEXT,
        "message": _TEXT,
    }

    def batches() -> Iterator[Mapping[str, Sequence[Any]]]:
        entries = reader.messages(run=run)
        while batch := list(itertools.islice(entries, _ROWS_A_BATCH)):
            records = [
                (
                    entry.row,
                    datetime.fromisoformat(time_of(entry.message)),
                    bench_of(entry.message),
                    run_of(entry.message),
                    type_of(entry.message),
                    entry.topic,
                    entry.message.id,
                    msgspec.json.encode(entry.message).decode(),
                )
                for entry in batch
            ]
            yield dict(zip(columns, zip(*records, strict=True), strict=True))

    return _Table(columns, batches())


def _frame_table(reader: JournalReader, run: str | None) -> _Table:
    titles = {(name, unit): name if unit == "1" else f"{name} ({unit})" for name, unit in reader.signals(run=run)}
    columns = {"time": _TIME, "bench": _TEXT, "instrument": _TEXT, "run": _TEXT, "t_s": _NUMBER}
    columns |= {"half_width_s": _NUMBER, **dict.fromkeys(titles.values(), _NUMBER)}

    def rows_of(chunk: Chunk) -> Mapping[str, Sequence[Any]]:
        count = len(chunk)
        # a signal that first came while we were writing has no title, and is left for the next export
        known = (pair for pair in chunk.units.items() if pair in titles)
        sampled = {titles[name, unit]: chunk.signals[name].tolist() for name, unit in known}
        return {
            "time": [time.replace(tzinfo=UTC) for time in chunk.times().tolist()],
            "bench": [chunk.bench] * count,
            "instrument": [chunk.instrument] * count,
            "run": [chunk.run] * count,
            "t_s": chunk.t_s.tolist(),
            "half_width_s": chunk.half_width_s.tolist(),
            **{title: sampled.get(title, [None] * count) for title in titles.values()},
        }

    def batches() -> Iterator[Mapping[str, Sequence[Any]]]:
        batch: dict[str, list[Any]] = {name: [] for name in columns}
        for chunk in reader.frames(run=run):
            for name, values in rows_of(chunk).items():
                batch[name].extend(values)
            if len(batch["time"]) >= _ROWS_A_BATCH:
                yield batch
                batch = {name: [] for name in columns}
        if batch["time"]:
            yield batch

    return _Table(columns, batches())


def _write_csv(part: Path, table: _Table) -> int:
    count = 0
    with part.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out)
        writer.writerow(table.columns)
        for batch in table.batches:
            rows = zip(*(map(_CELLS[sort], batch[name]) for name, sort in table.columns.items()), strict=True)
            writer.writerows(rows)
            count += len(batch["time"])
    return count


def _number_cell(value: float | None) -> str:
    return "" if value is None or math.isnan(value) else repr(value)


def _same(value: object) -> object:
    return value


_CELLS: dict[str, Callable[[Any], object]] = {_TIME: rfc3339, _NUMBER: _number_cell, _TEXT: _same, _INTEGER: _same}


def _write_parquet(part: Path, table: _Table) -> int:
    import pyarrow as pa  # noqa: PLC0415  large, and only a Parquet export needs it
    import pyarrow.parquet as pq  # noqa: PLC0415

    sorts = {_TIME: pa.timestamp("us", tz="UTC"), _TEXT: pa.string(), _INTEGER: pa.int64(), _NUMBER: pa.float64()}
    schema = pa.schema([(name, sorts[sort]) for name, sort in table.columns.items()])
    count = 0
    with pq.ParquetWriter(part, schema) as out:
        for batch in table.batches:
            # from_pandas: NaN, a sample that the instrument could not give, becomes null
            arrays = [pa.array(batch[field.name], field.type, from_pandas=True) for field in schema]
            out.write_table(pa.Table.from_arrays(arrays, schema=schema))
            count += len(batch["time"])
    return count
