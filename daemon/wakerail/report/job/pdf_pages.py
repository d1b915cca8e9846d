"""The sheets of a PDF: paper, fonts, colours, the foot of each page, and text on them."""

from __future__ import annotations

from pathlib import Path

from fpdf import FPDF, ViewerPreferences
from fpdf.enums import XPos, YPos
from fpdf.fonts import TTFFont

from wakerail.report.job.html import clean
from wakerail.report.job.paper import Paper

Colour = tuple[int, int, int]
INK, SOFT, DEEP = (26, 26, 26), (86, 86, 86), (11, 74, 99)
RULE, PALE, GREY, WHITE = (212, 212, 212), (238, 244, 246), (118, 118, 118), (255, 255, 255)
SANS, MONO = "sans", "mono"
_MARGIN_MM, _BOTTOM_MM = 17.0, 19.0
_LACKING = "\N{WHITE VERTICAL RECTANGLE}"  # in place of a sign that the fonts lack
LACKING_SAID = f"{_LACKING} stands for a sign that the fonts of this PDF lack; the HTML file has it."


class Pages(FPDF):
    """Sheets with a foot on each."""

    def __init__(self, foot: str, paper: Paper) -> None:
        super().__init__(orientation="portrait", unit="mm", format=paper.value)
        self._foot = foot
        import matplotlib as mpl  # noqa: PLC0415  slow to import

        fonts = Path(mpl.get_data_path()) / "fonts" / "ttf"
        self.add_font(SANS, "", fonts / "DejaVuSans.ttf")
        self.add_font(SANS, "B", fonts / "DejaVuSans-Bold.ttf")
        self.add_font(MONO, "", fonts / "DejaVuSansMono.ttf")
        self._known = frozenset(getattr(self.fonts[SANS], "cmap", ()))
        self.set_lang("en")
        self.viewer_preferences = ViewerPreferences(display_doc_title=True)
        self.c_margin = 0.0
        self.set_margins(_MARGIN_MM, _MARGIN_MM, _MARGIN_MM)
        self.set_auto_page_break(auto=True, margin=_BOTTOM_MM)
        self.lacking = False

    def footer(self) -> None:
        """Write the foot of a page."""
        self.set_y(-13)
        self.set_font(SANS, "", 7.5)
        self.set_text_color(*SOFT)
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

    def need(self, height_mm: float) -> None:
        """Begin a page if so much height is not left on this one."""
        if self.left_mm < min(height_mm, self.eph):
            self.add_page()

    def say(
        self,
        text: str,
        size: float,
        style: str = "",
        *,
        colour: Colour = INK,
        line_mm: float | None = None,
        after_mm: float = 0.0,
        indent_mm: float = 0.0,
        width_mm: float | None = None,
    ) -> None:
        """Write a text from the left margin on, in lines as wide as the page or ``width_mm``."""
        self.set_font(SANS, style, size)
        self.set_text_color(*colour)
        self.set_x(self.l_margin + indent_mm)
        height = line_mm or size * 0.5
        width = self.epw - indent_mm if width_mm is None else width_mm
        self.multi_cell(width, height, self.shown(text), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.ln(after_mm)
