"""The pictures among a job's files, made small enough for a report. What cannot be shown is told, and stops nothing."""

from __future__ import annotations

import io
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from wakerail.jobs import Job
from wakerail.journal import FileStore, JournalUnavailable
from wakerail.journal.errors import JournalDamaged
from wakerail_kit.job_events import JobFileKept

if TYPE_CHECKING:
    from PIL.Image import Image

#: As many pixels as half a page shows at 350 dots an inch, with some left to look closer on a screen.
_LONGEST_PX = 1400
_QUALITY = 82
_PICTURES = "image/"
#: What is opened; the library knows many more formats, which no camera and no screenshot needs.
_FORMATS = ("JPEG", "PNG", "WEBP", "GIF", "BMP", "TIFF")


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture as the report shows it: upright, at most 1400 pixels long, without what a camera wrote into it."""

    jpeg: bytes
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True)
class NotShown:
    """A picture that cannot be shown, and why; ``lost``: its file is gone, or not what was kept."""

    why: str
    lost: bool


def photos_of(job: Job, files: FileStore | None) -> Mapping[str, Photo | NotShown]:
    """Return the pictures of a job, by their SHA-256; other files, and those that were forgotten, are none."""
    kept = [(note.what, note.bench) for note in job.kept if isinstance(note.what, JobFileKept) and note.what.sha256]
    pictures = {what.sha256: bench for what, bench in kept if what.media_type.startswith(_PICTURES)}
    return {sha256: _photo(sha256, bench, files) for sha256, bench in pictures.items()}


def _photo(sha256: str, bench: str, files: FileStore | None) -> Photo | NotShown:
    if files is None:
        return NotShown("where files are kept is not known: the key `files` of bench.yaml names the folder", lost=True)
    try:
        return shown(files.read(sha256))
    except JournalDamaged:
        return NotShown("the file is not what was kept; it was changed or is damaged", lost=True)
    except JournalUnavailable:
        return NotShown(f"the file is not in {files.folder}; it was kept on {bench}", lost=True)


def shown(content: bytes) -> Photo | NotShown:
    """Return a picture as the report shows it, from the bytes of its file."""
    from PIL import Image, ImageOps  # noqa: PLC0415  slow to import

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            warnings.simplefilter("ignore", UserWarning)  # odd notes of a camera, which are left out anyway
            with Image.open(io.BytesIO(content), formats=_FORMATS) as opened:
                opened.draft("RGB", (_LONGEST_PX, _LONGEST_PX))  # a JPEG is decoded no larger than it has to be
                picture = _on_white(ImageOps.exif_transpose(opened))
                picture.thumbnail((_LONGEST_PX, _LONGEST_PX))
    except (Image.DecompressionBombWarning, Image.DecompressionBombError):
        return NotShown("it has more pixels than can be shown here", lost=False)
    except Exception:  # noqa: BLE001  whatever a damaged picture makes of its decoder, the report is to be written
        return NotShown("it cannot be read as a picture (JPEG, PNG, WebP, GIF, BMP and TIFF can)", lost=False)
    picture.info = {}  # a camera's notes: where and when, and perhaps whose it is
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return Photo(out.getvalue(), picture.width, picture.height)


def _on_white(picture: Image) -> Image:
    """Return a picture in plain colours; what is transparent in it lies on white."""
    if not picture.has_transparency_data:
        return picture.convert("RGB")
    from PIL import Image  # noqa: PLC0415  slow to import

    layered = picture.convert("RGBA")
    ground = Image.new("RGB", layered.size, "white")
    ground.paste(layered, mask=layered.getchannel("A"))
    return ground
