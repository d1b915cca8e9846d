"""How a boot opens: its levels in windows that grow with the time since it began, and how alike two openings are.

Windows that grow in proportion make a boot that runs some per cent faster or slower look almost the same, and they
tell soon and go on telling.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

from wakerail.analysis.scale import Scale
from wakerail.analysis.trail import Trail, mean_between_a

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
STRETCHES = (0.94, 0.97, 1.0, 1.03, 1.06)  # how much faster or slower the same boot may run another time
_SHIFTS = (-1, 0, 1)  # ticks by which its begin may be found early or late
_MOST_STRETCH = max(STRETCHES)
_WIDENED = 8
_LEAST_COVERED = 0.6  # of a window, for its mean to be known
_ABOUT, _ABOUT_TICKS = 0.1, 4  # of its age, and so many ticks: what is about a window
ALIGNMENTS = [(stretch, shift) for stretch in STRETCHES for shift in _SHIFTS]
_PAST = [1 + _MOST_STRETCH * end for end in EDGES[1:]]  # spacings until a window is past for all of them


def _how_likely(alignments: Iterable[tuple[float, int]]) -> tuple[float, ...]:
    """Return each one's probability: normal with a deviation of 3 %, less for a tick early or late."""
    weights = [math.exp(-0.5 * ((stretch - 1) / 0.03) ** 2 - 0.7 * abs(shift)) for stretch, shift in alignments]
    return tuple(weight / sum(weights) for weight in weights)


#: How likely each of the alignments is, and each stretch alone.
ALIGNED = _how_likely(ALIGNMENTS)
STRETCHED = _how_likely((stretch, 0) for stretch in STRETCHES)


