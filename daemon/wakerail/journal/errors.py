"""What can go wrong with a journal that was right when it was opened."""

from __future__ import annotations

from wakerail_kit.errors import WakerailError


class JournalUnavailable(WakerailError):
    """The journal could not be written or read just now (disk full, locked, server away): free the cause, try again.

    Nothing of the failed write is in the journal; a later write is tried afresh.
    """


class JournalDamaged(JournalUnavailable):
    """The file's contents are not sound; it needs a copy or a repair before it is used again."""
