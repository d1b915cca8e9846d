"""A row that cannot be used, before it is known on which line of the file it stands."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass
class BadRow(Exception):
    """Row ``row`` of the data, counted from 0 over the whole recording, cannot be used; ``says`` tells why."""

    row: int
    says: str
