"""The one exception to a journal that is only ever added to: messages replaced, so that what is personal is gone."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import msgspec

from wakerail.journal import schema
from wakerail.journal.database import LOCK_TIMEOUT_S, insert, open_database
from wakerail.journal.errors import JournalUnavailable
from wakerail.journal.reader import JournalReader
from wakerail.journal.records import Message, record_of


def rewrite(
    url: str, change: Callable[[JournalReader], Mapping[int, Message]], topic: str, message: Message, *, bench: str
) -> tuple[int, bool]:
    """Replace messages by their rows as ``change`` says, and append one that tells of it, all in one transaction.

    ``change`` reads within the transaction, alone among all writers. Return the row of what was appended, and whether
    the old texts are erased from the database's files, as far as it can do that; if not, somebody was reading, and the
    same again erases them. Raises what ``Journal.append`` raises, and then nothing was replaced.
    """
    database = open_database(url, write=True, lock_timeout_s=LOCK_TIMEOUT_S)
    try:
        database.begin()
        try:
            for row, changed in change(JournalReader(url, database=database)).items():
                payload = msgspec.json.encode(changed).decode()
                database.execute(schema.REWRITE_MESSAGE, {"row": row, "payload": payload})
            appended = insert(database, record_of(topic, message, bench))
            database.commit()
        finally:
            database.rollback()
        try:
            erased = database.erase()
        except JournalUnavailable:  # what was replaced is durable all the same
            erased = False
        return appended, erased
    finally:
        database.close()
