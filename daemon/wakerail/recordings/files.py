"""A file as a recording, by what it holds and not by its name."""

from __future__ import annotations

from pathlib import Path

from wakerail.recordings.delimited import open_delimited
from wakerail.recordings.headings import Wishes
from wakerail.recordings.parquet import MAGIC, open_parquet
from wakerail.recordings.samples import Recording
from wakerail_kit.errors import ConfigInvalid

_SQLITE = b"SQLite format 3\0"


def open_file(file: Path, wishes: Wishes) -> Recording:
    """Open a Parquet file or a table of text. Raises ConfigInvalid, also while it is read."""
    try:
        with file.open("rb") as stream:
            first = stream.read(len(_SQLITE))
    except OSError as wrong:
        raise ConfigInvalid(f"{file}: cannot be read: {wrong.strerror or wrong}") from None
    if first == _SQLITE:
        raise ConfigInvalid(f"{file}: is a journal; name a run of it: 'wakerail analyze last --journal {file}'")
    return open_parquet(file, wishes) if first.startswith(MAGIC) else open_delimited(file, wishes)
