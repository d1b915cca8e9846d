"""The paper that a report is printed on."""

from __future__ import annotations

from enum import StrEnum


class Paper(StrEnum):
    """A size of paper: ISO 216 A4 (210 mm by 297 mm), or Letter (8.5 in by 11 in)."""

    A4 = "a4"
    LETTER = "letter"
