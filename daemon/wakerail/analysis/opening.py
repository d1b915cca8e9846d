"""How a boot opens: its levels in windows that grow with the time since it began, and how alike two openings are.

Windows that grow in proportion make a boot that runs some per cent faster or slower look almost the same, and they
tell soon and go on telling. All is judged on the logarithm of the current, so that a weaker battery changes little.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from wakerail.analysis.trail import Trail

#: Where the windows begin and end, counted in the spacing of the ticks: the first by themselves, then growing by 14 %.
# fmt: off
EDGES = (
    0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 13, 15, 17, 19, 22, 25, 29, 33,
    37, 42, 48, 55, 63, 71, 81, 93, 106, 121, 137, 157, 179, 204, 232, 265, 302, 344, 392, 447,
    510, 581, 662, 755, 861, 981, 1118, 1275, 1453, 1657, 1889, 2153, 2455, 2798, 3190,
)
# fmt: on
_STRETCH = 1.06  # how much faster or slower the same boot may run another time
_WIDENED = 8
_SHIFTED = 12  # windows so short that a boot found one tick early or late shows another level in them


@dataclass(frozen=True, slots=True)
class Band:
    """What a window of the same boot may hold: its mean, least and most, and how much its ticks scatter."""

    mean_a: float
    low_a: float
    high_a: float
    spread_a: float


@dataclass(slots=True, eq=False)
class Opening:
    """One boot's levels, window by window, in the trail that it was seen in.

    ``end_s`` is when that boot ended, None as long as it goes on.
    """

    trail: Trail
    start_s: float
    spacing_s: float
    end_s: float | None = None
    _known: dict[int, Band | None] = field(default_factory=dict)

    def window_s(self, index: int, stretch: float = 1.0) -> tuple[float, float]:
        """Return when a window begins and ends."""
        step_s = self.spacing_s * stretch
        return self.start_s + step_s * EDGES[index], self.start_s + step_s * EDGES[index + 1]

    def level_a(self, index: int) -> float | None:
        """Return the mean of a window that is past, None if it was not measured."""
        return self.trail.mean_a(*self.window_s(index))

    def spread_a(self, index: int) -> float:
        """Return how much the ticks in and around a window scatter; a short one is widened."""
        from_s, to_s = self.window_s(index)
        more_s = max(_WIDENED - (EDGES[index + 1] - EDGES[index]), 0) * self.spacing_s / 2
        return self.trail.wobble_a(max(from_s - more_s, self.start_s + self.spacing_s), to_s + more_s)

    def band_a(self, index: int, until_s: float) -> Band | None:
        """Return what a window may hold for the same boot run a little faster or slower.

        None if the window is not past by ``until_s`` or ended with its boot.
        """
        if self.end_s is not None:
            until_s = min(until_s, self.end_s)
        if self.window_s(index, _STRETCH)[1] + self.spacing_s > until_s:
            return None
        if index not in self._known:
            middle = self.level_a(index)
            others = [self.trail.mean_a(*self.window_s(index, stretch)) for stretch in (1 / _STRETCH, _STRETCH)]
            if index < _SHIFTED:
                from_s, to_s = self.window_s(index)
                others.append(self.trail.mean_a(from_s + self.spacing_s, to_s + self.spacing_s))
                if index:
                    others.append(self.trail.mean_a(from_s - self.spacing_s, to_s - self.spacing_s))
            known = [mean for mean in (middle, *others) if mean is not None]
            self._known[index] = None if middle is None else Band(middle, min(known), max(known), self.spread_a(index))
        return self._known[index]

    def later_a(self, index: int, offset_s: float, until_s: float) -> tuple[float, float] | None:
        """Return the least and most that a window may hold that begins ``offset_s`` after this boot did.

        None if that is not past by ``until_s``, or after the boot's end.
        """
        if self.end_s is not None:
            until_s = min(until_s, self.end_s)
        means: list[float] = []
        for stretch in (1.0, 1 / _STRETCH, _STRETCH):
            from_s = self.start_s + stretch * (offset_s + self.spacing_s * EDGES[index])
            to_s = self.start_s + stretch * (offset_s + self.spacing_s * EDGES[index + 1])
            if to_s > until_s:
                return None
            mean_a = self.trail.mean_a(from_s, to_s)
            if mean_a is not None:
                means.append(mean_a)
        return (min(means), max(means)) if means else None


@dataclass(slots=True)
class Scale:
    """The scale on which currents are compared: logarithmic above what the device draws standing.

    ``standing_a`` is taken off; ``floor_a`` is added, the least that means anything (noise, resolution, 1 % of what
    the device draws when it is up). ``span`` is the whole range in use, in natural-log units.
    """

    standing_a: float
    floor_a: float
    top_a: float

    def of(self, level_a: float) -> float:
        """Return a current on the scale."""
        return math.log(max(level_a - self.standing_a, 0.0) + self.floor_a)

    @property
    def span(self) -> float:
        return math.log((max(self.top_a - self.standing_a, 0.0) + self.floor_a) / self.floor_a) + 0.7


class Repertoire:
    """Which levels a device has shown while it was up, as a smoothed histogram on the scale, weighted by time."""

    _BIN = 0.1
    _REACH = 3

    def __init__(self) -> None:
        self._weights: dict[int, float] = {}
        self._total = 0.0

    def copy(self) -> Repertoire:
        """Return what is known by now."""
        same = Repertoire()
        same._weights, same._total = dict(self._weights), self._total
        return same

    def add(self, place: float, weight_s: float) -> None:
        """Add what was drawn for a time."""
        key = math.floor(place / self._BIN)
        self._weights[key] = self._weights.get(key, 0.0) + weight_s
        self._total += weight_s

    def below_s(self, place: float) -> tuple[float, float]:
        """Return the time at levels below, and all the time."""
        last = math.floor(place / self._BIN)
        return sum(weight for key, weight in self._weights.items() if key < last), self._total

    def density(self, place: float) -> float:
        """Return the probability density at a level; 0 where nothing like it was seen."""
        if not self._total:
            return 0.0
        key = math.floor(place / self._BIN)
        near = sum(
            self._weights.get(key + step, 0.0) * (1 - abs(step) / (self._REACH + 1))
            for step in range(-self._REACH, self._REACH + 1)
        )
        return near / (self._total * self._BIN * (self._REACH + 1))
