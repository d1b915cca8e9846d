"""A recording on an even grid of ticks, on the logarithmic scale: what arrays can be made of."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from wakerail.analysis.scale import Scale
from wakerail.analysis.trail import Trail

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

_HELD = 3  # spacings for which a tick holds its level
_BIN = 0.05  # natural log
_BELL = np.exp(-0.5 * (np.arange(-6, 7) / 2.0) ** 2)
_KERNEL = _BELL / _BELL.sum()
_TOP_A = 20.0  # what is more is counted as this
_ANYWHERE = 0.2  # of the density of levels is spread evenly
_LEAST_COVERED = 0.6
_APART, _CHANGED = 8, 0.2  # ticks, and natural log


class Grid:
    """``level`` holds the natural log of the current at each tick (NaN in a gap), without bursts of one tick.

    ``lowest`` and ``highest`` are the same of the lowest and the highest sample of each tick, given in ``lowest_a`` and
    ``highest_a``. ``noise`` is how much the level wobbles from tick to tick, ``changes`` how often a tick lies at
    another level than the one before (a share). ``steps`` are the ticks at which it changes at once.
    """

    def __init__(self, trail: Trail, lowest_a: Floats, highest_a: Floats, scale: Scale, spacing_s: float) -> None:
        starts_s = np.asarray(trail.start_s)
        self.spacing_s, self.begin_s = spacing_s, float(starts_s[0])
        place = np.rint((starts_s - self.begin_s) / spacing_s).astype(np.int64)
        self.level = _without_bursts(_on_scale(_held(place, np.asarray(trail.level_a)), scale))
        self.lowest = _on_scale(_held(place, lowest_a), scale)
        self.highest = _on_scale(_held(place, highest_a), scale)
        self._starts_s, self._starts_at = starts_s, place
        known = ~np.isnan(self.level)
        self._sum = np.concatenate(([0.0], np.cumsum(np.where(known, self.level, 0.0))))
        self._count = np.concatenate(([0], np.cumsum(known)))
        steps = np.abs(np.diff(self.level))
        self.steps = np.flatnonzero(steps > _CHANGED) + 1  # NaN is not
        steps = steps[~np.isnan(steps)]
        self.noise = float(np.median(steps)) / 0.954 if len(steps) else 0.0
        self._lowest = math.log(scale.floor_a) - 1.0
        counts, _ = np.histogram(self.level[known], np.arange(self._lowest, math.log(_TOP_A), _BIN))
        self.broad = scale.broad
        shares = np.convolve(counts / max(counts.sum(), 1) / _BIN, _KERNEL, "same")
        self._density = (1.0 - _ANYWHERE) * shares + _ANYWHERE * self.broad
        rare = np.where(known, np.log(self.broad / self.density(self.level)), 0.0)
        self._rare = np.concatenate(([0.0], np.cumsum(rare)))

    def __len__(self) -> int:
        return len(self.level)

    def place(self, at_s: float) -> int:
        """Return which tick holds at a moment."""
        return math.floor((at_s - self.begin_s) / self.spacing_s + 1e-6)

    def start_s(self, place: int) -> float:
        """Return when the measured tick nearest to a place began (s)."""
        return float(self._starts_s[min(int(np.searchsorted(self._starts_at, place)), len(self._starts_s) - 1)])

    def means(self, first: Ints, last: Ints) -> Floats:
        """Return the mean level from each place up to, not including, another; NaN where too little was measured."""
        first, last = np.clip(first, 0, len(self)), np.clip(last, 0, len(self))
        count = self._count[last] - self._count[first]
        enough = (count > 0) & (count >= _LEAST_COVERED * (last - first))
        mean = (self._sum[last] - self._sum[first]) / np.maximum(count, 1)
        return np.where(enough, mean, np.nan)

    def density(self, level: Floats) -> Floats:
        """Return how often the device is at each of some levels (per natural log); any value for NaN."""
        place = ((np.nan_to_num(level) - self._lowest) / _BIN).astype(np.int64)
        return self._density[np.clip(place, 0, len(self._density) - 1)]

    def rarity(self, first: Ints, last: Ints) -> Floats:
        """Return how rare the levels from each place up to, not including, another are in the recording.

        That is the mean log-likelihood ratio for being at any level, against being at those the device is at.
        """
        first, last = np.clip(first, 0, len(self)), np.clip(last, 0, len(self))
        count = self._count[last] - self._count[first]
        return np.where(count > 0, (self._rare[last] - self._rare[first]) / np.maximum(count, 1), np.nan)

    def changes(self, place: int) -> float:
        """Return the share of the ticks from a place on at which the level changes."""
        level = self.level[place:]
        steps = np.abs(level[_APART:] - level[:-_APART])
        steps = steps[~np.isnan(steps)]
        return float(np.mean(steps > _CHANGED)) / _APART if len(steps) else 0.0


def _on_scale(level_a: Floats, scale: Scale) -> Floats:
    on_scale: Floats = np.log(np.maximum(level_a - scale.standing_a, 0.0) + scale.floor_a)
    return on_scale


def _held(place: Ints, level_a: Floats) -> Floats:
    """Return the levels on all places: each holds until the next one, but not for long."""
    grid_a = np.full(int(place[-1]) + 1, np.nan)
    grid_a[place] = level_a
    every = np.arange(len(grid_a))
    newest = np.maximum.accumulate(np.where(np.isnan(grid_a), -1, every))
    return np.where(every - newest <= _HELD, grid_a[newest], np.nan)


def _without_bursts(level: Floats) -> Floats:
    """Return the median of each value and its neighbours."""
    before, after = np.concatenate((level[:1], level[:-1])), np.concatenate((level[1:], level[-1:]))
    middle = np.sort(np.stack((before, level, after)), axis=0)[1]
    return np.where(np.isnan(middle), level, middle)
