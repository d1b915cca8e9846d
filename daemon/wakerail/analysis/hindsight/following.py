"""What follows each of many moments, window by window, and how likely that is if the device just goes on.

A device that goes on stays at its level, or comes back to one of a moment ago, and is now and then at any other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wakerail.analysis.hindsight.grid import Bools, Floats, Grid, Ints
from wakerail.analysis.hindsight.rows import Rows
from wakerail.analysis.hindsight.templates import RECENT, WINDOW_EDGES, WINDOW_TICKS, WINDOWS

_PERSISTS = 0.04  # natural log
_EARLIER = 0.5  # how likely an earlier level comes back, against the newest
_LEAST_CHANGES, _MOST_CHANGES = 0.01, 0.35
_LEAST_NEW, _MOST_NEW = -4.0, 1.0
_BEGINS = slice(1, 4)  # windows
_SQRT_2PI = math.sqrt(2 * math.pi)


@dataclass(frozen=True, slots=True, eq=False)
class Following(Rows):
    """The windows after each moment: ``level`` is the mean natural log of the current, any value if not ``known``.

    ``stays`` is the density of a level if the device stays at one of the windows before, of which one is known if it
    is ``seen``; ``goes_on`` that if it may be at another as well. All are of ``moments`` x ``WINDOWS``. ``new`` is what
    speaks for a first level that the device does not have otherwise, a log-likelihood ratio for each moment.
    """

    level: Floats
    known: Bools
    seen: Bools
    stays: Floats
    goes_on: Floats
    new: Floats


def follow(grid: Grid, places: Ints, changes: float) -> Following:
    """Return what follows each place. ``changes``: how often a tick is at another level by itself."""
    ends = places[:, np.newaxis] + WINDOW_EDGES[1:]
    level = grid.means(places[:, np.newaxis] + WINDOW_EDGES[:-1], ends)
    known = ~np.isnan(level) & (ends <= len(grid))
    level = np.where(known, level, 0.0)
    stays, seen = _stays(level, known, np.sqrt(_PERSISTS**2 + wobble(grid)))
    jumps = np.clip(changes * WINDOW_TICKS, _LEAST_CHANGES, _MOST_CHANGES)
    anywhere = grid.density(level)
    goes_on = np.where(seen, (1.0 - jumps) * stays + jumps * anywhere, anywhere)
    return Following(level, known, seen, stays, goes_on, _new(grid, level[:, _BEGINS], known[:, _BEGINS]))


def wobble(grid: Grid) -> Floats:
    """Return the variance of the difference of two windows by the noise alone, for each length of window."""
    variance: Floats = 2.0 * grid.noise**2 / WINDOW_TICKS
    return variance


def _stays(level: Floats, known: Bools, spread: Floats) -> tuple[Floats, Bools]:
    """Return the density of each window's level about those of the windows before, and whether one is known."""
    stays, seen = np.zeros(level.shape), np.zeros(level.shape, dtype=np.bool_)
    for ago in range(1, RECENT + 1):
        now, before = slice(1 + ago, WINDOWS), slice(1, WINDOWS - ago)
        density = np.exp(-0.5 * ((level[:, now] - level[:, before]) / spread[now]) ** 2) / (spread[now] * _SQRT_2PI)
        density *= 1.0 if ago == 1 else _EARLIER
        stays[:, now] = np.where(known[:, before], np.maximum(stays[:, now], density), stays[:, now])
        seen[:, now] |= known[:, before]
    return stays, seen


def _new(grid: Grid, begins: Floats, known: Bools) -> Floats:
    """Return what speaks for a first level that is rare in the recording; 0 where it is not known."""
    first = np.where(known, begins, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    new = np.clip(np.log(grid.broad / grid.density(first)), _LEAST_NEW, _MOST_NEW)
    return np.where(known.any(axis=1), new, 0.0)
