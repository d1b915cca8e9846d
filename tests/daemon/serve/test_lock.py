"""One daemon a bench: the lock is held for as long as the process lives, and by nobody after it."""

from __future__ import annotations

import os

import pytest

from wakerail.serve.lock import bench_lock
from wakerail_kit.errors import ConfigInvalid


def test_the_second_is_told_who_holds_it_and_may_have_it_afterwards(tmp_path):
    with bench_lock(tmp_path / "var", "bench-1"):
        held_by = rf"'bench-1' is served already \(process {os.getpid()}\)"
        with pytest.raises(ConfigInvalid, match=held_by), bench_lock(tmp_path / "var", "bench-1"):
            pytest.fail("two hold it")
        with bench_lock(tmp_path / "var", "bench-2"):
            pass
    with bench_lock(tmp_path / "var", "bench-1"):
        pass


def test_a_folder_that_cannot_be_is_one_line(tmp_path):
    (tmp_path / "file").touch()
    where = tmp_path / "file" / "var"
    with pytest.raises(ConfigInvalid, match=r"file.*cannot be written"), bench_lock(where, "bench-1"):
        pytest.fail("held nowhere")
