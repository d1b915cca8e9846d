"""What the current did for an instant as each moment began: how low it fell, how high it rose, and how rare that is.

A device that is reset while it is powered draws hardly anything for a moment, mostly for less than a tick or even a
sample: the mean of the tick shows little of it, the lowest sample shows it if there are samples enough. A meter that
switches its range reads nothing for as short a time, and a noisy one is low now and then, but neither of them only
where a boot begins. One that was off long enough charges its capacitors again, and draws for an instant as much as at
its first boot.
"""

from __future__ import annotations

import numpy as np

from wakerail.analysis.hindsight.grid import Bools, Floats, Grid, Ints
from wakerail.analysis.hindsight.templates import Template

_LOW, _HIGH = np.arange(-2, 2), np.arange(-1, 3)  # ticks about the begin in which the low, and the peak, may be
_BEFORE, _AFTER = np.arange(-6, -2), np.arange(2, 5)
_DEEP, _AS_DEEP = 0.3, 0.7  # natural log, and the share of a dip that another must have to be as deep
_AS_HIGH, _ABOUT = 0.2, 0.1  # natural log
_SELDOM = 4.0  # minus the natural log of a share
_BACK = 5.0  # a log-likelihood ratio: the opening came back
_FEWEST = 2


class Instants:
    """The instants of a recording: ``lowest`` and ``highest`` about each tick, and by how much it dips there.

    A dip counts below what is drawn before and after it (natural log), a peak above what is drawn after it.
    """

    def __init__(self, grid: Grid) -> None:
        every = np.arange(len(grid))
        self.lowest: Floats = _around(grid.lowest, every, _LOW).min(axis=1)
        self.highest: Floats = _around(grid.highest, every, _HIGH).max(axis=1)
        before = np.median(_around(grid.level, every, _BEFORE), axis=1)
        self._after: Floats = np.median(_around(grid.level, every, _AFTER), axis=1)
        by = np.fmin(before, self._after) - self.lowest
        self.dips_by: Floats = np.where(np.isnan(by), 0.0, np.maximum(by, 0.0))
        self._ranked_dips = np.sort(self.dips_by)
        #: where there is a dip that is both deep and rare
        self.deep: Bools = (self.dips_by > _DEEP) & (self._seldom_dips_so(self.dips_by) > _SELDOM)
        self._ranked_lowest = np.sort(-self.lowest[~np.isnan(self.lowest)])
        self._ranked_highest = np.sort(self.highest[~np.isnan(self.highest)])
        self._grid = grid

    def describe(self, places: Ints, template: Template, best: Floats) -> dict[str, Floats]:
        """Return columns of numbers for moments at some ticks, given how well the boot's opening comes back at each.

        By how much it dips (natural log); how seldom a tick dips so, how seldom one is so low, and one so high (minus
        the natural log of the share), and how many times the current came to be so low or so high (natural log); how
        far it is below all that the boot known draws; how many of the other moments with as deep a dip, or as high,
        look like a boot (a share; NaN for few); by how much it peaks, and how unlike that is to the peak with which the
        boot known began.
        """
        by, low, high = self.dips_by[places], self.lowest[places], self.highest[places]
        peak = high - self._after[places]
        known = template.low[np.isfinite(template.low)]
        return {
            "dips_by": by,
            "seldom_dips_so": self._seldom_dips_so(by),
            "low_below_boot": (known.min() if len(known) else np.nan) - low,
            "seldom_so_low": -np.log(_share_above(self._ranked_lowest, -low)),
            "times_so_low": np.log1p(_times_above(-self._grid.lowest, -low)),
            "as_deep_are_alike": np.where(by > _DEEP, _share_alike(by, best, _AS_DEEP * by), np.nan),
            "peaks_by": peak,
            "seldom_so_high": -np.log(_share_above(self._ranked_highest, high)),
            "times_so_high": np.log1p(_times_above(self._grid.highest, high)),
            "as_high_are_alike": _share_alike(high, best, high - _AS_HIGH),
            "peak_unlike_first": np.abs(peak - (self.highest[template.begin] - self._after[template.begin])),
        }

    def _seldom_dips_so(self, by: Floats) -> Floats:
        return -np.log(_share_above(self._ranked_dips, by))


def _around(values: Floats, places: Ints, offsets: Ints) -> Floats:
    """Return the values near each place, those at the end where there are none."""
    around: Floats = values[np.clip(places[:, np.newaxis] + offsets, 0, len(values) - 1)]
    return around


def _share_above(ranked: Floats, values: Floats) -> Floats:
    """Return the share of ranked values that are no less than each value; never 0."""
    above = len(ranked) - np.searchsorted(ranked, np.nan_to_num(values, nan=-np.inf) - 1e-9)
    share: Floats = np.maximum(above, 1) / max(len(ranked), 1)
    return share


def _times_above(values: Floats, levels: Floats) -> Floats:
    """Return how many times values, in the order of time, came from below to about each level or above it."""
    before, after = values[:-1], values[1:]
    rises = after > before  # NaN does not
    ranked_before, ranked_after = np.sort(before[rises]), np.sort(after[rises])
    about = np.nan_to_num(levels, nan=np.inf) - _ABOUT
    times: Floats = (np.searchsorted(ranked_before, about) - np.searchsorted(ranked_after, about)).astype(np.float64)
    return times


def _share_alike(values: Floats, best: Floats, least: Floats) -> Floats:
    """Return of the other moments whose value is at least each one's least, the share that look like a boot.

    NaN for few.
    """
    order = np.argsort(values)
    from_here = len(values) - np.searchsorted(values[order], least)
    back = np.cumsum((best[order] > _BACK)[::-1])
    others = from_here - 1
    share = (back[np.maximum(others, 0)] - (best > _BACK)) / np.maximum(others, 1)
    return np.where(others >= _FEWEST, share, np.nan)
