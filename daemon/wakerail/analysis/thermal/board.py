"""The temperature of a board on a plate when only the plate is measured, and how far off it may be.

    C dB/dt = G (T - B) - h (B - room)

A lumped body (Incropera and others, "Fundamentals of Heat and Mass Transfer", chapter 5; from memory): C its heat
capacity, G the conductance of its contact with the plate, h that of its loss to the room. Where these are known only
within ranges, a set of boards spread over the ranges is followed, and the estimate is between the coldest and the
hottest of them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wakerail.analysis.thermal.trace import Floats

_EACH = 5  # boards along each range


@dataclass(frozen=True, slots=True)
class Between:
    """A range of a positive quantity; what is known exactly has equal ends."""

    low: float
    high: float

    @property
    def middle(self) -> float:
        """The geometric middle."""
        return math.sqrt(self.low * self.high)

    def spread(self, count: int) -> list[float]:
        """Return values over the range, in equal ratios."""
        if self.low == self.high:
            return [self.low]
        values: list[float] = np.geomspace(self.low, self.high, count).tolist()
        return values


@dataclass(frozen=True, slots=True)
class Board:
    """What lies on the plate: heat capacity, contact with the plate, loss to the room; and where that is known from."""

    capacity_j_per_k: Between
    contact_w_per_k: Between
    loss_w_per_k: Between
    source: str


@dataclass(frozen=True, slots=True)
class BoardEstimate:
    """A board's temperature: the likely one, and between which it is, ``low_c`` to ``high_c``."""

    likely_c: float
    low_c: float
    high_c: float


class BoardEstimator:
    """Follows the plate's temperature from sample to sample; the plate goes in a straight line between two.

    ``plate_half_width_k`` is how far the plate's reading may be from the plate's surface; it widens the estimate.
    Without ``room_c`` the first sample is the room's temperature. ``start_c`` is the board's own at first, the room's
    if not given.
    """

    def __init__(
        self,
        board: Board,
        *,
        room_c: float | None = None,
        start_c: float | None = None,
        plate_half_width_k: float = 0.0,
    ) -> None:
        ranges = (board.capacity_j_per_k, board.contact_w_per_k, board.loss_w_per_k)
        middle = tuple(each.middle for each in ranges)
        boards = np.array([middle, *itertools.product(*(each.spread(_EACH) for each in ranges))])
        capacity, contact, loss = boards.T
        self._time_s = capacity / (contact + loss)
        self._lost = loss / (contact + loss)
        self._room_c, self._start_c, self._half_width_k = room_c, start_c, plate_half_width_k
        self._before: tuple[float, float] | None = None
        self._over: Floats = np.empty(0)  # each board over the room

    def take(self, t_s: float, plate_c: float | None) -> BoardEstimate | None:
        """Take a sample; return the estimate at its moment, None before the first that is data.

        A sample without data, or not later than the last, changes nothing. Over a gap the plate is taken to go in a
        straight line.
        """
        if plate_c is None or not math.isfinite(plate_c) or (self._before is not None and t_s <= self._before[0]):
            return self.newest
        if self._room_c is None:
            self._room_c = plate_c
        plate = plate_c - self._room_c
        if self._before is None:
            start = 0.0 if self._start_c is None else self._start_c - self._room_c
            self._over = np.full(self._time_s.shape, start)
        else:
            step_s = t_s - self._before[0]
            # the exact answer of a first-order lag to a straight line
            drive, was = (1 - self._lost) * plate, (1 - self._lost) * self._before[1]
            slope = (drive - was) / step_s * self._time_s
            self._over = drive - slope + (self._over - was + slope) * np.exp(-step_s / self._time_s)
        self._before = t_s, plate
        return self.newest

    @property
    def newest(self) -> BoardEstimate | None:
        """The estimate at the newest sample."""
        if self._before is None or self._room_c is None:
            return None
        levels = self._over + self._room_c
        low_c, high_c = float(levels.min()) - self._half_width_k, float(levels.max()) + self._half_width_k
        return BoardEstimate(float(levels[0]), low_c, high_c)


def estimate_board(
    t_s: npt.ArrayLike, plate_c: Sequence[float | None] | npt.ArrayLike, estimator: BoardEstimator
) -> tuple[Floats, Floats, Floats]:
    """Return a whole trace's likely, lowest and highest temperatures of the board; NaN before the first sample."""
    times: list[float] = np.asarray(t_s, dtype=float).tolist()
    found = [estimator.take(at_s, level) for at_s, level in zip(times, np.asarray(plate_c).tolist(), strict=True)]
    rows = [(np.nan, np.nan, np.nan) if each is None else (each.likely_c, each.low_c, each.high_c) for each in found]
    likely, low, high = np.array(rows, dtype=float).reshape(-1, 3).T
    return likely, low, high
