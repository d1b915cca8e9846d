"""Recordings written into files, and read back whole."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wakerail.recordings.files import open_file
from wakerail.recordings.headings import Wishes
from wakerail.recordings.samples import Piece, Recording
from wakerail_kit.errors import ConfigInvalid


def join(pieces: list[Piece]) -> Piece:
    """Return pieces as one."""

    def column(values: list[np.ndarray | None]) -> np.ndarray | None:
        return None if any(one is None for one in values) else np.concatenate([np.empty(0), *values])

    return Piece(
        column([one.t_s for one in pieces]),
        column([one.current_a for one in pieces]),
        column([one.voltage_v for one in pieces]) if pieces else None,
        column([one.limiting for one in pieces]) if pieces else None,
    )


@pytest.fixture(name="file")
def _file(tmp_path: Path) -> Callable[[str | bytes], Path]:
    def file(text: str | bytes, name: str = "trace.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return path

    return file


@pytest.fixture(name="read")
def _read(file: Callable[[str | bytes], Path]) -> Callable[..., tuple[Piece, Recording]]:
    def read(text: str | bytes | Path, **wishes: object) -> tuple[Piece, Recording]:
        """Read a file, or a text as a file, whole."""
        recording = open_file(text if isinstance(text, Path) else file(text), Wishes(**wishes))
        return join(list(recording.pieces)), recording

    return read


@pytest.fixture(name="refused")
def _refused(read: Callable[..., tuple[Piece, Recording]]) -> Callable[..., str]:
    def refused(text: str | bytes | Path, **wishes: object) -> str:
        """Return the one line that a file is refused with, from its name on."""
        with pytest.raises(ConfigInvalid) as wrong:
            read(text, **wishes)
        (line,) = wrong.value.problems
        assert "\n" not in line
        return line[max(line.find("trace."), 0) :]

    return refused
