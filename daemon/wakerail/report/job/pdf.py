"""The report as a PDF: real text in fonts that are embedded, the same blocks as the HTML, and page breaks that part
nothing that belongs together.
"""

from __future__ import annotations

import io
import itertools
import textwrap
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from fpdf import FPDF, FontFace, ViewerPreferences
from fpdf.enums import MethodReturnValue, TableBordersLayout, XPos, YPos
from fpdf.fonts import TTFFont

from wakerail.report.job.blocks import (
    Block,
    Branching,
    Branchings,
    Cell,
    Document,
    Facts,
    Grid,
    Heading,
    Picture,
    Points,
    Section,
    Shares,
    Tone,
    Toned,
    Words,
)
from wakerail.report.job.charts import Chart
from wakerail.report.job.document import share_words
from wakerail.report.job.html import clean
from wakerail.report.job.paper import Paper

_INK, _SOFT, _DEEP = (26, 26, 26), (86, 86, 86), (11, 74, 99)
_RULE, _PALE, _GREY, _WHITE = (212, 212, 212), (238, 244, 246), (118, 118, 118), (255, 255, 255)
_TONES: dict[Tone, tuple[tuple[int, int, int], str]] = {
    Tone.GOOD: ((11, 93, 59), "B"),
    Tone.BAD: ((163, 42, 0), "B"),
    Tone.OPEN: ((90, 67, 0), "B"),
    Tone.QUIET: (_SOFT, ""),
    Tone.CODE: (_INK, ""),
}
_MARGIN_MM, _BOTTOM_MM = 17.0, 19.0
_SANS, _MONO = "sans", "mono"
_WIDEST_MM, _MOST_LINES = 3.2, 40  # the widest letter of a table; lines that always fit on a page
_MOST_LETTERS = 700  # of a step of the isolation, which is never parted
_LACKING = "\N{WHITE VERTICAL RECTANGLE}"  # in place of a sign that the fonts lack
_LACKING_SAID = f"{_LACKING} stands for a sign that the fonts of this PDF lack; the HTML file has it."
_RIGHT_TO_LEFT = {"R", "AL"}


def pdf_of(document: Document, charts: Sequence[Chart], paper: Paper, made: datetime) -> bytes:
    """Return the report as a PDF. The same report gives the same bytes."""
    pages = _Pages(document.foot, paper)
    pages.set_title(clean(document.title))
    pages.set_subject(clean(document.subtitle))
    pages.set_creator("Wakerail")
    pages.set_creation_date(made)
    layout = _Layout(pages, {chart.told.name: chart for chart in charts})
    layout.lay(document)
    try:
        return bytes(pages.output())
    finally:
        pages.let_go()


class _Pages(FPDF):
    """Sheets with a foot on each."""

    def __init__(self, foot: str, paper: Paper) -> None:
        super().__init__(orientation="portrait", unit="mm", format=paper.value)
        self._foot = foot
        import matplotlib as mpl  # noqa: PLC0415  slow to import

        fonts = Path(mpl.get_data_path()) / "fonts" / "ttf"
        self.add_font(_SANS, "", fonts / "DejaVuSans.ttf")
        self.add_font(_SANS, "B", fonts / "DejaVuSans-Bold.ttf")
        self.add_font(_MONO, "", fonts / "DejaVuSansMono.ttf")
        self._known = frozenset(getattr(self.fonts[_SANS], "cmap", ()))
        self.set_lang("en")
        self.viewer_preferences = ViewerPreferences(display_doc_title=True)
        self.c_margin = 0.0
        self.set_margins(_MARGIN_MM, _MARGIN_MM, _MARGIN_MM)
        self.set_auto_page_break(auto=True, margin=_BOTTOM_MM)
        self.lacking = False

    def footer(self) -> None:
        """Write the foot of a page."""
        self.set_y(-13)
        self.set_font(_SANS, "", 7.5)
        self.set_text_color(*_SOFT)
        self.cell(self.epw * 0.8, 5, self.shown(self._foot))
        self.cell(self.epw * 0.2, 5, f"{self.page_no()} / {{nb}}", align="R")

    def shown(self, text: str) -> str:
        """Return a text as these fonts can show it."""
        signs = [
            sign if sign == "\n" or ord(sign) in self._known else _LACKING for sign in clean(text).replace("\t", " ")
        ]
        self.lacking = self.lacking or _LACKING in signs
        return "".join(signs)

    def let_go(self) -> None:
        """Close the files of the fonts, which the library leaves open."""
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()

    @property
    def left_mm(self) -> float:
        """The height that is left on this page."""
        return float(self.page_break_trigger - self.y)


