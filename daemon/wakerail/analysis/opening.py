"""How a boot opens: its levels in windows that grow with the time since it began, and how alike two openings are.

Windows that grow in proportion make a boot that runs some per cent faster or slower look almost the same, and they
tell soon and go on telling. All is judged on the logarithm of the current, so that a weaker battery changes little.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from wakerail.analysis.trail import Trail

Floats = npt.NDArray[np.float64]

_SINGLE = 16  # windows of one tick
_GROWTH = 1.08
_LONGEST = 3200


def _edges() -> tuple[int, ...]:
    edges = list(range(_SINGLE + 1))
    while edges[-1] < _LONGEST:
        edges.append(max(edges[-1] + 1, round(edges[-1] * _GROWTH)))
    return tuple(edges)


#: Where the windows begin and end, counted in the spacing of the ticks: the first by themselves, then growing by 8 %.
EDGES = _edges()
_STRETCHES = (0.94, 0.97, 1.0, 1.03, 1.06)  # how much faster or slower the same boot may run another time
_SHIFTS = (-1, 0, 1)  # ticks by which its begin may be found early or late
_MOST_STRETCH = max(_STRETCHES)
_WIDENED = 8
ALIGNMENTS = [(stretch, shift) for stretch in _STRETCHES for shift in _SHIFTS]


def _how_likely(alignments: Iterable[tuple[float, int]]) -> Floats:
    """Return the log of each one's probability: normal with a deviation of 3 %, less for a tick early or late."""
    odds = np.array([-0.5 * ((stretch - 1) / 0.03) ** 2 - 0.7 * abs(shift) for stretch, shift in alignments])
    return odds - math.log(float(np.exp(odds).sum()))


#: How likely each of the alignments is, and each stretch alone; natural log.
ALIGNED = _how_likely(ALIGNMENTS)
STRETCHED = _how_likely((stretch, 0) for stretch in _STRETCHES)


@dataclass(slots=True, eq=False)
class Opening:
    """One boot's levels, window by window, in the trail that it was seen in.

    ``end_s`` is when that boot ended, None as long as it goes on; from ``doubted_s`` on it may have been another.
    """

    trail: Trail
    start_s: float
    spacing_s: float
    end_s: float | None = None
    doubted_s: float = math.inf
    _known: dict[int, tuple[Floats, float]] = field(default_factory=dict)

    def window_s(self, index: int, stretch: float = 1.0, shift: int = 0) -> tuple[float, float]:
        """Return when a window begins and ends, in a boot that runs slower and was found some ticks early."""
        step_s, start_s = self.spacing_s * stretch, self.start_s + shift * self.spacing_s
        return start_s + step_s * EDGES[index], start_s + step_s * EDGES[index + 1]

    def level_a(self, index: int) -> float | None:
        """Return the mean of a window that is past, None if it was not measured."""
        return self.trail.mean_a(*self.window_s(index))

    def spread_a(self, index: int) -> float:
        """Return how much the ticks in and around a window scatter; a short one is widened."""
        from_s, to_s = self.window_s(index)
        more_s = max(_WIDENED - (EDGES[index + 1] - EDGES[index]), 0) * self.spacing_s / 2
        return self.trail.wobble_a(max(from_s - more_s, self.start_s + self.spacing_s), to_s + more_s)

    def aligned_a(self, index: int, until_s: float) -> tuple[Floats, float] | None:
        """Return a window's mean for each of ``ALIGNMENTS`` (NaN where not measured) and how much its ticks scatter.

        None if the window is not past by ``until_s``, or ended with its boot.
        """
        if self.end_s is not None:
            until_s = min(until_s, self.end_s)
        if self.window_s(index, _MOST_STRETCH, 1)[1] > until_s:
            return None
        if index not in self._known:
            windows_s = (self.window_s(index, stretch, shift) for stretch, shift in ALIGNMENTS)
            self._known[index] = self._means_a(windows_s), self.spread_a(index)
        return self._known[index]

    def later_a(self, index: int, offset_s: float, until_s: float) -> Floats | None:
        """Return the mean of a window that begins ``offset_s`` after this boot did, for each stretch (NaN: not known).

        None if that is not past by ``until_s``, or after the boot's end.
        """
        until_s = min(until_s, self.doubted_s, math.inf if self.end_s is None else self.end_s)
        from_s, to_s = offset_s + self.spacing_s * EDGES[index], offset_s + self.spacing_s * EDGES[index + 1]
        if self.start_s + _MOST_STRETCH * to_s > until_s:
            return None
        return self._means_a((self.start_s + stretch * from_s, self.start_s + stretch * to_s) for stretch in _STRETCHES)

    def _means_a(self, windows_s: Iterable[tuple[float, float]]) -> Floats:
        """Return the mean in each window, NaN where it was not measured."""
        means = (self.trail.mean_a(*window_s) for window_s in windows_s)
        return np.array([math.nan if mean is None else mean for mean in means])


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

    def of_each(self, levels_a: Floats) -> Floats:
        """Return currents on the scale."""
        places: Floats = np.log(np.maximum(levels_a - self.standing_a, 0.0) + self.floor_a)
        return places

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
