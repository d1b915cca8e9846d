"""Identities: UUID version 7 (RFC 9562), so that they sort by the time they were made."""

from __future__ import annotations

from datetime import datetime

import uuid_utils


def new_id(at: datetime) -> str:
    """Return a fresh UUIDv7 in text form, stamped with the moment ``at`` (aware, from the injected clock)."""
    microseconds = round(at.timestamp() * 1_000_000)
    seconds, rest = divmod(microseconds, 1_000_000)
    return str(uuid_utils.uuid7(seconds, rest * 1000))
