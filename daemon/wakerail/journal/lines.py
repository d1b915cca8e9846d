"""A line for a person: who it is about, what happened, and how it sounds; and the small words that lines share."""

from __future__ import annotations

import functools
from enum import StrEnum
from typing import NamedTuple

from wakerail_kit.event_data import EventData


class Tone(StrEnum):
    """How a line sounds: what a reader's eye should do with it."""

    PLAIN = "plain"
    QUIET = "quiet"
    GOOD = "good"
    BAD = "bad"
    CAUTION = "caution"
    ASKING = "asking"


class Line(NamedTuple):
    """A message in words. ``who`` is an instrument, or the sequence's part in it (``run``, ``step 3``)."""

    who: str
    says: str
    tone: Tone = Tone.PLAIN


@functools.singledispatch
def line_of(data: EventData) -> Line:
    """Return what happened as a line. Raises KeyError for data that has no words."""
    raise KeyError(type(data))


def quantity(value: float, unit: str) -> str:
    """Return a value with its unit, as people write it."""
    from wakerail_kit.units import human  # noqa: PLC0415  pint is not to slow the daemon's start

    return human(value, unit)


def joined(*parts: str) -> str:
    """Return the parts that say something, with semicolons between them."""
    *before, last = [part for part in parts if part] or [""]
    return "; ".join([*(part.rstrip(".") for part in before), last])
