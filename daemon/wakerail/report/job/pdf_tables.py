"""Facts and tables on the pages of a PDF; a text of any length is parted so that every row fits on a page."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from typing import Any

from fpdf import FontFace
from fpdf.enums import TableBordersLayout

from wakerail.report.job.blocks import Cell, Facts, Grid, Tone, Toned
from wakerail.report.job.pdf_pages import INK, MONO, RULE, SANS, SOFT, WHITE, Colour, Pages

#: The colour and the weight of each tone.
TONES: dict[Tone, tuple[Colour, str]] = {
    Tone.GOOD: ((11, 93, 59), "B"),
    Tone.BAD: ((163, 42, 0), "B"),
    Tone.OPEN: ((90, 67, 0), "B"),
    Tone.QUIET: (SOFT, ""),
    Tone.CODE: (INK, ""),
}
_WIDEST_MM, _MOST_LINES = 3.2, 40  # the widest letter of a table; lines that always fit on a page


class Tables:
    """Lays tables on pages."""

    def __init__(self, pages: Pages) -> None:
        self._pages = pages

    def facts(self, facts: Facts) -> None:
        """Lay names with what they stand for."""
        rows = [(Toned(name, Tone.QUIET), said) for name, said in facts.rows]
        self._table(rows, (24, 76), frozenset())
        self._pages.ln(2)

    def grid(self, grid: Grid) -> None:
        """Lay a table with its caption; its heads come again on each page."""
        self._pages.say(grid.caption, 9.5, "B", after_mm=1)
        self._table(grid.rows, grid.widths, grid.numbers, grid.heads)
        self._pages.ln(3)

    def _table(
        self,
        rows: Iterable[Sequence[Cell]],
        widths: Sequence[float],
        numbers: frozenset[int],
        heads: Sequence[str] = (),
    ) -> None:
        pages = self._pages
        pages.set_font(SANS, "", 8.5)
        pages.set_text_color(*INK)
        pages.set_draw_color(*RULE)
        pages.set_fill_color(*WHITE)
        pages.set_line_width(0.2)
        align = tuple("RIGHT" if column in numbers else "LEFT" for column in range(len(widths)))
        with pages.table(
            col_widths=tuple(widths),
            text_align=align,
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            first_row_as_headings=bool(heads),
            headings_style=FontFace(emphasis="", color=SOFT, size_pt=8),
            line_height=4.3,
            padding=(1.1, 2, 1.1, 0),
            v_align="TOP",
        ) as table:
            if heads:
                row = table.row()
                for head in heads:
                    row.cell(pages.shown(head))
            for whole in rows:
                for cells in self._parted(whole, widths):
                    row = table.row()
                    for said in cells:
                        self._cell(row, said)

    def _parted(self, cells: Sequence[Cell], widths: Sequence[float]) -> list[list[Cell]]:
        """Return a row as so many that each fits on a page, however long a text in it is."""
        columns = []
        for said, width in zip(cells, widths, strict=True):
            letters = max(int(self._pages.epw * width / sum(widths) / _WIDEST_MM), 1)
            tone = None if isinstance(said, str) else said.tone
            texts = _pieces(said if isinstance(said, str) else said.text, letters)
            columns.append([text if tone is None else Toned(text, tone) for text in texts])
        return [list(row) for row in itertools.zip_longest(*columns, fillvalue="")]

    def _cell(self, row: Any, said: Cell) -> None:
        if isinstance(said, str):
            row.cell(self._pages.shown(said))
            return
        colour, emphasis = TONES[said.tone]
        code = said.tone is Tone.CODE
        face = FontFace(family=MONO if code else SANS, emphasis=emphasis, color=colour, size_pt=6.8 if code else None)
        row.cell(self._pages.shown(said.text), style=face)


def _pieces(text: str, letters: int) -> list[str]:
    """Return a text in pieces of at most so many lines as fit on a page, with so many letters in a line."""
    most = _MOST_LINES * letters
    pieces, room = [""], most
    for line in text.splitlines(keepends=True):
        for begin in range(0, len(line), most):
            part = line[begin : begin + most]
            needed = -(-len(part) // letters) * letters
            if needed > room:
                pieces.append("")
                room = most
            pieces[-1] += part
            room -= needed
    return pieces
