"""The scale on which currents are compared: logarithmic, so that a weaker battery changes little."""

from __future__ import annotations

import math


class Scale:
    """Logarithmic above what the device draws standing.

    ``standing_a`` is taken off; ``floor_a`` is added, the least that means anything (noise, resolution, 1 % of what
    the device draws when it is up). ``broad`` is the density of a level that may be anywhere up to ``top_a``.
    """

    __slots__ = ("broad", "floor_a", "standing_a")

    def __init__(self, standing_a: float, floor_a: float, top_a: float) -> None:
        self.standing_a, self.floor_a = standing_a, floor_a
        self.broad = 1.0 / (math.log((max(top_a - standing_a, 0.0) + floor_a) / floor_a) + 0.7)

    def is_like(self, other: Scale) -> bool:
        """Tell whether every level is at the same place on another."""
        return self.standing_a == other.standing_a and self.floor_a == other.floor_a

    def of(self, level_a: float) -> float:
        """Return a current on the scale (NaN for NaN)."""
        above_a = level_a - self.standing_a
        return math.log(self.floor_a if above_a < 0.0 else above_a + self.floor_a)
