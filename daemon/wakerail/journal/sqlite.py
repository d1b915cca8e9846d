"""A journal in a SQLite file: WAL, so that readers never wait for the writer, and an fsync with every commit."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from wakerail.journal import schema
from wakerail.journal.database import NO_PARAMETERS
from wakerail.journal.errors import JournalDamaged, JournalUnavailable
from wakerail_kit.errors import ConfigInvalid, ContractViolation

_WRITE, _READ, _READ_STILL = "mode=rwc", "mode=ro", "immutable=1"
_WAL_KEPT_BYTES = 64 * 1024 * 1024
_WORDS = {
    sqlite3.SQLITE_FULL: "the disk is full",
    sqlite3.SQLITE_IOERR: "the disk is full or failing",
    sqlite3.SQLITE_BUSY: "locked by another program",
    sqlite3.SQLITE_LOCKED: "locked by another program",
    sqlite3.SQLITE_READONLY: "may only be read",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened there",
    sqlite3.SQLITE_NOTADB: "the file is something else, no SQLite database",
    sqlite3.SQLITE_CORRUPT: "the file is damaged",
}
_PASSING = frozenset({sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})


class SqliteDatabase:
    """Database in a file. Raises ConfigInvalid if it cannot be opened, JournalUnavailable if not just now."""

    def __init__(self, path: Path, *, write: bool, lock_timeout_s: float) -> None:
        self.where = str(path)
        self._path = path
        if not write and not path.exists():
            raise ConfigInvalid(f"{path}: no journal yet; the daemon begins it on its first start")
        try:
            if write:
                path.parent.mkdir(parents=True, exist_ok=True)
            self._connection = self._opened(_WRITE if write else _READ, lock_timeout_s)
            self._inode = path.stat().st_ino
        except (OSError, sqlite3.Error) as wrong:
            sort = JournalUnavailable if _code(wrong) in _PASSING else ConfigInvalid
            raise sort(f"{path}: cannot be opened as a journal: {_words(wrong)}") from wrong

    def _opened(self, how: str, lock_timeout_s: float) -> sqlite3.Connection:
        connection = sqlite3.connect(
            f"{self._path.absolute().as_uri()}?{how}",
            uri=True,
            timeout=lock_timeout_s,
            isolation_level=None,
            check_same_thread=False,  # a reader may move between worker threads; the writer stays in its own
        )
        try:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()  # a file of another sort shows here
        except sqlite3.Error as wrong:
            connection.close()
            # Reading needs a place for the shared index beside the file, unless the file is known to lie still:
            # an archived journal in a folder that may not be written, with nothing left in its write-ahead log.
            still = how == _READ and not self._path.with_name(f"{self._path.name}-wal").exists()
            if still and _code(wrong) in {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN}:
                return self._opened(_READ_STILL, lock_timeout_s)
            raise
        return connection

    def execute(self, sql: str, parameters: Mapping[str, object] = NO_PARAMETERS) -> list[tuple[Any, ...]]:
        with self._translated():
            return self._connection.execute(sql, parameters).fetchall()

    def begin(self) -> None:
        # A file deleted or moved away under an open connection would go on taking commits that nobody ever finds.
        try:
            there = self._path.stat().st_ino == self._inode
        except OSError:
            there = False
        if not there:
            # What is still in the write-ahead log goes into the file where it now lies; left beside the old
            # place, it would be taken for that of the file that comes next.
            with suppress(sqlite3.Error):
                self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self.close()
            raise JournalUnavailable(f"{self.where}: the file was moved or deleted; the next write begins a new one")
        self.execute("BEGIN IMMEDIATE")

    def commit(self) -> None:
        self.execute("COMMIT")

    def rollback(self) -> None:
        with self._translated():
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")

    def tables(self) -> set[str]:
        return {name for (name,) in self.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}

    def create(self) -> None:
        if self.tables():
            raise ConfigInvalid(f"{self.where}: is a database, but not a Wakerail journal; name another one")
        for statement in schema.create_statements("INTEGER PRIMARY KEY AUTOINCREMENT", "BLOB"):
            self.execute(statement)

    def make_durable(self) -> None:
        ((mode,),) = self.execute("PRAGMA journal_mode = WAL")
        if mode != "wal":
            raise ConfigInvalid(f"{self.where}: this file system does not let readers and a writer share a journal")
        self.execute("PRAGMA synchronous = FULL")
        self.execute("PRAGMA secure_delete = ON")  # what is overwritten is not to be found in the file any more
        self.execute(f"PRAGMA journal_size_limit = {_WAL_KEPT_BYTES}")

    def erase(self) -> bool:
        # The old text is still in the write-ahead log, and in the file until the log is written back.
        ((busy, *_),) = self.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return not busy

    def close(self) -> None:
        self._connection.close()

    @contextmanager
    def _translated(self) -> Iterator[None]:
        try:
            yield
        except (
            sqlite3.IntegrityError,
            sqlite3.DataError,
            sqlite3.ProgrammingError,
            OverflowError,
            ValueError,
        ) as wrong:
            raise ContractViolation(f"{self.where}: {wrong}") from wrong
        except sqlite3.Error as wrong:
            match _code(wrong):
                case sqlite3.SQLITE_NOTADB | sqlite3.SQLITE_CORRUPT:
                    raise JournalDamaged(f"{self.where}: {_words(wrong)}") from wrong
                case sqlite3.SQLITE_ERROR:
                    raise ContractViolation(f"{self.where}: {wrong}") from wrong
            raise JournalUnavailable(f"{self.where}: {_words(wrong)}") from wrong


def _code(wrong: Exception) -> int:
    """Return SQLite's primary result code; an extended code carries more in its upper bits."""
    return int(getattr(wrong, "sqlite_errorcode", 0)) & 0xFF


def _words(wrong: Exception) -> str:
    if isinstance(wrong, OSError):
        return wrong.strerror or str(wrong)
    return _WORDS.get(_code(wrong), str(wrong))
