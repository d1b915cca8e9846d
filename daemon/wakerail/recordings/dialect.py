"""How a table of text is written: encoding, delimiter, decimal mark, where its header and its data begin.

All of it is guessed from a sample of the file, and said, so that a wrong guess is seen.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from wakerail.recordings.headings import hear
from wakerail.recordings.units import find_unit

_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", " ": "blank", "|": "bar"}
_MARKS = [
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),  # before UTF-16, whose mark it begins with
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
]
_NUMBER = r"[+-]?(?:\d+(?:{mark}\d*)?|{mark}\d+)(?:[eE][+-]?\d+)?|[+-]?(?:nan|inf)"
_NUMBERS = {mark: re.compile(_NUMBER.format(mark=re.escape(mark)), re.IGNORECASE) for mark in ".,"}
_CIVIL = re.compile(
    r"(\d{4}-\d\d-\d\d)[T ]\d\d:\d\d(:\d\d([.,]\d{1,9})?)?\s?(?P<zone>Z|[+-]\d\d(:?\d\d)?)?", re.IGNORECASE
)
# Dates and clock times in other calendars' and countries' ways: not read as time, but no words either.
_DATE, _CLOCK = r"\d{1,4}[./-]\d\d?[./-]\d{1,4}", r"\d\d?:\d\d(?::\d\d(?:[.,]\d+)?)?(?: ?[AP]M)?"
_MOMENT = re.compile(rf"{_DATE}|(?:{_DATE}[T ])?{_CLOCK}", re.IGNORECASE)
_FIRST_LINES = 200  # the header is among them


@dataclass(frozen=True, slots=True)
class Dialect:
    """How the text is written. ``encoding`` is Python's name of it; ``skip`` lines stand before the data.

    ``headings`` is None without a header, ``count`` how many cells a row has. ``old_ends``: lines end in a bare
    carriage return.
    """

    encoding: str
    delimiter: str
    decimal: str
    headings: tuple[str, ...] | None
    count: int
    skip: int
    old_ends: bool = False

    @property
    def words(self) -> str:
        """Say it: 'semicolon, decimal comma, header'."""
        parts = [_DELIMITERS[self.delimiter]] if self.count > 1 else ["one column"]
        if self.decimal == ",":
            parts.append("decimal comma")
        parts.append("no header" if self.headings is None else "header")
        if self.encoding not in {"utf-8", "utf-8-sig"}:
            parts.append(self.encoding.upper())
        return ", ".join(parts)

    def cells(self, line: str) -> list[str]:
        """Return a line's cells, without blanks around them."""
        return split(line, self.delimiter)

    def is_number(self, cell: str) -> bool:
        """Tell whether a cell is a number as this dialect writes it."""
        return _NUMBERS[self.decimal].fullmatch(cell) is not None


def is_civil(cell: str) -> bool:
    """Tell whether a cell is a date and time as ISO 8601 and RFC 3339 write it."""
    return _CIVIL.fullmatch(cell.strip()) is not None


def has_zone(cell: str) -> bool:
    """Tell whether a civil time says its zone."""
    match = _CIVIL.fullmatch(cell.strip())
    return match is not None and match["zone"] is not None


def is_comment(line: str) -> bool:
    """Tell whether a line is a comment."""
    return line.lstrip().startswith("#")


def split(line: str, delimiter: str) -> list[str]:
    """Return a line's cells, without blanks around them and without quotes; several blanks delimit once."""
    line = line.replace("\r", " ")
    if delimiter == " ":
        line = " ".join(line.split())
    if '"' not in line or line.count('"') % 2:  # an open quote is a slip, and no cell over several lines
        return [cell.strip() for cell in line.split(delimiter)]
    return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])]


