"""The report as a PDF: real text in fonts that are embedded, the same blocks as the HTML, and page breaks that part
nothing that belongs together.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from wakerail.report.job.blocks import (
    Block,
    Branchings,
    Document,
    Facts,
    Grid,
    Heading,
    Picture,
    Points,
    Print,
    Prints,
    Section,
    Toned,
    Words,
)
from wakerail.report.job.charts import Chart
from wakerail.report.job.html import clean
from wakerail.report.job.paper import Paper
from wakerail.report.job.pdf_pages import DEEP, INK, LACKING_SAID, SANS, SOFT, Pages
from wakerail.report.job.pdf_tables import TONES, Tables
from wakerail.report.job.pdf_tree import Tree

_GAP_MM, _HIGHEST_PRINT_MM, _SCREEN_DPI = 6.0, 80.0, 96
_RIGHT_TO_LEFT = {"R", "AL"}


def pdf_of(document: Document, charts: Sequence[Chart], paper: Paper, made: datetime) -> bytes:
    """Return the report as a PDF. The same report gives the same bytes."""
    pages = Pages(document.foot, paper)
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


class _Layout:
    """Lays blocks on pages."""

    def __init__(self, pages: Pages, charts: dict[str, Chart]) -> None:
        self.pages, self.charts, self._tables = pages, charts, Tables(pages)
        self._lay: dict[type, Callable[[Any], None]] = {
            Words: self._words,
            Points: self._points,
            Facts: self._tables.facts,
            Grid: self._tables.grid,
            Picture: self._picture,
            Prints: self._prints,
            Branchings: Tree(pages).lay,
            Heading: self._heading,
        }

    def lay(self, document: Document) -> None:
        """Lay the whole document."""
        pages = self.pages
        if any(unicodedata.bidirectional(sign) in _RIGHT_TO_LEFT for text in _texts(document) for sign in text):
            pages.set_text_shaping(True)
        pages.add_page()
        self._status(document.status)
        self.pages.say(document.title, 19, "B", width_mm=pages.epw - 46, line_mm=8)
        self.pages.say(document.subtitle, 10.5, colour=SOFT, after_mm=3)
        self._tables.facts(Facts(document.head))
        for section in document.sections:
            self._section(section)
        if pages.lacking:
            self.pages.say(LACKING_SAID, 8, colour=SOFT)

    def _section(self, section: Section) -> None:
        pages = self.pages
        first = section.blocks[0]
        second = section.blocks[1] if len(section.blocks) > 1 else None
        needed = 14 + self._least_mm(first)
        if isinstance(first, Words | Heading) and second is not None:
            needed += min(self._least_mm(second), 60)
        self.pages.need(needed)
        pages.ln(4)
        pages.set_draw_color(*DEEP)
        pages.set_line_width(0.5)
        pages.line(pages.l_margin, pages.y, pages.l_margin + pages.epw, pages.y)
        pages.ln(2)
        pages.start_section(pages.shown(section.title))
        self.pages.say(section.title, 13, "B", colour=DEEP, line_mm=6, after_mm=2)
        for place, block in enumerate(section.blocks):
            following = section.blocks[place + 1] if place + 1 < len(section.blocks) else None
            if isinstance(block, Heading) and following is not None:
                self.pages.need(10 + self._least_mm(following))
            else:
                self.pages.need(self._least_mm(block))
            self._lay[type(block)](block)

    def _least_mm(self, block: Block) -> float:
        """Return the height without which a block is not begun on a page."""
        match block:
            case Picture():
                return self._height_mm(block) + 16
            case Prints(prints=prints):
                return max(self._print_mm(photo)[1] for photo in prints[:2]) + 16
            case Grid(rows=rows):
                return 14 + 7 * min(len(rows), 3)
            case Facts():
                return 20
            case Branchings():
                return 50
            case _:
                return 12

    def _status(self, status: Toned) -> None:
        pages = self.pages
        colour, _ = TONES[status.tone]
        pages.set_font(SANS, "B", 9.5)
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
            self.pages.say(words.text, 11, line_mm=5.8, after_mm=2)
        else:
            self.pages.say(words.text, 8.5 if words.quiet else 9.5, colour=SOFT if words.quiet else INK, after_mm=2)

    def _heading(self, heading: Heading) -> None:
        self.pages.ln(2)
        self.pages.say(heading.text, 10, "B", after_mm=1)

    def _points(self, points: Points) -> None:
        pages = self.pages
        for item in points.items:
            self.pages.need(12)
            pages.set_font(SANS, "", 9.5)
            pages.set_text_color(*INK)
            y = pages.y
            pages.cell(5, 4.8, "\N{BULLET}")
            pages.set_xy(pages.l_margin, y)
            self.pages.say(item, 9.5, indent_mm=5, after_mm=0.8)

    def _height_mm(self, picture: Picture) -> float:
        width_in, height_in = self.charts[picture.name].size_in
        return self.pages.epw * height_in / width_in

    def _picture(self, picture: Picture) -> None:
        pages = self.pages
        chart = self.charts[picture.name]
        image = io.BytesIO(chart.png())
        pages.image(image, x=pages.l_margin, w=pages.epw, alt_text=clean(f"{picture.title}. {picture.says}"))
        self.pages.say(f"{picture.title}.", 8.5, "B")
        self.pages.say(picture.says, 8.5, colour=SOFT, after_mm=4)

    def _prints(self, block: Prints) -> None:
        for first in range(0, len(block.prints), 2):
            two = block.prints[first : first + 2]
            self._row_of_prints(two)
            for photo in two:
                self.pages.say(f"{photo.title}. {photo.says}", 8.5)
                self.pages.say(photo.where, 7.5, colour=SOFT, after_mm=1)
            self.pages.ln(3)

    def _row_of_prints(self, two: Sequence[Print]) -> None:
        pages = self.pages
        height_mm = max(self._print_mm(photo)[1] for photo in two)
        pages.need(height_mm + 16)
        top = pages.y
        for place, photo in enumerate(two):
            width, height = self._print_mm(photo)
            left = pages.l_margin + place * (pages.epw + _GAP_MM) / 2
            alt_text = clean(f"{photo.title}: {photo.says}")
            pages.image(io.BytesIO(photo.jpeg), x=left, y=top, w=width, h=height, alt_text=alt_text)
            pages.set_xy(left, top + height_mm + 0.8)
            pages.set_font(SANS, "B", 8.5)
            pages.set_text_color(*INK)
            pages.cell(width, 4.5, photo.title)
        pages.set_xy(pages.l_margin, top + height_mm + 6.5)

    def _print_mm(self, photo: Print) -> tuple[float, float]:
        """Return the width and height of a photo: half a page wide, unless it is high, or small on a screen, too."""
        most_mm = (self.pages.epw - _GAP_MM) / 2
        a_pixel_mm = min(most_mm / photo.width_px, _HIGHEST_PRINT_MM / photo.height_px, 25.4 / _SCREEN_DPI)
        return photo.width_px * a_pixel_mm, photo.height_px * a_pixel_mm


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