@dataclass(slots=True, eq=False)
class Placed:
    """A window's level on the scale for each of ``ALIGNMENTS`` (NaN: not measured), and what its ticks do.

    ``spread_a`` is how much they scatter, ``unsteady`` the share of those about it that are off their median; ``low``
    and ``high`` are the lowest and the highest of the places (NaN if one of them was not measured).
    """

    places: list[float]
    spread_a: float
    unsteady: float
    low: float = field(init=False)
    high: float = field(init=False)
    _jumped: tuple[list[float], float] = ([], 0.0)
    _jumped_from: tuple[Placed | None, Placed | None] = (None, None)

    def __post_init__(self) -> None:
        known = not math.isnan(sum(self.places))
        self.low, self.high = (min(self.places), max(self.places)) if known else (math.nan, math.nan)

    def jumped(self, before: Placed, earlier: Placed | None) -> tuple[list[float], float]:
        """Return how far each place is from the furthest that it had in one or two windows earlier; and the most.

        The most is infinite where one of them was not measured.
        """
        if self._jumped_from[0] is not before or self._jumped_from[1] is not earlier:
            windows = [before.places] if earlier is None else [earlier.places, before.places]
            each = [max(abs(place - was) for was in were) for place, *were in zip(self.places, *windows, strict=True)]
            self._jumped = each, math.inf if math.isnan(sum(each)) else max(each)
            self._jumped_from = before, earlier
        return self._jumped


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
    _means: dict[int, tuple[list[float], float, float]] = field(default_factory=dict)
    _placed: dict[int, Placed] = field(default_factory=dict)
    _placed_on: Scale | None = None
    # a window, when it begins, and what the trail holds until then
    _until: tuple[int, float, tuple[float, float]] = (-1, 0.0, (0.0, 0.0))

    def anew(self) -> Opening:
        """Return the same beginning, whose end is not known."""
        return Opening(self.trail, self.start_s, self.spacing_s)

    def window_s(self, index: int, stretch: float = 1.0, shift: int = 0) -> tuple[float, float]:
        """Return when a window begins and ends, in a boot that runs slower and was found some ticks early."""
        step_s, start_s = self.spacing_s * stretch, self.start_s + shift * self.spacing_s
        return start_s + step_s * EDGES[index], start_s + step_s * EDGES[index + 1]

    def past_s(self, index: int) -> float:
        """Return when a window ends."""
        return self.start_s + self.spacing_s * EDGES[index + 1]

    def level_a(self, index: int) -> float | None:
        """Return the mean of a window that is past, None if it was not measured."""
        trail, (number, from_s, before) = self.trail, self._until
        if number != index:  # mostly one window is asked for after another
            from_s = self.start_s + self.spacing_s * EDGES[index]
            before = trail.until(from_s)
        to_s = self.start_s + self.spacing_s * EDGES[index + 1]
        after = trail.until(to_s)
        if to_s <= trail.smooth_until_s:
            self._until = index + 1, to_s, after
        return mean_between_a(before, after, _LEAST_COVERED * (to_s - from_s))

    def spread_a(self, index: int) -> float:
        """Return how much the ticks in and around a window scatter; a short one is widened."""
        from_s, to_s = self.window_s(index)
        more_s = max(_WIDENED - (EDGES[index + 1] - EDGES[index]), 0) * self.spacing_s / 2
        return self.trail.wobble_a(max(from_s - more_s, self.start_s + self.spacing_s), to_s + more_s)

    def placed(self, index: int, until_s: float, scale: Scale) -> Placed | None:
        """Return a window for each of ``ALIGNMENTS``.

        None if the window is not past by ``until_s``, or ended with its boot.
        """
        past_s = self.start_s + self.spacing_s * _PAST[index]
        if past_s > until_s or (self.end_s is not None and past_s > self.end_s):
            return None
        if scale is not self._placed_on:
            if self._placed_on is None or not scale.is_like(self._placed_on):
                self._placed = {}
            self._placed_on = scale
        placed = self._placed.get(index)
        if placed is None:
            if index not in self._means:
                windows_s = (self.window_s(index, stretch, shift) for stretch, shift in ALIGNMENTS)
                self._means[index] = self._means_a(windows_s), self.spread_a(index), self._unsteady(index)
            means_a, spread_a, unsteady = self._means[index]
            placed = self._placed[index] = Placed([scale.of(mean_a) for mean_a in means_a], spread_a, unsteady)
        return placed

    def _unsteady(self, index: int) -> float:
        from_s, to_s = self.window_s(index)
        more_s = _ABOUT_TICKS * self.spacing_s + _ABOUT * (to_s - self.start_s)
        until_s = to_s + more_s if self.end_s is None else min(to_s + more_s, self.end_s)
        return self.trail.unsteady(max(from_s - more_s, self.start_s + self.spacing_s), until_s)

    def lasted(self, offset_s: float, until_s: float) -> bool:
        """Tell whether the time ``offset_s`` after this boot's begin is past by ``until_s``, for every stretch."""
        return self.start_s + _MOST_STRETCH * offset_s <= until_s

    def later_a(self, index: int, offset_s: float, until_s: float) -> list[float] | None:
        """Return the mean of a window that begins ``offset_s`` after this boot did, for each stretch (NaN: not known).

        None if that is not past by ``until_s``, or after the boot's end.
        """
        until_s = min(until_s, self.doubted_s, math.inf if self.end_s is None else self.end_s)
        from_s, to_s = offset_s + self.spacing_s * EDGES[index], offset_s + self.spacing_s * EDGES[index + 1]
        if self.start_s + _MOST_STRETCH * to_s > until_s:
            return None
        return self._means_a((self.start_s + stretch * from_s, self.start_s + stretch * to_s) for stretch in STRETCHES)

    def _means_a(self, windows_s: Iterable[tuple[float, float]]) -> list[float]:
        """Return the mean in each window, NaN where it was not measured."""
        means_a = (self.trail.mean_a(*window_s) for window_s in windows_s)
        return [math.nan if mean_a is None else mean_a for mean_a in means_a]
