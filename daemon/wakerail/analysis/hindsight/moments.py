"""All the moments at which a boot may have begun.

Those considered live, every change to a level of the opening, and every dip that is deep and rare.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields

import numpy as np

from wakerail.analysis.considered import Considered
from wakerail.analysis.hindsight.grid import Bools, Floats, Grid, Ints
from wakerail.analysis.hindsight.instants import Instants
from wakerail.analysis.hindsight.rows import Rows
from wakerail.analysis.hindsight.templates import OPENING, Template
from wakerail.analysis.sorts import BLINK, COLLAPSE, DIP, JUMP, Sort

SORTS = (COLLAPSE, BLINK, DIP, JUMP)
_NEAR = 0.3  # natural log: how near to a level of the opening a change leads
_FEWEST_BEFORE = 3  # ticks

MeterSays = Callable[[Considered], float]
"""Return what speaks for a blink being the device's rather than the meter's, as a log-likelihood ratio."""


@dataclass(frozen=True, slots=True, eq=False)
class Moments(Rows):
    """Moments in the order of time, one value of each array for each.

    ``place`` is the tick on the grid, ``sort`` counts in ``SORTS``; ``at_s`` is when the device stopped being up and
    ``again_s`` when it began again. The rest is what was thought of it live, NaN where it was not considered:
    ``log_odds``, and parts of them (see ``Considered``).
    """

    place: Ints
    sort: Ints
    at_s: Floats
    again_s: Floats
    depth: Floats
    alike: Floats
    novel: Floats
    staged: Floats
    low_a: Floats
    low_ticks: Floats
    log_odds: Floats

    def __len__(self) -> int:
        return len(self.place)

    def is_of(self, *sorts: Sort) -> Bools:
        """Tell which are of one of some sorts."""
        return np.isin(self.sort, [SORTS.index(sort) for sort in sorts])


def gather(
    grid: Grid, considered: Iterable[Considered], template: Template, others: Ints, since: int, meter_says: MeterSays
) -> Moments:
    """Return the moments after the tick ``since``, where the device began to draw; ``others`` are more to look at."""
    # a candidate may be decided twice: the last time counts
    decided = {(one.sort, one.place): one for one in considered}.values()
    rows = [
        (
            place,
            SORTS.index(one.sort),
            one.at_s,
            one.again_s,
            one.depth + (meter_says(one) if one.sort is BLINK else 0.0),
            one.alike,
            one.novel,
            float(one.staged),
            one.low_a,
            float(one.low_ticks),
            one.log_odds,
        )
        for one in decided
        if since + _FEWEST_BEFORE < (place := grid.place(one.again_s)) < len(grid) - 2
    ]
    others = others[(others > since + _FEWEST_BEFORE + 2) & (others < len(grid) - 2)]
    more = np.union1d(_changes_to_opening(grid, template, since), others)
    live = np.array([row[0] for row in rows], dtype=np.int64)
    beside = np.isin(more[:, np.newaxis] + np.array([-1, 0, 1]), live).any(axis=1)
    for place in more[~beside].tolist():
        at_s = grid.start_s(place)
        rows.append((place, SORTS.index(JUMP), at_s, at_s, 0.0, *[math.nan] * 6))
    rows.sort(key=lambda row: row[:2])
    columns = np.array(rows, dtype=np.float64).reshape(len(rows), len(fields(Moments))).T
    return Moments(columns[0].astype(np.int64), columns[1].astype(np.int64), *columns[2:])


def _changes_to_opening(grid: Grid, template: Template, since: int) -> Ints:
    """Return the places at which the current changes to a level that the boot known has soon after its begin."""
    level, steps = grid.level, grid.steps
    steps = steps[(steps > since + _FEWEST_BEFORE + 2) & (steps < len(level) - 2)]
    leads_to = (level[steps + 1] + level[steps + 2]) / 2
    opens = np.zeros(len(steps), dtype=np.bool_)
    for low, high in zip(template.low[OPENING], template.high[OPENING], strict=True):
        opens |= (leads_to > low - _NEAR) & (leads_to < high + _NEAR)  # NaN is not
    return steps[opens]


def after_dips(grid: Grid, instants: Instants) -> Ints:
    """Return the places right after the lowest tick of each dip that is deep and rare."""
    deep = np.flatnonzero(instants.deep)
    deep = deep[(deep > _FEWEST_BEFORE) & (deep < len(grid) - 4)]
    lowest = (grid.lowest[deep] <= instants.lowest[deep]) & (grid.lowest[deep - 1] > grid.lowest[deep])
    return deep[lowest] + 1
