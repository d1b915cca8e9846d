"""Photos in the report: shown small, upright and without what the camera wrote; what cannot be shown is told."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from datetime import UTC

import numpy as np
import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from wakerail.jobs import Job, NoteKept
from wakerail.journal import FileStore
from wakerail.report.job.document import document_of
from wakerail.report.job.html import html_of
from wakerail.report.job.job_report import report_of
from wakerail.report.job.material import Material
from wakerail.report.job.paper import Paper
from wakerail.report.job.pdf import pdf_of
from wakerail.report.job.photos import NotShown, Photo, photos_of, shown
from wakerail_kit.job_events import Intake, JobFileKept, JobStage

from .conftest import MADE

ORIENTATION, GPS, MAKER = 0x0112, 0x8825, 0x010F


def picture(width_px=320, height_px=240, **saved):
    """The bytes of a picture whose left edge is red and whose right edge is blue."""
    across = np.linspace(0, 255, width_px).astype(np.uint8)
    rgb = np.zeros((height_px, width_px, 3), np.uint8)
    rgb[..., 0], rgb[..., 2] = 255 - across, across
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, **{"format": "JPEG", "quality": 90} | saved)
    return out.getvalue()


def opened(photo):
    return Image.open(io.BytesIO(photo.jpeg))


def kept(name, sha256, media_type="image/jpeg", says="the charge port before cleaning"):
    return JobFileKept(
        job="t-1", stage=JobStage.TRIAGE, sha256=sha256, name=name, media_type=media_type, size_bytes=9, says=says
    )


def job_with(*files, bench="bench-1"):
    notes = tuple(NoteKept("2026-11-27T09:00:00Z", bench, 40 + place, one) for place, one in enumerate(files))
    return Job("t-1", "f", Intake(symptom="dead"), "2026-11-27T08:00:00Z", "bench-1", kept=notes)


@pytest.fixture
def store(tmp_path):
    return FileStore(tmp_path / "files")


def told(job, store):
    material = Material(job, photos=photos_of(job, store))
    report = report_of(material, plan=None, device="", charts=[], made=MADE, software_version="0")
    return report, document_of(report, UTC, material.photos)


@pytest.mark.parametrize(("width_px", "height_px"), [(2400, 1600), (900, 3000), (640, 480), (1, 1), (1, 4000)])
def test_a_photo_is_made_no_larger_and_at_most_1400_pixels_long(width_px, height_px):
    small = shown(picture(width_px, height_px))
    assert isinstance(small, Photo)
    assert (small.width_px, small.height_px) == opened(small).size
    assert max(opened(small).size) == min(max(width_px, height_px), 1400)
    if min(small.width_px, small.height_px) > 100:
        assert small.width_px / small.height_px == pytest.approx(width_px / height_px, rel=0.01)


def test_a_photo_stands_upright_and_tells_nothing_of_its_camera():
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKER] = 6, "Velbrook"  # turned by 90 degrees
    exif.get_ifd(GPS)[1] = "N"
    small = shown(picture(320, 240, exif=exif, comment=b"taken by R. Example"))
    with opened(small) as upright:
        assert upright.size == (240, 320)
        red_at_top, blue_at_bottom = upright.getpixel((120, 5)), upright.getpixel((120, 315))
        assert red_at_top[0] > 200 > 60 > red_at_top[2]
        assert blue_at_bottom[2] > 200 > 60 > blue_at_bottom[0]
        assert not upright.getexif()
    for secret in (b"Velbrook", b"R. Example", b"Exif"):
        assert secret not in small.jpeg


@pytest.mark.parametrize("form", ["PNG", "WEBP", "GIF", "BMP", "TIFF"])
def test_every_usual_format_is_shown(form):
    assert isinstance(shown(picture(format=form)), Photo)


def test_what_is_transparent_lies_on_white():
    out = io.BytesIO()
    Image.new("RGBA", (40, 40), (0, 0, 0, 0)).save(out, "PNG")
    with opened(shown(out.getvalue())) as photo:
        assert min(photo.getpixel((20, 20))) > 250


@pytest.mark.parametrize("content", [b"", b"x", b"<svg xmlns='http://www.w3.org/2000/svg'/>", picture()[:700]])
def test_what_is_no_picture_is_told_as_such(content):
    why = shown(content)
    assert isinstance(why, NotShown)
    assert not why.lost
    assert "cannot be read as a picture" in why.why


def test_a_picture_too_large_to_be_opened_is_told(monkeypatch):
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 1000)
    assert shown(picture()) == NotShown("it has more pixels than can be shown here", lost=False)


@settings(max_examples=60)
@given(st.data())
def test_whatever_is_damaged_in_a_picture_breaks_nothing(data):
    whole = bytearray(picture(64, 48, format=data.draw(st.sampled_from(["JPEG", "PNG", "GIF", "TIFF"]))))
    for _ in range(data.draw(st.integers(1, 6))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(whole)))
    assert isinstance(shown(bytes(whole[:cut])), Photo | NotShown)


def test_the_report_shows_photos_with_words_for_those_who_cannot_see_them(store):
    board, port = store.keep(picture(2000, 1500)), store.keep(picture(600, 800))
    log = store.keep(b"a log")
    job = job_with(
        kept("port.jpg", port),
        kept("notes.txt", log, "text/plain", "the meter's log"),
        kept("b<1>.jpg", board, says=""),
    )
    report, document = told(job, store)
    assert [(file.photo, file.not_shown, file.row) for file in report.files] == [
        (1, "", 40),
        (None, "", 41),
        (2, "", 42),
    ]
    html = html_of(document, [], Paper.A4)
    images = re.findall(r'<img src="data:image/jpeg;base64,([^"]+)" width="(\d+)" height="(\d+)" alt="([^"]+)">', html)
    assert [(image[1:]) for image in images] == [
        ("600", "800", "Photo 1: the charge port before cleaning"),
        ("1400", "1050", "Photo 2: What it shows was not said."),
    ]
    for image in images:
        Image.open(io.BytesIO(base64.b64decode(image[0]))).verify()
    for sha256 in (board, port, log):
        assert sha256[:16] in html
    assert "b&lt;1&gt;.jpg" in html
    text = "".join(one.extract_text() for one in pdf_pages(document))
    for says in ("Photo 1", "Photo 2", "journal row 42", board[:16], "photo 2", "no picture"):
        assert says in text


@pytest.mark.parametrize("paper", [Paper.A4, Paper.LETTER])
def test_the_pdf_has_each_photo_once_and_within_its_page(store, paper):
    sizes = [(2000, 1500), (500, 1800), (80, 60), (1, 4000), (3000, 400)]
    job = job_with(*(kept(f"{place}.jpg", store.keep(picture(*size))) for place, size in enumerate(sizes)))
    pages = pdf_pages(told(job, store)[1], paper)
    drawn = []
    for page in pages:
        found = []
        page.extract_text(visitor_operand_before=lambda op, args, cm, tm, found=found: op == b"Do" and found.append(cm))
        for across, _, _, up, left, bottom in found:
            assert left >= 40
            assert left + across <= float(page.mediabox[2]) - 40
            assert bottom >= 40
            assert bottom + up <= float(page.mediabox[3]) - 40
        drawn += found
    assert len(drawn) == len(sizes)


def pdf_pages(document, paper=Paper.A4):
    return pypdf.PdfReader(io.BytesIO(pdf_of(document, [], paper, MADE))).pages


def test_a_lost_or_changed_photo_is_told_and_the_others_are_shown(store):
    there, gone, changed = (store.keep(picture(100 + one, 80)) for one in range(3))
    store.remove(gone)
    (store.folder / changed[:2] / changed).write_bytes(picture())
    job = job_with(kept("gone.jpg", gone), kept("changed.jpg", changed), kept("there.jpg", there))
    report, document = told(job, store)
    assert [(file.photo, file.lost) for file in report.files] == [(None, True), (None, True), (1, False)]
    assert report.files[0].not_shown == f"the file is not in {store.folder}; it was kept on bench-1"
    assert "changed or is damaged" in report.files[1].not_shown
    html = html_of(document, [], Paper.A4)
    assert html.count("<img ") == 1
    assert html.count("not shown: ") == 2
    assert gone[:16] in html


def test_without_a_place_of_files_every_photo_is_told_to_be_lost():
    report, _ = told(job_with(kept("a.jpg", "0" * 64)), None)
    assert report.files[0].lost
    assert "key `files` of bench.yaml" in report.files[0].not_shown


def test_a_photo_of_a_job_that_was_forgotten_is_not_shown(store):
    job = replace(job_with(kept("a.jpg", store.keep(picture()))), forgotten=True)
    report, document = told(job, store)
    assert [(file.photo, file.removed, file.lost) for file in report.files] == [(None, True, False)]
    assert "<img" not in html_of(document, [], Paper.A4)
