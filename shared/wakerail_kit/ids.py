"""Identities: UUID version 7 (RFC 9562), so that they sort by the time they were made."""

from __future__ import annotations

import secrets
import uuid
from datetime import datetime


def new_id(at: datetime) -> str:
    """Return a fresh UUIDv7 in text form, stamped with the moment ``at`` (aware, from the injected clock).

    Layout by RFC 9562 5.7, with the fraction of the millisecond in rand_a (6.2, method 3), so that
    identities made within one millisecond still sort.
    """
    microseconds = round(at.timestamp() * 1_000_000)
    milliseconds, rest = divmod(microseconds, 1000)
    value = (milliseconds & (1 << 48) - 1) << 80 | 7 << 76 | (rest * 4096 // 1000) << 64
    value |= 0b10 << 62 | secrets.randbits(62)
    return str(uuid.UUID(int=value))
