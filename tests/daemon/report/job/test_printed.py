"""The report as it is printed: HTML that is well-formed and stands by itself, and a PDF with real text."""

from __future__ import annotations

import io
import itertools
import re
import shutil
import subprocess
from datetime import UTC
from html.parser import HTMLParser

import pypdf
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wakerail.jobs import Job, NoteKept
from wakerail.report.job.document import document_of
from wakerail.report.job.html import clean, html_of
from wakerail.report.job.inline_svg import inline_svg
from wakerail.report.job.job_report import report_of
from wakerail.report.job.material import Material
from wakerail.report.job.paper import Paper
from wakerail.report.job.pdf import pdf_of
from wakerail_kit.job_events import Intake, JobNoted, JobStage

from .conftest import MADE

VOID = {"meta", "col"}
OURS = {"html", "head", "meta", "title", "style", "body", "header", "main", "footer", "section", "div", "span", "p"}
OURS |= {"h1", "h2", "dl", "dt", "dd", "ul", "li"}
OURS |= {"table", "caption", "colgroup", "col", "thead", "tbody", "tr", "th", "td"}
#: Texts that have broken other pages: markup, entities, controls, very long words, right-to-left, combining signs.
NASTY = "<script>alert(1)</script> & \"'> {{ 7 }} \x00\x1b[31m\u202eabc " + "W" * 300 + " שלום عربي e\u0301 🔋"


