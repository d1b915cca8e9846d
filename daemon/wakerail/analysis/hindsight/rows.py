"""Arrays of which each has one row for each of some moments."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self

from wakerail.analysis.hindsight.grid import Ints


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """What has an array for each of its fields."""

    def only(self, kept: Ints) -> Self:
        """Return the same of some of the moments."""
        return type(self)(*(getattr(self, field.name)[kept] for field in fields(self)))
