"""The journal: everything that happens on a bench, append-only and durable before it is announced.

Importing this package is cheap: sqlite3, psycopg, numpy and pyarrow are imported where they are first used, so that
the daemon is ready soon.
"""

from wakerail.journal.errors import JournalUnavailable
from wakerail.journal.exports import Form, export, form_of
from wakerail.journal.files import FileStore
from wakerail.journal.journal import Journal
from wakerail.journal.lines import Line, Tone
from wakerail.journal.reader import JournalReader
from wakerail.journal.records import Entry, Message, OutboxItem, RunSummary
from wakerail.journal.rewriting import rewrite
from wakerail.journal.words import describe

__all__ = [
    "Entry",
    "FileStore",
    "Form",
    "Journal",
    "JournalReader",
    "JournalUnavailable",
    "Line",
    "Message",
    "OutboxItem",
    "RunSummary",
    "Tone",
    "describe",
    "export",
    "form_of",
    "rewrite",
]
