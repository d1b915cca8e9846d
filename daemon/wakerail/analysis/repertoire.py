"""Which levels a device has shown, and how often."""

from __future__ import annotations

import math

_BIN = 0.1  # natural log
_REACH = 3  # bins
_KERNEL = [(step, 1 - abs(step) / (_REACH + 1)) for step in range(-_REACH, _REACH + 1)]


class Repertoire:
    """Which levels a device has shown while it was up, as a smoothed histogram on the scale, weighted by time."""

    def __init__(self) -> None:
        self._weights: dict[int, float] = {}
        self._total = 0.0
        self._densities: dict[int, float] = {}  # until something is added

    def copy(self) -> Repertoire:
        """Return what is known by now."""
        same = Repertoire()
        same._weights, same._total = dict(self._weights), self._total
        return same

    def add(self, place: float, weight_s: float) -> None:
        """Add what was drawn for a time."""
        key = math.floor(place / _BIN)
        if self._densities:
            self._densities.clear()
        self._weights[key] = self._weights.get(key, 0.0) + weight_s
        self._total += weight_s

    def below_s(self, place: float) -> tuple[float, float]:
        """Return the time at levels below, and all the time."""
        last = math.floor(place / _BIN)
        return sum(weight for key, weight in self._weights.items() if key < last), self._total

    def density(self, place: float) -> float:
        """Return the probability density at a level; 0 where nothing like it was seen."""
        key = math.floor(place / _BIN)
        density = self._densities.get(key)
        if density is None:
            density = self._densities[key] = self._density_in(key)
        return density

    def _density_in(self, key: int) -> float:
        if not self._total:
            return 0.0
        weights, near = self._weights, 0.0
        for step, share in _KERNEL:
            near += weights.get(key + step, 0.0) * share
        return near / (self._total * _BIN * (_REACH + 1))
