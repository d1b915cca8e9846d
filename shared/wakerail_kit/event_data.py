"""The base of every event's data."""

from __future__ import annotations

from msgspec import Struct


class EventData(Struct, frozen=True, kw_only=True):
    """Base of every event's data."""
