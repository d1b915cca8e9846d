"""The report as one HTML file: no scripts, nothing from outside, made to be read, heard and printed."""

from __future__ import annotations

import base64
import unicodedata
from collections.abc import Sequence
from typing import Any

import jinja2
import markupsafe

from wakerail.report.job import blocks
from wakerail.report.job.blocks import Document, Toned
from wakerail.report.job.charts import Chart
from wakerail.report.job.inline_svg import inline_svg
from wakerail.report.job.paper import Paper
from wakerail.report.job.words_of_facts import share_words

_BLOCKS = {
    kind: kind.__name__.lower()
    for kind in (
        blocks.Words,
        blocks.Points,
        blocks.Facts,
        blocks.Grid,
        blocks.Picture,
        blocks.Prints,
        blocks.Branchings,
        blocks.Heading,
    )
}


def html_of(document: Document, charts: Sequence[Chart], paper: Paper) -> str:
    """Return the report as HTML. Whatever a person typed stands in it as text and as nothing else."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("wakerail.report.job", "."),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finalized,
    )
    environment.tests["toned"] = lambda cell: isinstance(cell, Toned)
    environment.filters["kind"] = lambda block: _BLOCKS[type(block)]
    environment.filters["shares"] = share_words
    environment.filters["base64"] = lambda content: base64.b64encode(content).decode()
    drawn = {chart.told.name: chart for chart in charts}

    def svg(picture: blocks.Picture) -> markupsafe.Markup:
        chart = drawn[picture.name]
        inline = inline_svg(chart.svg(), name=picture.name, title=clean(picture.title), says=clean(picture.says))
        return markupsafe.Markup(inline)  # noqa: S704  its texts were escaped when it was put together

    return environment.get_template("report.html.j2").render(document=document, paper=paper, svg=svg)


def clean(text: str) -> str:
    """Return a text as it may stand in a document: signs that control a device, or are none, become U+FFFD."""
    return "".join("\N{REPLACEMENT CHARACTER}" if _is_none(sign) else sign for sign in text)


def _is_none(sign: str) -> bool:
    if sign in "\n\t":
        return False
    return unicodedata.category(sign) in {"Cc", "Cs"} or ord(sign) & 0xFFFE == 0xFFFE or 0xFDD0 <= ord(sign) <= 0xFDEF


def _finalized(value: Any) -> Any:
    return clean(value) if isinstance(value, str) and not isinstance(value, markupsafe.Markup) else value
