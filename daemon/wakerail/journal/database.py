"""One connection to the journal's database: SQLite by default, PostgreSQL by URL, behind the same few methods.

Plain drivers rather than a toolkit: the journal has a dozen statements, and importing SQLAlchemy alone took 300 ms
of the daemon's one second to be ready (sqlite3: 10 ms).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Protocol

from wakerail.journal import schema
from wakerail.journal.errors import JournalDamaged
from wakerail_kit.errors import ConfigInvalid, ContractViolation

LOCK_TIMEOUT_S = 3.0
NO_PARAMETERS: Mapping[str, object] = {}


class Database(Protocol):
    """An open connection. Any method may raise JournalUnavailable, in words for a person."""

    where: str

    def execute(self, sql: str, parameters: Mapping[str, object] = NO_PARAMETERS) -> list[tuple[Any, ...]]:
        """Run one statement with ``:name`` parameters and return its rows. ContractViolation: bad data."""
        ...

    def begin(self) -> None:
        """Begin a write transaction, alone among all writers."""
        ...

    def commit(self) -> None:
        """Make the transaction durable: on return it survives the loss of the process and of power."""
        ...

    def rollback(self) -> None:
        """Undo the transaction, if one is open."""
        ...

    def tables(self) -> set[str]:
        """Return the names of the tables there are."""
        ...

    def create(self) -> None:
        """Create the journal's tables, empty. Raises ConfigInvalid where they do not belong."""
        ...

    def make_durable(self) -> None:
        """See to it that a commit is durable; only once the database is known to be ours, not to alter another's."""
        ...

    def erase(self) -> bool:
        """Let nothing stay of what was overwritten, as far as the database can; outside of a transaction.

        Return False if somebody reads just now, so that it could not be done.
        """
        ...

    def close(self) -> None:
        """Let go of the connection; never raises."""
        ...


def open_database(url: str, *, write: bool, lock_timeout_s: float = LOCK_TIMEOUT_S) -> Database:
    """Connect to a journal and check that it is one; with ``write``, create it where nothing is yet.

    ``url`` is a file's path, ``sqlite:///path`` or ``postgresql://...``. Raises ConfigInvalid for what is no journal,
    comes from a newer Wakerail, is damaged or cannot be opened as asked; JournalUnavailable if it is locked or away.
    """
    database = _connect(url, write=write, lock_timeout_s=lock_timeout_s)
    try:
        _check(database, write=write)
    except JournalDamaged as wrong:
        database.close()
        raise ConfigInvalid(f"{wrong}; move the file away and a new one is begun") from wrong
    except BaseException:
        database.close()
        raise
    return database


def insert(database: Database, record: Mapping[str, object]) -> int:
    """Put a message's record in and return its row; one that is there by its id stays as it is."""
    inserted = database.execute(schema.INSERT_MESSAGE, record)
    return int((inserted or database.execute(schema.ROW_OF_MESSAGE, record))[0][0])


def _connect(url: str, *, write: bool, lock_timeout_s: float) -> Database:
    scheme, is_url, rest = url.partition("://")
    if not is_url or scheme == "sqlite":
        from wakerail.journal.sqlite import SqliteDatabase  # noqa: PLC0415  loaded when a journal is opened, not before

        if is_url and (not rest.startswith("/") or rest == "/"):
            raise ConfigInvalid(f"journal {url!r} names no file; write it like 'sqlite:///var/bench.sqlite'")
        # sqlite:///relative/path and sqlite:////absolute/path
        return SqliteDatabase(Path(rest[1:] if is_url else url), write=write, lock_timeout_s=lock_timeout_s)
    if scheme in {"postgresql", "postgres"}:
        from wakerail.journal.postgres import PostgresDatabase  # noqa: PLC0415  its driver is an extra

        return PostgresDatabase(url, write=write, lock_timeout_s=lock_timeout_s)
    raise ConfigInvalid(f"journal {url!r}: write a file's path, 'sqlite:///path' or 'postgresql://host/database'")


def _check(database: Database, *, write: bool) -> None:
    if not write:
        _check_version(database)
        return
    database.begin()  # also shows whether it can be written at all
    try:
        if not database.tables() & schema.TABLES:
            database.create()
            database.execute(schema.WRITE_META, {"format": schema.FORMAT, "version": str(schema.SCHEMA_VERSION)})
        _check_version(database)
        database.commit()
    finally:
        database.rollback()
    database.make_durable()


def _check_version(database: Database) -> None:
    foreign = ConfigInvalid(f"{database.where}: is a database, but not a Wakerail journal; name another one")
    if not database.tables() >= schema.TABLES:
        raise foreign
    try:
        meta = dict(database.execute(schema.READ_META))
    except ContractViolation:  # a foreign table that happens to have our table's name
        raise foreign from None
    version = str(meta.get("schema_version"))
    if meta.get("format") != schema.FORMAT or not version.isdigit():
        raise foreign
    if int(version) > schema.SCHEMA_VERSION:
        raise ConfigInvalid(
            f"{database.where}: was written by a newer Wakerail (journal version {version}; this one knows up to "
            f"{schema.SCHEMA_VERSION}); update Wakerail, or name another journal"
        )
    for statement in schema.REACH_DOWN:  # so that gross damage shows now
        database.execute(statement)