def guess_encoding(sample: bytes) -> str:
    """Return the encoding of a text that begins with ``sample``: by its mark, else by where its zero bytes are.

    Raises ValueError if it is no text.
    """
    for mark, name in _MARKS:
        if sample.startswith(mark):
            return name
    zeros = sample[0::2].count(0), sample[1::2].count(0)
    half = len(sample) // 2
    if half and max(zeros) > 0.5 * half and min(zeros) < 0.05 * half:
        return "utf-16-le" if zeros[1] > zeros[0] else "utf-16-be"
    if sample.rstrip(b"\0").count(0) > 0:
        raise ValueError("it is no text")
    try:
        codecs.getincrementaldecoder("utf-8")().decode(sample)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def guess(first: str, further: Sequence[str] = (), *, encoding: str = "utf-8") -> Dialect:
    """Guess how a table is written from its ``first`` text and ``further`` pieces of whole lines from within it.

    Raises ValueError if there is no table of numbers in it.
    """
    old_ends = "\r" in first and "\n" not in first
    lines = first.split("\r" if old_ends else "\n")
    numbered = [
        (number, line.rstrip("\r")) for number, line in enumerate(lines) if line.strip() and not is_comment(line)
    ]
    told, numbered = _told_delimiter(numbered)
    texts = [line for _, line in numbered]
    sample = texts[-_FIRST_LINES:]
    for text in further:
        sample += [line for line in text.split("\n") if line.strip() and not is_comment(line)][-_FIRST_LINES:]
    delimiter, decimal, count = _best(sample, told)

    def numeric(cell: str) -> bool:
        return _is_value(cell, decimal)

    rows = [(place, split(line, delimiter)) for place, line in numbered[:_FIRST_LINES]]
    header = _find_header(rows, count, numeric)
    if not any(numeric(cell) for _, cells in rows for cell in cells):
        raise ValueError("there is no table of numbers in it")
    if header is not None:
        skip, headings = header
        return Dialect(encoding, delimiter, decimal, headings, count, skip, old_ends)
    start = next((place for place, cells in rows if len(cells) == count and any(map(numeric, cells))), None)
    if start is None:
        raise ValueError("there is no table of numbers in it")
    return Dialect(encoding, delimiter, decimal, None, count, start, old_ends)


def _is_value(cell: str, decimal: str) -> bool:
    """Tell whether a cell is a number or a moment, whoever can read it."""
    if _NUMBERS[decimal].fullmatch(cell) is not None or is_civil(cell):
        return True
    return _MOMENT.fullmatch(cell) is not None


def _told_delimiter(lines: list[tuple[int, str]]) -> tuple[str | None, list[tuple[int, str]]]:
    """Some spreadsheets say the delimiter in a first line of its own: 'sep=;'."""
    if lines and (match := re.fullmatch(r"\s*sep=(.)\s*", lines[0][1], re.IGNORECASE)) and match[1] in _DELIMITERS:
        return match[1], lines[1:]
    return None, lines


def _best(lines: Sequence[str], told: str | None) -> tuple[str, str, int]:
    """Return delimiter, decimal mark and number of cells under which most lines are alike and most cells numbers."""
    best, best_score = (",", ".", 1), (0.0, 0)
    for delimiter in [told] if told else _DELIMITERS:
        rows = [split(line, delimiter) for line in lines]
        if not rows:
            break
        count, alike = Counter(len(row) for row in rows).most_common(1)[0]
        cells = [cell for row in rows if len(row) == count for cell in row if cell]
        for decimal in _NUMBERS:
            numbers = sum(_is_value(cell, decimal) for cell in cells)
            score = (round(alike / len(rows) * numbers / max(len(cells), 1), 3), count)
            if score > best_score and numbers:
                best, best_score = (delimiter, decimal, count), score
    return best


def _find_header(
    rows: Sequence[tuple[int, list[str]]], count: int, numeric: Callable[[str], bool]
) -> tuple[int, tuple[str, ...]] | None:
    """Return where the data begin after a header, and the headings; None without a header.

    A header is all words, as many as a row has cells. Of several such lines above the data it is the one with most
    words that are understood. A line of units below it belongs to it.
    """
    best: tuple[bool, int, int] | None = None
    for index, (_, cells) in enumerate(rows):
        if len(cells) != count or not any(cells):
            continue
        if all(map(numeric, cells)):
            break  # here are the data: words further down are a mistake, and no header
        rank = (not _are_units(cells), sum(hear(cell) is not None for cell in cells))
        if not any(map(numeric, cells)) and (best is None or rank > best[:2]):
            best = (*rank, index)
    if best is None:
        return None
    index = best[2]
    place, cells = rows[index]
    below_place, below = rows[index + 1] if index + 1 < len(rows) else (0, [])
    if len(below) == count and _are_units(below):
        units = [cell.strip("()[]{} ") for cell in below]
        return below_place + 1, tuple(f"{cell} {unit}".strip() for cell, unit in zip(cells, units, strict=True))
    return place + 1, tuple(cells)


def _are_units(cells: Sequence[str]) -> bool:
    bare = [cell.strip("()[]{} ") for cell in cells]
    return any(bare) and all(not cell or find_unit(cell) is not None for cell in bare)
