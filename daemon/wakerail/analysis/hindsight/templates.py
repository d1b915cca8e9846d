"""The opening of a boot that is known, window by window: what others are held against.

It is an envelope: the levels that it has in a window if it runs a little faster or slower, or begins a tick off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wakerail.analysis.hindsight.grid import Bools, Floats, Grid, Ints
from wakerail.analysis.opening import ALIGNMENTS, EDGES

WINDOW_EDGES = np.asarray(EDGES, dtype=np.int64)  # ticks from the begin
WINDOW_TICKS = np.diff(WINDOW_EDGES)
WINDOWS = len(WINDOW_TICKS)
LONGEST_TICKS = int(WINDOW_EDGES[-1])  # what is known of an opening at most
OPENING = slice(1, 9)  # windows: where a boot may be a tick or two after its begin, whatever the meter does there
RECENT = 6  # windows: a level of one of them may come back
_FIRST = slice(1, 6)  # windows: the first level; the window before is a mixture of before and after
_INRUSH = slice(1, 5)  # windows
_SECOND = 0.25  # natural log: the second stage is further than this from the first
_SECOND_TICKS = 2
_WHOLE = 0.97  # of the time until the next boot
_FEWEST = 6  # windows
_ANOTHER = 0.2  # natural log: levels that differ by less are one
_APART_TICKS, _ITSELF_TICKS = 3, 3
_MOST_SKIPPED_TICKS, _MOST_LATER = 64, 3


@dataclass(frozen=True, slots=True, eq=False)
class Template:
    """The opening of a boot that is known: the lowest and the highest level of each window, NaN where not known.

    ``first`` is the level that it begins with, ``second_window`` the window by which its second stage has shown,
    ``last_window`` the last that is known; ``changes`` tells in which windows it is at a level that it was not before.
    It was taken from the tick ``begin``; ``skips`` is how many ticks of the boot are left out before that.
    """

    low: Floats
    high: Floats
    first: float
    second_window: int
    last_window: int
    changes: Bools
    begin: int
    skips: int

    @property
    def telling_ticks(self) -> int:
        """For how many ticks a boot has to be seen until its second stage has shown."""
        return int(WINDOW_EDGES[max(self.second_window, 3) + 1])

    @property
    def known_ticks(self) -> int:
        """How many ticks of it are known."""
        return int(WINDOW_EDGES[self.last_window + 1])

    def is_itself(self, places: Ints) -> Bools:
        """Tell which ticks are where it was taken from."""
        itself: Bools = np.abs(places - self.begin) <= _ITSELF_TICKS
        return itself


def templates_at(grid: Grid, begin: int, ticks: int) -> tuple[Template, ...]:
    """Return the opening of the boot that began at a tick, and the same without its first stages.

    A device that is reset while it is powered mostly skips those in which its supplies come up.
    """
    until = begin + min(_MOST_SKIPPED_TICKS, ticks // 2)
    steps = grid.steps[(grid.steps > begin + _APART_TICKS) & (grid.steps < until)]
    stages = steps[np.diff(steps, prepend=begin) > _APART_TICKS][:_MOST_LATER]
    later = (template_at(grid, stage, begin + ticks - stage, skips=stage - begin) for stage in stages.tolist())
    return template_at(grid, begin, ticks), *later


def template_at(grid: Grid, begin: int, ticks: int, skips: int = 0) -> Template:
    """Return the opening of the boot that began at a tick and lasted for ``ticks``."""
    low, high = np.full(WINDOWS, np.inf), np.full(WINDOWS, -np.inf)
    for stretch, shift in ALIGNMENTS:
        first = np.maximum(np.rint(begin + stretch * WINDOW_EDGES[:-1] + shift).astype(np.int64), begin + 1)
        last = np.maximum(np.rint(begin + stretch * WINDOW_EDGES[1:] + shift).astype(np.int64), first + 1)
        mean = grid.means(first, last)
        low, high = np.fmin(low, mean), np.fmax(high, mean)
    middle = grid.means(begin + WINDOW_EDGES[:-1], begin + WINDOW_EDGES[1:])
    over = WINDOW_EDGES[1:] > _WHOLE * ticks
    over[:_FEWEST] = False
    unknown = over | (begin + WINDOW_EDGES[1:] > len(grid)) | ~np.isfinite(low)
    low[unknown] = high[unknown] = middle[unknown] = np.nan
    known = np.flatnonzero(~unknown)
    last_window = int(known[-1]) if len(known) else 1
    begins = middle[_FIRST][~np.isnan(middle[_FIRST])]
    level = float(np.median(begins)) if len(begins) else 0.0
    second_window = min(_second_window(low, high, level), last_window)
    if len(begins):  # a warm restart opens without the inrush, or the slow rise, of a cold one
        low[_INRUSH], high[_INRUSH] = np.minimum(low[_INRUSH], level), np.maximum(high[_INRUSH], level)
        middle[_INRUSH] = level
    return Template(low, high, level, second_window, last_window, _changes(middle), begin, skips)


def _changes(level: Floats) -> Bools:
    """Tell in which windows a level is none of those of the windows before."""
    changes = np.zeros(WINDOWS, dtype=np.bool_)
    for window in range(2, WINDOWS):
        before = level[max(1, window - RECENT) : window]
        known = before[~np.isnan(before)]
        apart = np.abs(known - level[window]) > _ANOTHER
        changes[window] = bool(len(known)) and bool(apart.all())
    return changes


def _second_window(low: Floats, high: Floats, first: float) -> int:
    away = 0
    for window in range(1, WINDOWS):
        if math.isnan(low[window]):
            continue
        apart = low[window] > first + _SECOND or high[window] < first - _SECOND
        away = away + int(WINDOW_TICKS[window]) if apart else 0
        if away >= _SECOND_TICKS:
            return window
    return WINDOWS - 1
