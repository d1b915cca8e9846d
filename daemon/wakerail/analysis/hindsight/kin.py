"""Which moments are kin: the same comes after them, whatever that is.

A device that restarts does the same again each time, though no boot of it may be known, or none that is like the
others. How rare what they share is in the recording tells kin from what is alike by chance, what was before them tells
the begin of a boot from a later part of it, and when they come a loop from use.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from wakerail.analysis.hindsight.evidence import Columns
from wakerail.analysis.hindsight.grid import Bools, Floats, Grid, Ints
from wakerail.analysis.hindsight.rows import Rows
from wakerail.analysis.hindsight.together import log_s, usual_distance

_AFTER = np.array([1, 3, 5, 8, 12, 17, 23, 31, 41, 54, 71, 93, 122])  # ticks
_BEFORE = np.array([-1, -3, -6, -11, -19, -32])
_SPREAD, _ELSE = 0.06, 0.15  # natural log; how likely kin differ in a window all the same
_CHANGED, _UNCHANGED_COUNTS = 0.1, 0.15  # natural log; what a window counts that is at the level of the one before it
_MOST, _LEAST = 32, -4.0  # moments that all are held against, and their log odds
_KIN, _SAME_BEFORE = 1.5, 1.0  # log-likelihood ratios
_FEWEST = 2
_LEAST_EXPECTED, _NOBODY = 1e-3, -1e3
_WHEN = ("kin_intervals_vary", "kin_interval_off", "kin_interval")
NAMES = (
    "kin_best",
    "kin_second",
    "kin_fifth",
    "kin_usually",
    "kin_count",
    "kin_share",
    "kin_expected",
    "kin_odds",
    "kin_before",
    "kin_same_before",
    *_WHEN,
)


@dataclass(frozen=True, slots=True, eq=False)
class Side(Rows):
    """For each of some moments, the levels of the windows on one side of it, the nearest first.

    ``usual`` is the natural log of how often the device is at such a level.
    """

    level: Floats
    usual: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """What comes after and before each of some moments.

    ``noise`` is how much levels wobble from tick to tick, ``broad`` the density of a level that may be anywhere.
    """

    after: Side
    before: Side
    noise: float
    broad: float

    def only(self, kept: Ints) -> Surroundings:
        """Return the same of some of the moments."""
        return Surroundings(self.after.only(kept), self.before.only(kept), self.noise, self.broad)


def surroundings(grid: Grid, places: Ints) -> Surroundings:
    """Return what is about some ticks."""
    here = places[:, np.newaxis]
    after = grid.means(here + _AFTER[:-1], here + _AFTER[1:])
    before = grid.means(here + _BEFORE[1:], here + _BEFORE[:-1])
    after_it, before_it = (Side(level, np.log(grid.density(level))) for level in (after, before))
    return Surroundings(after_it, before_it, grid.noise, grid.broad)


def describe_kin(about: Surroundings, again_s: Floats, log_odds: Floats) -> Columns:
    """Return columns of numbers for moments: how alike each is to the likeliest others, and which of those are kin.

    Of its kin, how many they are and how likely, if what was before is the same as well, and when they come. NaN where
    there are too few.
    """
    ranked = np.argsort(-log_odds, kind="stable")[:_MOST]
    held = np.sort(ranked[log_odds[ranked] > _LEAST])
    if len(held) <= _FEWEST:
        return dict.fromkeys(NAMES, np.full(len(again_s), np.nan))
    itself = np.arange(len(again_s))[:, np.newaxis] == held
    after, before = _alike(about, held)
    after, before = np.where(itself, np.nan, after), np.where(itself, np.nan, before)
    best = -np.sort(-np.nan_to_num(after, nan=_NOBODY), axis=1)
    kin = after > _KIN
    count = kin.sum(axis=1)

    def of_kin(values: Floats) -> Floats:
        return np.where(count > 0, np.where(kin, values, 0.0).sum(axis=1) / np.maximum(count, 1), np.nan)

    numbers = {
        "kin_best": best[:, 0],
        "kin_second": best[:, 1],
        "kin_fifth": best[:, min(4, best.shape[1] - 1)],
        "kin_usually": np.nanmedian(after, axis=1),
        "kin_count": np.log1p(count),
        "kin_share": count / len(held),
        "kin_expected": np.log(np.maximum((kin * expit(log_odds[held])).sum(axis=1), _LEAST_EXPECTED)),
        "kin_odds": of_kin(log_odds[held]),
        "kin_before": of_kin(before),
        "kin_same_before": of_kin((before > _SAME_BEFORE).astype(np.float64)),
    }
    when = _when(again_s, again_s[held], kin & (count >= _FEWEST)[:, np.newaxis])
    return numbers | dict(zip(_WHEN, when, strict=True))


def _alike(about: Surroundings, held: Ints) -> tuple[Floats, Floats]:
    """Return how alike each moment is to each of those ``held`` after it, and before it."""
    after, before = about.after, about.before
    first, ticks_after, ticks_before = before.level[:, :1], np.diff(_AFTER), -np.diff(_BEFORE)
    return (
        _log_ratio(after, first, about.noise / np.sqrt(ticks_after), held, about.broad),
        _log_ratio(before, before.level[:, :1], about.noise / np.sqrt(ticks_before), held, about.broad),
    )


def _log_ratio(side: Side, nearest: Floats, noise: Floats, held: Ints, broad: float) -> Floats:
    """Return the log-likelihood ratio of each moment's windows being as those of each ``held``, against as usual.

    What stays at a level says little more than that it was reached. ``nearest`` is the level next to the first window.
    """
    level = side.level
    apart, variance = level[:, np.newaxis] - level[held], _SPREAD**2 + 2 * noise**2
    same = np.exp(-0.5 * apart**2 / variance) / np.sqrt(2 * math.pi * variance)
    says = np.log((1.0 - _ELSE) * same + _ELSE * broad) - side.usual[:, np.newaxis]
    stays = np.abs(level - np.concatenate((nearest, level[:, :-1]), axis=1)) < _CHANGED  # NaN does not
    counts = np.where(stays[:, np.newaxis] & stays[held], _UNCHANGED_COUNTS, 1.0)
    summed: Floats = np.where(np.isnan(says), 0.0, says * counts).sum(axis=2)
    return summed


def _when(again_s: Floats, held_s: Floats, kin: Bools) -> tuple[Floats, Floats, Floats]:
    """Return for each moment and its kin how much their intervals vary, how far its own are off, and the usual one."""
    vary, off, usual = (np.full(len(again_s), np.nan) for _ in range(3))
    for place in np.flatnonzero(kin.any(axis=1)).tolist():
        times_s = np.sort(np.append(held_s[kin[place]], again_s[place]))
        logs = log_s(np.diff(times_s))
        usual[place] = np.median(logs)
        here = int(np.searchsorted(times_s, again_s[place]))
        vary[place] = usual_distance(logs)
        off[place] = np.abs(logs[max(here - 1, 0) : here + 1] - usual[place]).min()
    return vary, off, usual
