"""Current traces in tables of text: comma, semicolon, tab or blank between the cells, read a megabyte at a time."""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wakerail.recordings.dialect import Dialect, guess, guess_encoding, has_zone, is_civil
from wakerail.recordings.errors import BadRow
from wakerail.recordings.headings import Column, Columns, Wishes, choose
from wakerail.recordings.lines import DataLines, numbered_lines
from wakerail.recordings.samples import Piece, Recording, missing_note
from wakerail.recordings.tables import TableReader, check_rate, from_1970, words_of
from wakerail_kit.errors import ConfigInvalid

_SAMPLE, _GLANCE = 1 << 16, 1 << 14
_BLOCK = 1 << 20
_NUMBER_EXAMPLES = {"s": "12.05", "A": "0.0413", "W": "4.43", "V": "3.85", "1": "0"}


def open_delimited(file: Path, wishes: Wishes) -> Recording:
    """Open a table of text. Raises ConfigInvalid, also while it is read: with file, line and what is right."""
    check_rate(wishes)
    table = _Table.of(file, wishes)
    return table.recording()


def guess_dialect(file: Path) -> Dialect:
    """Return how a file of text is written. Raises ConfigInvalid if it cannot be read or holds no table."""
    try:
        with file.open("rb") as stream:
            first = stream.read(_SAMPLE)
            whole = len(first) < _SAMPLE
            encoding = guess_encoding(first)
            glances = [] if whole else _glances(stream, file.stat().st_size, encoding)
        if not first.strip(b"\0\r\n\t "):
            raise ValueError("it is empty")
        text = codecs.getincrementaldecoder(encoding)("replace").decode(first)
        if not whole:
            text = text[: max(text.rfind("\n"), text.rfind("\r")) + 1] or text
        return guess(text.lstrip("\N{ZERO WIDTH NO-BREAK SPACE}"), glances, encoding=encoding)
    except FileNotFoundError:
        raise ConfigInvalid(f"{file}: no such file") from None
    except OSError as wrong:
        raise ConfigInvalid(f"{file}: cannot be read: {wrong.strerror or wrong}") from None
    except ValueError as wrong:
        raise ConfigInvalid(f"{file}: {wrong}; a table with columns of time and current is needed") from None