class _Layout:
    """Lays blocks on pages."""

    def __init__(self, pages: _Pages, charts: dict[str, Chart]) -> None:
        self.pages, self.charts = pages, charts
        self._lay: dict[type, Callable[[Any], None]] = {
            Words: self._words,
            Points: self._points,
            Facts: self._facts,
            Grid: self._grid,
            Picture: self._picture,
            Branchings: self._branchings,
            Heading: self._heading,
        }

    def lay(self, document: Document) -> None:
        """Lay the whole document."""
        pages = self.pages
        if any(unicodedata.bidirectional(sign) in _RIGHT_TO_LEFT for text in _texts(document) for sign in text):
            pages.set_text_shaping(True)
        pages.add_page()
        self._status(document.status)
        self._text(document.title, 19, "B", width_mm=pages.epw - 46, line_mm=8)
        self._text(document.subtitle, 10.5, colour=_SOFT, after_mm=3)
        self._facts(Facts(document.head))
        for section in document.sections:
            self._section(section)
        if pages.lacking:
            self._text(_LACKING_SAID, 8, colour=_SOFT)

    def _section(self, section: Section) -> None:
        pages = self.pages
        first = section.blocks[0]
        second = section.blocks[1] if len(section.blocks) > 1 else None
        needed = 14 + self._least_mm(first)
        if isinstance(first, Words | Heading) and second is not None:
            needed += min(self._least_mm(second), 60)
        self._room(needed)
        pages.ln(4)
        pages.set_draw_color(*_DEEP)
        pages.set_line_width(0.5)
        pages.line(pages.l_margin, pages.y, pages.l_margin + pages.epw, pages.y)
        pages.ln(2)
        pages.start_section(pages.shown(section.title))
        self._text(section.title, 13, "B", colour=_DEEP, line_mm=6, after_mm=2)
        for place, block in enumerate(section.blocks):
            following = section.blocks[place + 1] if place + 1 < len(section.blocks) else None
            if isinstance(block, Heading) and following is not None:
                self._room(10 + self._least_mm(following))
            else:
                self._room(self._least_mm(block))
            self._lay[type(block)](block)

    def _least_mm(self, block: Block) -> float:
        """Return the height without which a block is not begun on a page."""
        match block:
            case Picture():
                return self._height_mm(block) + 16
            case Grid(rows=rows):
                return 14 + 7 * min(len(rows), 3)
            case Facts():
                return 20
            case Branchings():
                return 50
            case _:
                return 12

    def _room(self, needed_mm: float) -> None:
        if self.pages.left_mm < min(needed_mm, self.pages.eph):
            self.pages.add_page()

    # --- text ---

    def _text(
        self,
        text: str,
        size: float,
        style: str = "",
        *,
        colour: tuple[int, int, int] = _INK,
        line_mm: float | None = None,
        after_mm: float = 0.0,
        indent_mm: float = 0.0,
        width_mm: float | None = None,
    ) -> None:
        pages = self.pages
        pages.set_font(_SANS, style, size)
        pages.set_text_color(*colour)
        pages.set_x(pages.l_margin + indent_mm)
        height = line_mm or size * 0.5
        width = pages.epw - indent_mm if width_mm is None else width_mm
        pages.multi_cell(width, height, pages.shown(text), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        pages.ln(after_mm)

    def _status(self, status: Toned) -> None:
        pages = self.pages
        colour, _ = _TONES[status.tone]
        pages.set_font(_SANS, "B", 9.5)
        text = pages.shown(status.text)
        width = pages.get_string_width(text) + 8
        x, y = pages.l_margin + pages.epw - width, pages.t_margin
        pages.set_draw_color(*colour)
        pages.set_line_width(0.5)
        pages.rect(x, y, width, 8, round_corners=True, corner_radius=4)
        pages.set_text_color(*colour)
        pages.set_xy(x, y)
        pages.cell(width, 8, text, align="C")
        pages.set_xy(pages.l_margin, pages.t_margin)

    def _words(self, words: Words) -> None:
        if words.lead:
            self._text(words.text, 11, line_mm=5.8, after_mm=2)
        else:
            self._text(words.text, 8.5 if words.quiet else 9.5, colour=_SOFT if words.quiet else _INK, after_mm=2)

    def _heading(self, heading: Heading) -> None:
        self.pages.ln(2)
        self._text(heading.text, 10, "B", after_mm=1)

    def _points(self, points: Points) -> None:
        pages = self.pages
        for item in points.items:
            self._room(12)
            pages.set_font(_SANS, "", 9.5)
            pages.set_text_color(*_INK)
            y = pages.y
            pages.cell(5, 4.8, "\N{BULLET}")
            pages.set_xy(pages.l_margin, y)
            self._text(item, 9.5, indent_mm=5, after_mm=0.8)

    # --- tables ---

    def _facts(self, facts: Facts) -> None:
        rows = [(Toned(name, Tone.QUIET), said) for name, said in facts.rows]
        self._table(rows, (24, 76), frozenset())
        self.pages.ln(2)

    def _grid(self, grid: Grid) -> None:
        self._text(grid.caption, 9.5, "B", after_mm=1)
        self._table(grid.rows, grid.widths, grid.numbers, grid.heads)
        self.pages.ln(3)

    def _table(
        self,
        rows: Iterable[Sequence[Cell]],
        widths: Sequence[float],
        numbers: frozenset[int],
        heads: Sequence[str] = (),
    ) -> None:
        pages = self.pages
        pages.set_font(_SANS, "", 8.5)
        pages.set_text_color(*_INK)
        pages.set_draw_color(*_RULE)
        pages.set_fill_color(*_WHITE)
        pages.set_line_width(0.2)
        align = tuple("RIGHT" if column in numbers else "LEFT" for column in range(len(widths)))
        with pages.table(
            col_widths=tuple(widths),
            text_align=align,
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            first_row_as_headings=bool(heads),
            headings_style=FontFace(emphasis="", color=_SOFT, size_pt=8),
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
            letters = max(int(self.pages.epw * width / sum(widths) / _WIDEST_MM), 1)
            tone = None if isinstance(said, str) else said.tone
            texts = _pieces(said if isinstance(said, str) else said.text, letters)
            columns.append([text if tone is None else Toned(text, tone) for text in texts])
        return [list(row) for row in itertools.zip_longest(*columns, fillvalue="")]

    def _cell(self, row: Any, said: Cell) -> None:
        if isinstance(said, str):
            row.cell(self.pages.shown(said))
            return
        colour, emphasis = _TONES[said.tone]
        code = said.tone is Tone.CODE
        face = FontFace(family=_MONO if code else _SANS, emphasis=emphasis, color=colour, size_pt=6.8 if code else None)
        row.cell(self.pages.shown(said.text), style=face)

    # --- pictures ---

    def _height_mm(self, picture: Picture) -> float:
        width_in, height_in = self.charts[picture.name].size_in
        return self.pages.epw * height_in / width_in

    def _picture(self, picture: Picture) -> None:
        pages = self.pages
        chart = self.charts[picture.name]
        image = io.BytesIO(chart.png())
        pages.image(image, x=pages.l_margin, w=pages.epw, alt_text=clean(f"{picture.title}. {picture.says}"))
        self._text(f"{picture.title}.", 8.5, "B")
        self._text(picture.says, 8.5, colour=_SOFT, after_mm=4)

    # --- the isolation ---

    def _branchings(self, tree: Branchings) -> None:
        pages = self.pages
        if tree.root is not None:
            height = self._shares_mm(tree.root)
            self._room(height + 4)
            top = pages.y
            self._stem(top, height + 4)
            self._shares(tree.root, pages.l_margin + 7, top, (pages.epw - 12) / 2, taken=True)
            pages.set_y(top + height + 4)
        for step in tree.steps:
            self._branching(step, last=step is tree.steps[-1])
        pages.ln(3)

    def _branching(self, step: Branching, *, last: bool) -> None:
        pages = self.pages
        ways = [way for way in (step.taken, step.other) if way is not None]
        box = max(map(self._shares_mm, ways), default=0.0)
        lines = [f"Advised: {step.tried}"] if step.tried else []
        lines.append(f"Seen: {step.seen} ({step.where})")
        lines = [textwrap.shorten(line, _MOST_LETTERS, placeholder=" ...") for line in lines]
        text_mm = sum(self._lines(line) for line in lines) * 4.4
        height = 6 + text_mm + 2 + box + 5
        self._room(height)
        top = pages.y
        self._stem(top, 3 if last else height)
        self._text(step.title, 10, "B", indent_mm=7, line_mm=6)
        for line in lines:
            self._text(line, 9, indent_mm=7, line_mm=4.4)
        y = pages.y + 2
        width = (pages.epw - 7 - 5) / 2
        for place, way in enumerate(ways):
            x = pages.l_margin + 7 + place * (width + 5)
            self._shares(way, x, y, width, taken=way is step.taken)
        pages.set_xy(pages.l_margin, top + height)

    def _stem(self, top: float, height: float) -> None:
        pages = self.pages
        pages.set_draw_color(*_DEEP)
        pages.set_line_width(0.5)
        pages.line(pages.l_margin + 2, top, pages.l_margin + 2, top + height)
        pages.set_fill_color(*_DEEP)
        pages.ellipse(pages.l_margin + 0.4, top + 1.1, 3.2, 3.2, style="F")

    def _lines(self, text: str) -> int:
        pages = self.pages
        pages.set_font(_SANS, "", 9)
        shown = pages.shown(text)
        found = pages.multi_cell(pages.epw - 7, 4.4, shown, align="L", dry_run=True, output=MethodReturnValue.LINES)
        return len(found)  # type: ignore[arg-type]

    def _shares_mm(self, shares: Shares) -> float:
        return 4.0 + 4.2 * self._title_lines(shares) + 6.0 * len(shares.rows)

    def _title_lines(self, shares: Shares) -> int:
        pages = self.pages
        pages.set_font(_SANS, "B", 8)
        width = (pages.epw - 12) / 2 - 6
        found = pages.multi_cell(
            width, 4.2, pages.shown(shares.title), align="L", dry_run=True, output=MethodReturnValue.LINES
        )
        return len(found)  # type: ignore[arg-type]

    def _shares(self, shares: Shares, x: float, y: float, width: float, *, taken: bool) -> None:
        pages = self.pages
        height = self._shares_mm(shares)
        pages.set_line_width(0.4)
        if taken:
            pages.set_draw_color(*_DEEP)
            pages.set_fill_color(*_PALE)
        else:
            pages.set_draw_color(*_GREY)
            pages.set_fill_color(*_WHITE)
            pages.set_dash_pattern(dash=1.2, gap=0.9)
        pages.rect(x, y, width, height, style="DF")
        pages.set_dash_pattern()
        inner = width - 6
        pages.set_font(_SANS, "B", 8)
        pages.set_text_color(*_INK)
        pages.set_xy(x + 3, y + 1.6)
        pages.multi_cell(inner, 4.2, pages.shown(shares.title), align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)
        at = pages.y
        pages.set_font(_SANS, "", 8)
        for name, percent, share in share_words(shares.rows):
            pages.set_xy(x + 3, at)
            pages.cell(inner - 12, 4, self._fitting(name, inner - 12))
            pages.cell(12, 4, percent, align="R")
            pages.set_fill_color(217, 223, 226)
            pages.rect(x + 3, at + 4, inner, 1.0, style="F")
            pages.set_fill_color(*(_DEEP if taken else _GREY))
            pages.rect(x + 3, at + 4, max(inner * min(share, 1.0), 0.2), 1.0, style="F")
            at += 6.0

    def _fitting(self, text: str, width: float) -> str:
        pages = self.pages
        shown = pages.shown(text)
        if pages.get_string_width(shown) <= width:
            return shown
        while shown and pages.get_string_width(shown + " ...") > width:
            shown = shown[:-1]
        return shown + " ..."


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


def _texts(document: Document) -> list[str]:
    """Return every text of a document."""
    found: list[str] = []

    def gather(value: object) -> None:
        if isinstance(value, str):
            found.append(value)
        elif isinstance(value, tuple | list):
            for one in value:
                gather(one)
        elif hasattr(value, "__slots__"):
            for name in value.__slots__:
                gather(getattr(value, name))

    gather(document)
    return found
