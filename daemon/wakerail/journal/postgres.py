"""A journal in a PostgreSQL database, for a shop that wants its benches in one log. psycopg 3 is an optional extra."""

from __future__ import annotations

import functools
import importlib
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlsplit

from wakerail.journal import schema
from wakerail.journal.database import NO_PARAMETERS
from wakerail.journal.errors import JournalUnavailable
from wakerail_kit.errors import ConfigInvalid, ContractViolation

# Writers take turns by this lock. Without it rows would become visible out of order, and a reader that
# remembers the last row it saw would miss those of another bench.
_WRITERS_LOCK = "SELECT pg_advisory_xact_lock(5573926001)"
_CONNECT_TIMEOUT_S = 5


class PostgresDatabase:
    """Database at a ``postgresql://`` URL. Raises ConfigInvalid without psycopg, JournalUnavailable if it is away."""

    def __init__(self, url: str, *, write: bool, lock_timeout_s: float) -> None:
        self.where = _without_secrets(url)
        try:
            self._driver: Any = importlib.import_module("psycopg")  # an optional extra
        except ImportError:
            raise ConfigInvalid(
                f"journal {self.where}: PostgreSQL needs psycopg; install it with: pip install 'psycopg[binary]'"
            ) from None
        with self._translated():
            self._connection = self._driver.connect(url, autocommit=True, connect_timeout=_CONNECT_TIMEOUT_S)
        self.execute(f"SET lock_timeout = {round(lock_timeout_s * 1000)}")
        if not write:
            self.execute("SET default_transaction_read_only = on")

    def execute(self, sql: str, parameters: Mapping[str, object] = NO_PARAMETERS) -> list[tuple[Any, ...]]:
        with self._translated():
            cursor = self._connection.execute(_pyformat(sql), parameters or None)
            return cursor.fetchall() if cursor.description else []

    def begin(self) -> None:
        self.execute("BEGIN")
        self.execute(_WRITERS_LOCK)

    def commit(self) -> None:
        self.execute("COMMIT")

    def rollback(self) -> None:
        with self._translated():
            if self._connection.info.transaction_status != self._driver.pq.TransactionStatus.IDLE:
                self._connection.execute("ROLLBACK")

    def tables(self) -> set[str]:
        found = self.execute("SELECT table_name FROM information_schema.tables WHERE table_schema = current_schema()")
        return {name for (name,) in found}

    def create(self) -> None:
        for statement in schema.create_statements("BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY", "BYTEA"):
            self.execute(statement)

    def make_durable(self) -> None:
        self.execute("SET synchronous_commit = on")  # whatever the server is set to

    def erase(self) -> bool:
        self.execute("VACUUM messages")  # the rows as they were before
        return True

    def close(self) -> None:
        self._connection.close()

    @contextmanager
    def _translated(self) -> Iterator[None]:
        try:
            yield
        except (
            self._driver.DataError,
            self._driver.IntegrityError,
            self._driver.ProgrammingError,
            UnicodeError,
        ) as wrong:
            raise ContractViolation(f"{self.where}: {_first_line(wrong)}") from wrong
        except self._driver.Error as wrong:
            raise JournalUnavailable(f"{self.where}: {_first_line(wrong)}") from wrong


@functools.cache
def _pyformat(sql: str) -> str:
    return re.sub(r":(\w+)", r"%(\1)s", sql)


def _without_secrets(url: str) -> str:
    parts = urlsplit(url)
    host = parts.netloc.rpartition("@")[2]
    return f"postgresql://{host}{parts.path}"


def _first_line(wrong: Exception) -> str:
    return (str(wrong).strip().splitlines() or [type(wrong).__name__])[0]
