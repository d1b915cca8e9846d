"""Identities are UUIDs of version 7 that sort by time."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta

from wakerail_kit.ids import new_id


def test_the_identity_carries_version_variant_and_time() -> None:
    at = datetime(2026, 11, 25, 8, 30, 0, 123456, tzinfo=UTC)
    made = uuid.UUID(new_id(at))
    assert made.version == 7
    assert made.variant == uuid.RFC_4122
    assert made.int >> 80 == int(at.timestamp() * 1000)  # RFC 9562 5.7: unix_ts_ms


def test_identities_sort_by_the_time_they_were_made_down_to_the_microsecond() -> None:
    start = datetime(2026, 1, 1, tzinfo=UTC)
    made = [new_id(start + timedelta(microseconds=step)) for step in range(0, 3000, 7)]
    assert made == sorted(made)
    assert len(set(made)) == len(made)