class Page(HTMLParser):
    """Reads a page strictly: every element that is begun is ended, in its order."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[tuple[str, str]] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names))
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.texts.append((self.open[-1] if self.open else "", data))

    def of(self, *tags):
        return [attributes for tag, attributes in self.elements if tag in tags]

    @property
    def said(self):
        return "".join(data for tag, data in self.texts if tag != "style")


@pytest.fixture(scope="module")
def printed(whole):
    report, charts, _ = whole
    return html_of(document_of(report, UTC), charts, Paper.A4)


@pytest.fixture(scope="module")
def page(printed):
    return Page(printed)


@pytest.fixture(scope="module")
def pdf(whole):
    report, charts, _ = whole
    return pypdf.PdfReader(io.BytesIO(pdf_of(document_of(report, UTC), charts, Paper.A4, MADE)))


def test_the_page_is_well_formed_and_its_identities_are_its_own(page):
    identities = [attributes["id"] for _, attributes in page.elements if attributes.get("id")]
    assert len(identities) == len(set(identities))
    referred = {name for _, one in page.elements for name in (one.get("aria-labelledby") or "").split()}
    referred |= {(one.get("href") or "").removeprefix("#") for one in page.of("use")}
    assert referred - {""} <= set(identities)


def test_headings_go_in_order_and_landmarks_are_there(page):
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= before + 1 for before, later in itertools.pairwise(levels))
    assert [len(page.of(tag)) for tag in ("header", "main", "footer")] == [1, 1, 1]
    assert page.of("html") == [{"lang": "en"}]


def test_charts_say_what_they_show_and_tables_what_they_hold(page):
    assert len(page.of("figure")) == len(page.of("svg")) == len(page.of("desc")) == 3
    told = [data for tag, data in page.texts if tag == "desc"]
    assert all(len(re.findall(r"\d", says)) > 5 for says in told)  # numbers, not 'a chart'
    assert len(page.of("caption")) == len(page.of("table")) > 5
    assert {one.get("scope") for one in page.of("th")} == {"col", "row"}


def test_the_page_stands_by_itself(printed, page):
    assert re.findall(r"https?:|//[a-z]|@import|url\((?!#)", printed) == []
    assert page.of("script", "link", "img", "iframe", "object", "form") == []
    assert all(not name.startswith("on") and name != "src" for _, one in page.elements for name in one)


def test_text_and_ground_are_far_enough_apart(printed):
    """WCAG 2.2, success criterion 1.4.3: a contrast of 4.5 to 1 at least, on white and on the pale ground."""
    style = printed[: printed.index("</style>")]
    named = dict(re.findall(r"--(\w+): (#\w+)", style))
    colours = {named.get(name, name) for name in re.findall(r"[ {;]color: (?:var\(--(\w+)\)|#\w+)", style)} - {""}
    colours |= set(re.findall(r"[ {;]color: (#\w{6})", style))
    colours |= set(re.findall(r"<text style=\"[^\"]*fill: (#\w{6})", printed))
    assert len(colours) >= 6
    for colour in colours:
        for ground in ("#ffffff",) if colour.lower() == "#767676" else ("#ffffff", named["pale"]):
            assert contrast(colour, ground) >= 4.5, (colour, ground)


def contrast(one, other):
    light = sorted((luminance(one), luminance(other)))
    return (light[1] + 0.05) / (light[0] + 0.05)


def luminance(colour):
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_the_same_report_gives_the_same_files():
    one, other = (
        (html_of(document, [], Paper.A4), pdf_of(document, [], Paper.A4, MADE))
        for document in (document_of(report_with("x"), UTC), document_of(report_with("x"), UTC))
    )
    assert one == other


def test_the_pdf_has_title_language_and_outline(pdf):
    assert pdf.metadata.title == "Report on job T-114"
    assert pdf.trailer["/Root"]["/Lang"] == "en"
    assert [one.title for one in pdf.outline][:3] == ["What was brought in", "What was found", "What was done"]


@pytest.mark.parametrize(("paper", "size_pt"), [(Paper.A4, (595.28, 841.89)), (Paper.LETTER, (612.0, 792.0))])
def test_the_paper_is_the_one_that_was_asked_for(paper, size_pt):
    document = document_of(report_with("x"), UTC)
    sheet = pypdf.PdfReader(io.BytesIO(pdf_of(document, [], paper, MADE))).pages[0]
    assert tuple(map(float, sheet.mediabox[2:])) == pytest.approx(size_pt, abs=0.1)
    assert f"size: {paper}" in html_of(document, [], paper)


def test_the_text_of_the_pdf_is_that_of_the_page(pdf, whole):
    report, _, _ = whole
    text = "".join("".join(page.extract_text().split()) for page in pdf.pages)
    wanted = [*report.found_for_customer, *report.cautions, report.isolation.ended.says]
    wanted += (
        [run.run for run in report.runs]
        + [run.verdict.id for run in report.runs]
        + [chart.says for chart in report.charts]
    )
    assert [says for says in wanted if "".join(says.split()) not in text] == []


def test_the_fonts_of_the_pdf_are_in_it(pdf):
    fonts = [font.get_object() for page in pdf.pages for font in page["/Resources"]["/Font"].values()]
    assert fonts
    for font in fonts:
        assert "/FontFile2" in font["/DescendantFonts"][0].get_object()["/FontDescriptor"]


typed = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)


@settings(max_examples=25)
@given(typed)
@example(NASTY)
def test_whatever_a_person_typed_stands_there_as_that_text_and_nothing_else(text):
    page = Page(html_of(document_of(report_with(text), UTC), [], Paper.A4))
    assert {tag for tag, _ in page.elements} <= OURS
    told = clean(text).replace("\r", "\n")
    assert page.said.count(told) >= 6  # the intake's five, and a note


@pytest.mark.parametrize("text", [NASTY, "W" * 3000 + "\n" * 90])
def test_whatever_a_person_typed_can_be_laid_out(text):
    made = pypdf.PdfReader(io.BytesIO(pdf_of(document_of(report_with(text), UTC), [], Paper.LETTER, MADE)))
    said = "".join(page.extract_text() for page in made.pages)
    assert "What was brought in" in said
    assert ("the fonts of this PDF lack" in said) == ("🔋" in text)


def test_a_charts_words_are_no_markup_either():
    drawn = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><g id="a"><text>1</text></g></svg>'
    svg = inline_svg(drawn, name="boot-1", title="</title><script>", says="a & b")
    page = Page(svg)
    assert [tag for tag, _ in page.elements] == ["svg", "title", "desc", "g", "text"]
    assert ("title", "</title><script>") in page.texts
    assert page.of("g") == [{"id": "boot-1-a"}]


def report_with(text):
    intake = Intake(symptom=text, serial=text, exposure=text, condition=text, keep=text, words=text)
    note = JobNoted(job="j", stage=JobStage.TRIAGE, text=text)
    kept = (NoteKept("2026-11-27T09:00:00Z", "bench-1", 2, note),)
    job = Job("j", "f", intake, "2026-11-27T08:00:00Z", "bench-1", kept=kept)
    return report_of(Material(job), plan=None, device="", charts=[], made=MADE, software_version="0")


@pytest.mark.needs("chromium")
def test_a_browser_prints_it(printed, tmp_path):
    """It is printed on A4 with its text and with numbered pages."""
    (tmp_path / "report.html").write_text(printed, encoding="utf-8")
    browser = ["--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path}/profile"]
    file = tmp_path / "printed.pdf"
    program = shutil.which("chromium")
    command = [program, *browser, "--no-pdf-header-footer", f"--print-to-pdf={file}", str(tmp_path / "report.html")]
    subprocess.run(command, check=True, capture_output=True, timeout=55)
    pages = pypdf.PdfReader(file).pages
    assert tuple(map(float, pages[0].mediabox[2:])) == pytest.approx((595.28, 841.89), abs=1.0)
    text = "".join("".join(page.extract_text().split()) for page in pages)
    assert "Reportonjob" in text.replace("T-114", "")
    assert f"1/{len(pages)}" in text  # the pages are numbered
