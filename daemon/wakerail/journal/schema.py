"""The journal's tables and statements, in the SQL that SQLite and PostgreSQL share.

Parameters are written ``:name``. A message's ``time`` and a chunk's times are RFC 3339 in UTC with microseconds, so
that they sort as text. ``sent`` is 1 once the broker has confirmed the message.
"""

from __future__ import annotations

SCHEMA_VERSION = 1
FORMAT = "wakerail-journal"
TABLES = frozenset({"meta", "messages", "chunks"})


_TABLES = """
CREATE TABLE meta (name TEXT PRIMARY KEY, value TEXT NOT NULL);

CREATE TABLE messages (
    "row" <row key>, id TEXT NOT NULL UNIQUE, bench TEXT NOT NULL, run TEXT, type TEXT NOT NULL, time TEXT NOT NULL,
    topic TEXT NOT NULL, payload TEXT NOT NULL, sent INTEGER NOT NULL DEFAULT 0
);
CREATE INDEX messages_by_run ON messages (run, "row");
CREATE INDEX messages_by_type ON messages (type, "row");
CREATE INDEX messages_unsent ON messages ("row") WHERE sent = 0;

CREATE TABLE chunks (
    "row" <row key>, bench TEXT NOT NULL, instrument TEXT NOT NULL, run TEXT, first_time TEXT NOT NULL,
    last_time TEXT NOT NULL, first_number BIGINT NOT NULL, last_number BIGINT NOT NULL, samples INTEGER NOT NULL,
    units TEXT NOT NULL, packed <blob> NOT NULL
);
CREATE INDEX chunks_by_run ON chunks (run, "row");
CREATE INDEX chunks_by_time ON chunks (instrument, first_time);
"""


def create_statements(row_key: str, blob: str) -> list[str]:
    """Return the statements that create the tables; the arguments are the database's own words for two types."""
    script = _TABLES.replace("<row key>", row_key).replace("<blob>", blob)
    return [statement for statement in script.split(";") if statement.strip()]


def pattern(text: str) -> str:
    """Return the pattern that finds a text anywhere."""
    text = text.lower()
    for sign in "!%_":
        text = text.replace(sign, "!" + sign)
    return f"%{text}%"


WRITE_META = "INSERT INTO meta (name, value) VALUES ('format', :format), ('schema_version', :version)"
READ_META = "SELECT name, value FROM meta"
REACH_DOWN = ('SELECT max("row") FROM messages', 'SELECT max("row") FROM chunks')

# A message that is there already keeps its row: appending it again after a doubtful end is harmless.
INSERT_MESSAGE = (
    "INSERT INTO messages (id, bench, run, type, time, topic, payload)"
    " VALUES (:id, :bench, :run, :type, :time, :topic, :payload)"
    ' ON CONFLICT (id) DO NOTHING RETURNING "row"'
)
ROW_OF_MESSAGE = 'SELECT "row" FROM messages WHERE id = :id'

#: Holds for messages whose JSON has a text in it, in letters of any case; ``pattern`` makes the parameter.
CONTAINING = "lower(payload) LIKE :containing ESCAPE '!'"
LIKE_MESSAGE = f'SELECT "row" FROM messages WHERE type = :type AND {CONTAINING} AND id <> :but LIMIT 1'  # noqa: S608
#: Its plan walks the few rows after that one, by their key.
LATER_MESSAGE = f'SELECT "row" FROM messages WHERE "row" > :after AND {CONTAINING} LIMIT 1'  # noqa: S608

REWRITE_MESSAGE = 'UPDATE messages SET payload = :payload WHERE "row" = :row'

INSERT_CHUNK = (
    "INSERT INTO chunks (bench, instrument, run, first_time, last_time, first_number, last_number, samples, units,"
    " packed) VALUES (:bench, :instrument, :run, :first_time, :last_time, :first_number, :last_number, :samples,"
    " :units, :packed)"
)

UNSENT_MESSAGES = (
    'SELECT "row", topic, payload FROM messages WHERE sent = 0 AND bench = :bench ORDER BY "row" LIMIT :limit'
)
MARK_SENT = 'UPDATE messages SET sent = 1 WHERE "row" = :row'
