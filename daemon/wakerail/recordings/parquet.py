"""Current traces in Parquet files, read some ten thousand rows at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from wakerail.recordings.errors import BadRow
from wakerail.recordings.headings import Column, Columns, Wishes, choose
from wakerail.recordings.samples import Piece, Recording, missing_note
from wakerail.recordings.tables import TableReader, check_rate, from_1970, words_of
from wakerail_kit.errors import ConfigInvalid

MAGIC = b"PAR1"
_ROWS = 1 << 16


def open_parquet(file: Path, wishes: Wishes) -> Recording:
    """Open a Parquet file. Raises ConfigInvalid, also while it is read: with file and row."""
    import pyarrow as pa  # noqa: PLC0415  large, and few commands read tables
    import pyarrow.parquet as pq  # noqa: PLC0415

    check_rate(wishes)
    try:
        table = pq.ParquetFile(file)
    except (pa.ArrowInvalid, OSError) as wrong:
        raise ConfigInvalid(f"{file}: cannot be read as Parquet: {str(wrong).splitlines()[0]}") from None
    schema = table.schema_arrow
    columns = choose(schema.names, len(schema.names), wishes, str(file))
    civil = None
    for column in columns.read:
        kind = schema.field(column.place).type
        if column is columns.time and pa.types.is_timestamp(kind):
            civil = "as civil time" if kind.tz is not None else "as civil time without a zone"
        elif not (pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind)):
            wanted = "numbers or timestamps" if column is columns.time else "numbers"
            raise ConfigInvalid(f"{file}: {column.words} holds {kind}; {wanted} are needed")
    if columns.time is not None and civil is None and not columns.time.told:
        columns, civil = from_1970(columns, _first_number(table, schema.names[columns.time.place]))
    reader = TableReader(columns, wishes)
    return Recording(
        read_as=f"Parquet; {words_of(columns, wishes, civil=civil)}",
        pieces=_pieces(file, table, columns, reader),
        unit=columns.current.unit.si,
        notes=lambda: [missing_note(reader.checker.missing)] if reader.checker.missing else [],
        begins=lambda: reader.civil.begins,
        share=lambda: reader.checker.rows / max(table.metadata.num_rows, 1),
    )


def _first_number(table: Any, name: str) -> float:
    for batch in table.iter_batches(batch_size=1024, columns=[name]):
        numbers = batch.column(name).drop_null()
        if len(numbers):
            return float(numbers[0].as_py())
    return 0.0


def _pieces(file: Path, table: Any, columns: Columns, reader: TableReader) -> Iterator[Piece]:
    import pyarrow as pa  # noqa: PLC0415

    names = table.schema_arrow.names
    wanted = [names[column.place] for column in columns.read]
    try:
        for batch in table.iter_batches(batch_size=_ROWS, columns=wanted, use_threads=False):
            piece = reader.take(_column_of(batch, names), batch.num_rows)
            if len(piece.t_s):
                yield piece
    except BadRow as wrong:
        raise ConfigInvalid(f"{file}: row {wrong.row + 1}: {wrong.says}") from None
    except (pa.ArrowInvalid, OSError) as wrong:
        raise ConfigInvalid(f"{file}: is damaged: {str(wrong).splitlines()[0]}") from None
    finally:
        table.close()


def _column_of(batch: Any, names: list[str]) -> Callable[[Column], Any]:
    return lambda column: batch.column(names[column.place])