def _glances(stream: Any, size: int, encoding: str) -> list[str]:
    """Return whole lines from the middle and the end: a trace may begin with nothing but 0, and show no decimals."""
    if encoding not in {"utf-8", "utf-8-sig", "cp1252"}:
        return []
    glances = []
    for at in (size // 2, size - _GLANCE):
        stream.seek(max(at, _SAMPLE))
        text = stream.read(_GLANCE).decode(encoding, "replace")
        glances.append(text[text.find("\n") + 1 : text.rfind("\n") + 1])
    return glances


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    file: Path
    dialect: Dialect
    columns: Columns
    wishes: Wishes
    civil: bool
    zoned: bool
    time_taken: str | None

    @classmethod
    def of(cls, file: Path, wishes: Wishes) -> _Table:
        dialect = guess_dialect(file)
        header_line = dialect.skip if dialect.headings is not None else dialect.skip + 1
        columns = choose(dialect.headings, dialect.count, wishes, f"{file}:{header_line}")
        first = ""
        if columns.time is not None:
            place = columns.time.place
            rows = (cells for _, cells in numbered_lines(file, dialect) if len(cells) == dialect.count)
            first = next((cells[place] for cells in rows if cells[place]), "")
        civil, taken = is_civil(first), None
        if civil:
            taken = "as civil time" if has_zone(first) else "as civil time without a zone"
        elif columns.time is not None and not columns.time.told and dialect.is_number(first):
            columns, taken = from_1970(columns, float(first.replace(",", ".")))
        return cls(file, dialect, columns, wishes, civil, has_zone(first), taken)

    def recording(self) -> Recording:
        dialect, reader = self.dialect, TableReader(self.columns, self.wishes)
        lines = DataLines(self.file, dialect, self._is_whole)

        def notes() -> list[str]:
            found = []
            if reader.checker.missing:
                found.append(missing_note(reader.checker.missing))
            if lines.torn is not None:
                found.append(f"line {lines.torn}, the last, is torn and was left out")
            return found

        return Recording(
            read_as=f"{dialect.words}; {words_of(self.columns, self.wishes, civil=self.time_taken)}",
            pieces=self._pieces(reader, lines),
            unit=self.columns.current.unit.si,
            notes=notes,
            begins=lambda: reader.civil.begins,
            share=lambda: lines.share,
        )

    def _pieces(self, reader: TableReader, lines: DataLines) -> Iterator[Piece]:
        import pyarrow as pa  # noqa: PLC0415  large, and few commands read tables
        import pyarrow.csv as pv  # noqa: PLC0415

        dialect, columns = self.dialect, self.columns
        names = [str(place) for place in range(dialect.count)]
        types = {str(column.place): pa.float64() for column in columns.read}
        if self.civil and columns.time is not None:
            types[str(columns.time.place)] = pa.string()
        try:
            batches = pv.open_csv(
                pa.PythonFile(lines, mode="r"),
                pv.ReadOptions(use_threads=False, block_size=_BLOCK, column_names=names),
                pv.ParseOptions(delimiter=dialect.delimiter),
                pv.ConvertOptions(
                    column_types=types,
                    include_columns=list(types),
                    null_values=[""],
                    strings_can_be_null=True,
                    decimal_point=dialect.decimal,
                ),
            )
            for batch in batches:
                piece = reader.take(_column_of(batch), batch.num_rows)
                if len(piece.t_s):
                    yield piece
        except BadRow as wrong:
            raise ConfigInvalid(f"{self.file}:{self._line_of(wrong.row)}: {wrong.says}") from None
        except pa.ArrowInvalid as wrong:
            says = self._what_is_wrong(reader.checker.rows, lines.torn)
            if says is None and not reader.checker.rows:
                says = f"{self.file}: there is no whole row of numbers in it"
            says = says or f"{self.file}: cannot be read: {wrong}"
            raise ConfigInvalid(says) from None
        finally:
            lines.close()

    def _is_whole(self, line: str, ended: bool) -> bool:
        """Tell whether the last line is one: what was being written when the recorder stopped is not."""
        cells = self.dialect.cells(line)
        if len(cells) < self.dialect.count or "\0" in line:
            return False
        if ended or len(cells) > self.dialect.count:
            return True  # and if it is wrong, it is wrong like any other line
        return bool(cells[-1]) and all(self._fits(column, cells[column.place]) for column in self.columns.read)

    def _fits(self, column: Column, cell: str) -> bool:
        return not cell or (is_civil(cell) if self._is_date(column) else self.dialect.is_number(cell))

    def _is_date(self, column: Column) -> bool:
        return self.civil and column is self.columns.time

    def _line_of(self, row: int) -> int:
        """Return the line in the file on which a row of the data stands, counted from 0."""
        for place, (number, _) in enumerate(numbered_lines(self.file, self.dialect)):
            if place == row:
                return number
        return 0

    def _what_is_wrong(self, good_rows: int, torn: int | None) -> str | None:
        """Find the first line after ``good_rows`` that is no row, and say what is wrong with it."""
        for place, (number, cells) in enumerate(numbered_lines(self.file, self.dialect)):
            if place < good_rows or number == torn:
                continue
            where = f"{self.file}:{number}"
            if len(cells) != self.dialect.count:
                return f"{where}: {_cells(len(cells))} where a row has {self.dialect.count}; {_REMEDY}"
            for column in self.columns.read:
                cell = cells[column.place]
                if not self._fits(column, cell):
                    return f"{where}: {cell!r} in {column.words} is {self._expected(column)}"
                if self._is_date(column) and cell and has_zone(cell) is not self.zoned:
                    return f"{where}: {cell!r}: some times say their zone and some do not; write all alike"
        return None

    def _expected(self, column: Column) -> str:
        if self._is_date(column):
            return "no time like '2026-11-25T10:15:00.5Z', as those before are"
        if column is self.columns.time:
            return "no time; write a number like '12.05', or ISO 8601 like '2026-11-25T10:15:00.5Z'"
        example = _NUMBER_EXAMPLES[column.unit.si].replace(".", self.dialect.decimal)
        return f"no number; write it like '{example}', or leave the cell empty if that sample is missing"


_REMEDY = "correct the line or take it out"


def _cells(count: int) -> str:
    return f"{count} cell" if count == 1 else f"{count} cells"


def _column_of(batch: Any) -> Callable[[Column], Any]:
    return lambda column: batch.column(str(column.place))
