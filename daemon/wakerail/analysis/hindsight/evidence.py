"""What describes a moment: numbers that do not depend on how large the currents are, or how fast the samples came.

Currents enter as ratios, times as ticks; NaN is what is not known of a moment.
"""

from __future__ import annotations

import numpy as np

from wakerail.analysis.hindsight.first_boot import KnownBoot
from wakerail.analysis.hindsight.grid import Bools, Floats, Grid, Ints
from wakerail.analysis.hindsight.instants import Instants
from wakerail.analysis.hindsight.moments import Moments
from wakerail.analysis.hindsight.openings import Alike, goes_on

_NOBODY = -10.0
_SAME_START, _SAME_LOW = 0.12, 0.3  # natural log: moments that differ by less are of a kind
_FEW_ALIKE, _FEW_BOOTS = 2, 4
_BEFORE, _AFTER = 4, 4  # ticks
_MOST_CHANGES, _AS_MUCH = 2000, 0.12  # how many are looked at; the share by which they may differ
_SOON = 16  # ticks after the beginning, which are the same windows
_LATER = 64  # ticks

Columns = dict[str, Floats]


def describe(
    grid: Grid,
    moments: Moments,
    known: KnownBoot,
    alike: Alike,
    instants: Instants,
    low_above: Floats,
    told: Bools,
    *,
    seen_off: bool,
) -> Columns:
    """Return a column of numbers for each thing that speaks for or against the moments.

    ``low_above``: how far each low is above the standing level, in what counts as standing; ``told``: which were
    told live.
    """
    template, summed, best = known.opening, alike.summed, alike.best
    ranked = np.sort(best)[::-1]
    after, before = _best_beside(moments.place, best, template.telling_ticks)
    level_before, level_after = _levels_beside(grid, moments.place)
    here, elsewhere = _changes_by_as_much(grid, moments.place)
    return {
        "sort": moments.sort.astype(np.float64),
        "from_off": np.full(len(moments), float(known.from_off)),
        "what_the_dip_says": moments.depth,
        "first_level_is_new": alike.new,
        "alike_by_the_second_stage": alike.by_second,
        "alike_at_best": best,
        "alike_in_all": alike.in_all,
        "alike_at_worst": summed.min(axis=1, initial=0.0),
        "lost_after_the_best": best - alike.in_all,
        "changes_that_came": alike.came.astype(np.float64),
        "windows_that_differ": alike.differ.astype(np.float64),
        "skips": np.log1p(alike.skips),
        "alike_in_8_ticks": summed[:, _SOON // 2],
        "alike_in_16_ticks": summed[:, _SOON],
        "boot_before_goes_on": goes_on(moments.place, alike),
        "better_than_those_after": best - after,
        "better_than_those_before": best - before,
        "below_the_third_best": best - ranked[min(2, len(ranked) - 1)],
        "below_the_sixth_best": best - ranked[min(5, len(ranked) - 1)],
        "live_log_odds": moments.log_odds,
        "live_alike": moments.alike,
        "live_novel": moments.novel,
        "live_second_stage": moments.staged,
        "low_ticks": moments.low_ticks,
        "seen_off": np.full(len(moments), float(seen_off)),
        "low_above_standing": low_above,
        "opening_level_off": np.abs(level_after - alike.opens_at),
        "level_before": level_before - alike.opens_at,
        "change_of_level": level_before - level_after,
        "told": told.astype(np.float64),
        "told_of_its_sort": _told_of_sort(moments, told),
        "told_of_its_kind": _told_of_kind(moments, level_after, low_above, told),
        "below_those_told": best - (np.median(best[told]) if told.any() else np.nan),
        "unlike_usual_interval": _unlike_usual(moments.again_s, moments.again_s[told]),
        "rare_before": grid.rarity(moments.place - _LATER, moments.place - 1),
        "rare_soon": grid.rarity(moments.place + 1, moments.place + _SOON),
        "rare_later": grid.rarity(moments.place + _SOON, moments.place + _LATER),
        "share_from_elsewhere": elsewhere / np.maximum(elsewhere + here, 1),
        "often_from_elsewhere": np.log1p(elsewhere),
        "ticks_after": np.log1p(len(grid) - moments.place),
    } | instants.describe(moments.place, template, best)


def _best_beside(place: Ints, best: Floats, ticks: int) -> tuple[Floats, Floats]:
    """Return the best of those that follow each within some ticks, and of those before it."""
    after, before = np.full(len(place), _NOBODY), np.full(len(place), _NOBODY)
    first = np.searchsorted(place, place - ticks).tolist()
    last = np.searchsorted(place, place + ticks, side="right").tolist()
    for number, (begin, end) in enumerate(zip(first, last, strict=True)):
        if number + 1 < end:
            after[number] = best[number + 1 : end].max()
        if begin < number:
            before[number] = best[begin:number].max()
    return after, before


def _levels_beside(grid: Grid, place: Ints) -> tuple[Floats, Floats]:
    """Return the median level of a few ticks before each place, and the mean of the three after the first."""
    ticks = place[:, np.newaxis] + np.arange(-_BEFORE, 0)
    before = np.where(ticks >= 0, grid.level[np.maximum(ticks, 0)], np.nan)
    known = ~np.isnan(before).all(axis=1)
    middle = np.full(len(place), np.nan)
    if known.any():
        middle[known] = np.nanmedian(before[known], axis=1)
    return middle, grid.means(place + 1, place + _AFTER)


def _changes_by_as_much(grid: Grid, place: Ints) -> tuple[Floats, Floats]:
    """Return how many changes of the current are by as much (A) as each moment's: from the same level, from others.

    What a radio or a charger draws comes on top of whatever the device draws; a boot begins from the same level.
    """
    level_a = np.exp(grid.level)
    changes = grid.steps[:: max(1, len(grid.steps) // _MOST_CHANGES)]
    from_a, by_a = _change_at(level_a, changes)
    from_here_a, by_here_a = _change_at(level_a, place)
    alike = np.abs(by_a - by_here_a[:, np.newaxis]) < _AS_MUCH * np.abs(by_here_a)[:, np.newaxis]
    same = np.abs(np.log(from_a) - np.log(from_here_a)[:, np.newaxis]) < _SAME_LOW
    return (alike & same).sum(axis=1).astype(np.float64), (alike & ~same).sum(axis=1).astype(np.float64)


def _change_at(level_a: Floats, place: Ints) -> tuple[Floats, Floats]:
    """Return from which level and by how much the current changes at some ticks (A): two ticks before, two after."""
    before = np.clip(place[:, np.newaxis] + np.array([-3, -2]), 0, len(level_a) - 1)
    after = np.clip(place[:, np.newaxis] + np.array([1, 2]), 0, len(level_a) - 1)
    from_a = level_a[before].mean(axis=1)
    return from_a, level_a[after].mean(axis=1) - from_a


def _told_of_kind(moments: Moments, level_after: Floats, low_above: Floats, told: Bools) -> Floats:
    """Return the share told of the others of each moment's kind: of its sort, from as low to as high. NaN for few."""
    low = np.log(np.maximum(np.nan_to_num(low_above, nan=1.0), _SAME_LOW))
    order = np.lexsort((level_after, moments.sort))
    share = np.full(len(moments), np.nan)
    sort, after, sorted_low, sorted_told = moments.sort[order], level_after[order], low[order], told[order]
    for sort_number in np.unique(sort).tolist():
        begin, end = np.searchsorted(sort, [sort_number, sort_number + 1])
        levels = after[begin:end]
        first = begin + np.searchsorted(levels, levels - _SAME_START, side="right")
        last = begin + np.searchsorted(levels, levels + _SAME_START, side="left")
        for place in range(begin, end):
            near = slice(int(first[place - begin]), int(last[place - begin]))
            same = np.abs(sorted_low[near] - sorted_low[place]) <= _SAME_LOW
            count = int(same.sum()) - 1
            if count >= _FEW_ALIKE and not np.isnan(after[place]):
                share[order[place]] = (sorted_told[near][same].sum() - sorted_told[place]) / count
    return share


def _told_of_sort(moments: Moments, told: Bools) -> Floats:
    """Return the share told of each moment's sort."""
    share = np.zeros(len(moments))
    for sort in np.unique(moments.sort):
        same = moments.sort == sort
        share[same] = told[same].mean()
    return share


def _unlike_usual(again_s: Floats, told_s: Floats) -> Floats:
    """Return by which ratio (its logarithm, either way) the time since the boot told before is not the usual one."""
    told_s = np.unique(told_s)  # two moments may begin at once
    if len(told_s) < _FEW_BOOTS:
        return np.full(len(again_s), np.nan)
    usual_s = float(np.median(np.diff(told_s)))
    place = np.searchsorted(told_s, again_s)  # of itself, for one that is told
    since_s = again_s - told_s[np.maximum(place - 1, 0)]
    known = (place > 0) & (since_s > 0)
    return np.where(known, np.abs(np.log(np.where(known, since_s, usual_s) / usual_s)), np.nan)
