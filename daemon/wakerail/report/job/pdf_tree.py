"""The isolation as a tree on the pages of a PDF: what was seen in full boxes, the ways not taken in dashed ones."""

from __future__ import annotations

import textwrap

from fpdf.enums import MethodReturnValue, XPos, YPos

from wakerail.report.job.blocks import Branching, Branchings, Shares
from wakerail.report.job.pdf_pages import DEEP, GREY, INK, PALE, SANS, WHITE, Pages
from wakerail.report.job.words_of_facts import share_words

_MOST_LETTERS = 700  # of a step, which is never parted


class Tree:
    """Lays the steps of an isolation on pages."""

    def __init__(self, pages: Pages) -> None:
        self._pages = pages

    def lay(self, tree: Branchings) -> None:
        """Lay the root and the steps, each whole on one page."""
        pages = self._pages
        if tree.root is not None:
            height = self._shares_mm(tree.root)
            pages.need(height + 4)
            top = pages.y
            self._stem(top, height + 4)
            self._shares(tree.root, pages.l_margin + 7, top, (pages.epw - 12) / 2, taken=True)
            pages.set_y(top + height + 4)
        for step in tree.steps:
            self._branching(step, last=step is tree.steps[-1])
        pages.ln(3)

    def _branching(self, step: Branching, *, last: bool) -> None:
        pages = self._pages
        ways = [way for way in (step.taken, step.other) if way is not None]
        box = max(map(self._shares_mm, ways), default=0.0)
        lines = [f"Advised: {step.tried}"] if step.tried else []
        lines.append(f"Seen: {step.seen} ({step.where})")
        lines = [textwrap.shorten(line, _MOST_LETTERS, placeholder=" ...") for line in lines]
        text_mm = sum(self._lines(line) for line in lines) * 4.4
        height = 6 + text_mm + 2 + box + 5
        pages.need(height)
        top = pages.y
        self._stem(top, 3 if last else height)
        pages.say(step.title, 10, "B", indent_mm=7, line_mm=6)
        for line in lines:
            pages.say(line, 9, indent_mm=7, line_mm=4.4)
        y = pages.y + 2
        width = (pages.epw - 7 - 5) / 2
        for place, way in enumerate(ways):
            x = pages.l_margin + 7 + place * (width + 5)
            self._shares(way, x, y, width, taken=way is step.taken)
        pages.set_xy(pages.l_margin, top + height)

    def _stem(self, top: float, height: float) -> None:
        pages = self._pages
        pages.set_draw_color(*DEEP)
        pages.set_line_width(0.5)
        pages.line(pages.l_margin + 2, top, pages.l_margin + 2, top + height)
        pages.set_fill_color(*DEEP)
        pages.ellipse(pages.l_margin + 0.4, top + 1.1, 3.2, 3.2, style="F")

    def _lines(self, text: str) -> int:
        pages = self._pages
        pages.set_font(SANS, "", 9)
        shown = pages.shown(text)
        found = pages.multi_cell(pages.epw - 7, 4.4, shown, align="L", dry_run=True, output=MethodReturnValue.LINES)
        return len(found)  # type: ignore[arg-type]

    def _shares_mm(self, shares: Shares) -> float:
        return 4.0 + 4.2 * self._title_lines(shares) + 6.0 * len(shares.rows)

    def _title_lines(self, shares: Shares) -> int:
        pages = self._pages
        pages.set_font(SANS, "B", 8)
        width = (pages.epw - 12) / 2 - 6
        found = pages.multi_cell(
            width, 4.2, pages.shown(shares.title), align="L", dry_run=True, output=MethodReturnValue.LINES
        )
        return len(found)  # type: ignore[arg-type]

    def _shares(self, shares: Shares, x: float, y: float, width: float, *, taken: bool) -> None:
        pages = self._pages
        height = self._shares_mm(shares)
        pages.set_line_width(0.4)
        if taken:
            pages.set_draw_color(*DEEP)
            pages.set_fill_color(*PALE)
        else:
            pages.set_draw_color(*GREY)
            pages.set_fill_color(*WHITE)
            pages.set_dash_pattern(dash=1.2, gap=0.9)
        pages.rect(x, y, width, height, style="DF")
        pages.set_dash_pattern()
        inner = width - 6
        pages.set_font(SANS, "B", 8)
        pages.set_text_color(*INK)
        pages.set_xy(x + 3, y + 1.6)
        pages.multi_cell(inner, 4.2, pages.shown(shares.title), align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)
        at = pages.y
        pages.set_font(SANS, "", 8)
        for name, percent, share in share_words(shares.rows):
            pages.set_xy(x + 3, at)
            pages.cell(inner - 12, 4, self._fitting(name, inner - 12))
            pages.cell(12, 4, percent, align="R")
            pages.set_fill_color(217, 223, 226)
            pages.rect(x + 3, at + 4, inner, 1.0, style="F")
            pages.set_fill_color(*(DEEP if taken else GREY))
            pages.rect(x + 3, at + 4, max(inner * min(share, 1.0), 0.2), 1.0, style="F")
            at += 6.0

    def _fitting(self, text: str, width: float) -> str:
        pages = self._pages
        shown = pages.shown(text)
        if pages.get_string_width(shown) <= width:
            return shown
        while shown and pages.get_string_width(shown + " ...") > width:
            shown = shown[:-1]
        return shown + " ..."
