"""Where the current turns up from a low: the places at which another boot may begin."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from wakerail.analysis.levels import Levels
from wakerail.analysis.trail import Trail

_LEAST_TURN, _MOST_TURN = 2.0, 8.0
_AT_FLOOR = 1.6  # times the floor: there the noise is the meter's, and taken care of by the floor
_DEEPER = 2.5  # times the lowest: what is above it is a level of its own
_LONG = 5  # ticks; in a shorter dip those at its edges are mixtures
_NOISE_TURN = 3.5  # deviations of the relative noise that a turn must exceed


@dataclass(frozen=True, slots=True)
class Dip:
    """The current was low from tick ``fell`` until tick ``rose``; ``edge_a`` lies half-way (on the logarithm).

    ``low_a`` is what it drew meanwhile (median, or lower quartile if short), ``before_a`` the median before.
    """

    fell: int
    rose: int
    low_a: float
    before_a: float
    edge_a: float


@dataclass(frozen=True, slots=True)
class Fall:
    """The current turned down at tick ``place``, through ``edge_a``."""

    place: int
    edge_a: float


class Turns:
    """Follows highs and lows; a turn is a change by at least a factor above the standing level."""

    def __init__(self, trail: Trail, levels: Levels) -> None:
        self._trail, self._levels = trail, levels
        self._up = True
        self._high = 0.0
        self._low = math.inf
        self._low_place = 0
        self.rose_place = 0
        self._noise, self._factor = 0.0, _LEAST_TURN

    def begin(self, place: int) -> None:
        """Begin at a tick at which the device is up."""
        self._up, self._high, self.rose_place = True, 0.0, place

    def take(self, place: int) -> Dip | Fall | None:
        """Take the next tick; return the turn that it makes."""
        levels = self._levels
        above = levels.above(self._trail.level_a[place])
        if self._noise != levels.relative_noise:
            self._noise = levels.relative_noise
            self._factor = min(max(_LEAST_TURN, math.exp(_NOISE_TURN * self._noise)), _MOST_TURN)
        if self._up:
            if above > self._high:
                self._high = above
            elif self._high > self._factor * above:
                self._up, self._low, self._low_place = False, above, place
                return self._fell(place, above)
            return None
        if above < self._low:
            self._low, self._low_place = above, place
        elif above > (_LEAST_TURN if self._low < _AT_FLOOR * levels.floor_a else self._factor) * self._low:
            self._up, self._high = True, above
            return self._rose(place, above)
        return None

    def _plain(self, above: float) -> float:
        return above - self._levels.floor_a + self._levels.standing_a

    def _least_a(self, above: float) -> float:
        """Return the least current that is ``above``; any is that is compared with the floor or less."""
        return self._plain(above) if above > self._levels.floor_a else -math.inf

    def _fell(self, place: int, above: float) -> Fall:
        edge = math.sqrt(self._high * above)
        levels_a, edge_a = self._trail.level_a, self._least_a(edge)
        while place > 0 and levels_a[place - 1] < edge_a:
            place -= 1
        return Fall(place, self._plain(edge))

    def _rose(self, place: int, above: float) -> Dip | None:
        edge = math.sqrt(self._low * above)
        levels_a, edge_a = self._trail.level_a, self._least_a(edge)
        rose = place
        while rose - 1 > self._low_place and levels_a[rose - 1] > edge_a:
            rose -= 1
        self.rose_place = rose
        before = self._low_place
        # a device is up where it draws more than the edge, and did in one of the two ticks before, too
        while before >= 0 and (
            levels_a[before] < edge_a or (before > 1 and max(levels_a[before - 2 : before]) < edge_a)
        ):
            before -= 1
        if before < 0:
            return None
        fell, rose, edge = self._bottom(before + 1, rose, edge)
        low = sorted(levels_a[fell:rose]) or [levels_a[self._low_place]]
        high = sorted(levels_a[max(fell - 8, 0) : fell])
        return Dip(fell, rose, low[len(low) // (4 if len(low) < _LONG else 2)], high[len(high) // 2], self._plain(edge))

    def _bottom(self, fell: int, rose: int, edge: float) -> tuple[int, int, float]:
        """Return the part of a dip in which it was lowest, and its edge, where a device went lower before it collapsed.

        That is, a stretch much lower than the rest of the dip, and shorter.
        """
        levels_a, limit_a = self._trail.level_a, self._least_a(_DEEPER * self._low)
        first = last = self._low_place
        while first > fell and levels_a[first - 1] < limit_a:
            first -= 1
        while last + 1 < rose and levels_a[last + 1] < limit_a:
            last += 1
        beside_a = sorted(levels_a[fell:first] + levels_a[last + 1 : rose])
        if len(beside_a) < max(_LONG, last + 1 - first) or beside_a[len(beside_a) // 2] < limit_a:
            return fell, rose, edge
        return first, last + 1, math.sqrt(self._low * self._levels.above(beside_a[len(beside_a) // 2]))


class FallTimes:
    """Remembers when falls were, to the sample, until the dips that they begin are over."""

    def __init__(self) -> None:
        self._known: deque[tuple[int, float]] = deque(maxlen=64)

    def add(self, place: int, at_s: float) -> None:
        """Note that the fall at a tick was at that sample."""
        self._known.append((place, at_s))

    def find(self, place: int) -> float | None:
        """Return the time of a fall at a tick or next to it."""
        return next((at_s for known, at_s in reversed(self._known) if abs(known - place) <= 1), None)
