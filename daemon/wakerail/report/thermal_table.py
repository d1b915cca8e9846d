"""The table of a heat's figures below its picture: value, limit, whether it was kept, and who says so."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from wakerail.analysis.thermal.figures import Figure
from wakerail.report.drawing import GREEN, GREY, INK, VERMILION, text_colour
from wakerail_kit.units import human

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Sheet

_COLUMNS = (0.075, 0.235, 0.325, 0.445, 0.54)  # where each begins, as a share of the sheet
_HEADS = ("figure", "value", "limit", "", "where the limit comes from")
_SOURCE_LETTERS = 62
_SIZE = 8.5
_KEPT = {True: "✔ kept", False: "✘ NOT KEPT", None: "? open"}
_COLOURS = {True: GREEN, False: text_colour(VERMILION), None: INK}


def draw_table(sheet: Sheet, figures: Sequence[Figure], height: float) -> None:
    """Write a row for each figure, and the heads, into the lowest ``height`` of a sheet, a share of its own."""
    step = height / (len(figures) + 1.4)

    def write(place: int, cells: Sequence[tuple[str, dict[str, Any]]]) -> None:
        for left, (text, style) in zip(_COLUMNS, cells, strict=True):
            sheet.text(left, height - step * (place + 0.5), text, size=_SIZE, va="center", **{"color": INK, **style})

    write(0, [(head, {"color": GREY}) for head in _HEADS])
    for place, figure in enumerate(figures, 1):
        write(place, _cells(figure))


def _cells(figure: Figure) -> list[tuple[str, dict[str, Any]]]:
    stress = {"weight": "bold"} if figure.passed is False else {}
    value = "–" if figure.value is None else figure.words
    limit = figure.limit
    if limit is None:
        return [(figure.name, stress), (value, stress), ("", {}), ("", {}), ("", {})]
    source = limit.source if figure.value is not None else f"{figure.says}; {limit.source}"
    return [
        (figure.name, stress),
        (value, stress),
        (_limit_words(figure), {}),
        (_KEPT[figure.passed], {"color": _COLOURS[figure.passed], **stress}),
        (textwrap.shorten(source, _SOURCE_LETTERS, placeholder=" ..."), {"color": GREY}),
    ]


def _limit_words(figure: Figure) -> str:
    low, high = (figure.limit.low, figure.limit.high) if figure.limit else (None, None)
    if low is not None and high is not None:
        return f"{human(low, figure.unit).split(' ')[0]} to {human(high, figure.unit)}"
    if high is not None:
        return f"at most {human(high, figure.unit)}"
    return "" if low is None else f"at least {human(low, figure.unit)}"
