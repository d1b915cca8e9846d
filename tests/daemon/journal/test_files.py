"""Files kept by their content."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.journal import FileStore, JournalUnavailable
from wakerail.journal.errors import JournalDamaged
from wakerail_kit.errors import ContractViolation


@settings(max_examples=25)
@given(content=st.binary(max_size=3000))
def test_what_is_kept_comes_back_by_its_sha256(tmp_path_factory, content):
    store = FileStore(tmp_path_factory.mktemp("store") / "files")
    sha256 = store.keep(content)
    assert sha256 == hashlib.sha256(content).hexdigest()
    assert store.read(sha256) == content
    assert store.keep(content) == sha256
    assert [str(file.relative_to(store.folder)) for file in store.folder.rglob("*") if file.is_file()] == [
        f"{sha256[:2]}/{sha256}"
    ]


def test_a_file_that_was_changed_or_cut_is_told_and_mended_by_keeping_it_again(tmp_path):
    store = FileStore(tmp_path / "files")
    sha256 = store.keep(b"the port before cleaning")
    place = tmp_path / "files" / sha256[:2] / sha256
    place.write_bytes(b"the port before clea")
    with pytest.raises(JournalDamaged, match="is not what was kept"):
        store.read(sha256)
    store.keep(b"the port before cleaning")
    assert store.read(sha256) == b"the port before cleaning"


def test_a_file_that_is_removed_is_gone_and_so_is_its_empty_folder(tmp_path):
    store = FileStore(tmp_path / "files")
    sha256 = store.keep(b"x")
    assert store.remove(sha256)
    assert not store.remove(sha256)
    assert not store.holds(sha256)
    assert list((tmp_path / "files").iterdir()) == []
    with pytest.raises(JournalUnavailable, match="is not here"):
        store.read(sha256)


def test_a_name_that_is_no_hash_reaches_no_file(tmp_path):
    (tmp_path / "secret").write_text("x")
    store = FileStore(tmp_path / "files")
    for name in ("../secret", "", "A" * 64, "a" * 63):
        with pytest.raises(ContractViolation):
            store.read(name)
        with pytest.raises(ContractViolation):
            store.remove(name)


def test_a_place_that_cannot_be_written_is_told_in_one_line(tmp_path):
    (tmp_path / "files").write_text("a file is in the way")
    with pytest.raises(JournalUnavailable, match=r"files: the file cannot be kept: "):
        FileStore(tmp_path / "files").keep(b"x")
