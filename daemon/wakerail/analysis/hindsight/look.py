"""Looks back over what was recorded: which of all its moments were restarts, and how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from wakerail.analysis.considered import Considered
from wakerail.analysis.hindsight.evidence import Columns, describe
from wakerail.analysis.hindsight.first_boot import boot_to_know
from wakerail.analysis.hindsight.grid import Bools, Floats, Grid, Ints
from wakerail.analysis.hindsight.instants import Instants
from wakerail.analysis.hindsight.kin import Surroundings, describe_kin, surroundings
from wakerail.analysis.hindsight.moments import SORTS, MeterSays, Moments, after_dips, gather
from wakerail.analysis.hindsight.openings import Alike, hold_against_all, hold_beside
from wakerail.analysis.hindsight.shapes import Shapes
from wakerail.analysis.hindsight.together import describe_crowd, describe_together, distinct
from wakerail.analysis.hindsight.weighing import Forests
from wakerail.analysis.levels import Levels
from wakerail.analysis.sorts import FALLEN, Sort
from wakerail.analysis.trail import Trail

_FEWEST_TICKS = 16
_MOST = 1500  # moments
_HARDLY_ALIKE = -3.0  # a log-likelihood ratio: a tick early or late it may be more alike
_FALLEN_COUNTS = 5.0  # a fall is looked at rather than a jump that is as good
_ONE_OF_ANOTHER = -9.0  # the log odds of a moment that stands for the same restart as a likelier one

Outside = Callable[[float, float], float]
"""Say what other witnesses say of a restart by its two times (s), as a log-likelihood ratio."""


@dataclass(frozen=True, slots=True, eq=False)
class Recorded:
    """What was recorded, as it was read live. ``onset_s`` is None if the device ran from the beginning.

    ``lowest_a`` and ``highest_a`` hold the lowest and the highest sample of each tick of the trail.
    """

    trail: Trail
    levels: Levels
    spacing_s: float
    onset_s: float | None
    considered: Sequence[Considered]
    meter_says: MeterSays
    lowest_a: Floats
    highest_a: Floats


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a moment is in hindsight. ``dipped``: single samples about it were low, as is rare in this recording."""

    sort: Sort
    at_s: float
    again_s: float
    low_a: float
    alike: float
    dipped: bool
    log_odds: float

    @property
    def counts(self) -> bool:
        """Whether it stands for a restart; two moments never stand for the same."""
        return self.log_odds > 0.0


Looking = Callable[[Recorded, Iterable[float], Outside], list[Verdict]]
"""Return the verdict on every moment of what was recorded, given when those boots began that were seen live (s)."""


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """The moments of a recording, and what describes each alone. ``dipped``: see ``Verdict``."""

    moments: Moments
    columns: Columns
    about: Surroundings
    dipped: Bools
    spacing_s: float
    length_s: float

    def together(self, alone: Floats, so_far: Floats, among: Ints) -> Columns:
        """Return what some moments, of which each stands for a restart of its own, say together.

        That depends on the log odds of all moments: those of each ``alone``, and what they are ``so_far``.
        """
        columns = {key: column[among] for key, column in self.columns.items()} | {"alone": alone[among]}
        return (
            describe_crowd(self.moments, so_far, among)
            | describe_together(self.moments.only(among), columns, so_far[among], self.spacing_s, self.length_s)
            | describe_kin(self.about.only(among), self.moments.again_s[among], so_far[among])
        )


def look_at(recorded: Recorded, live_s: Iterable[float]) -> Look | None:
    """Describe all moments of a recording, given when those boots began that were seen live.

    None where there is too little of it, or no boot is known that others could be held against.
    """
    if len(recorded.trail) < _FEWEST_TICKS:
        return None
    begins_s = sorted(live_s)
    grid = Grid(recorded.trail, recorded.lowest_a, recorded.highest_a, recorded.levels.scale, recorded.spacing_s)
    considered = np.array([grid.place(one.again_s) for one in recorded.considered], dtype=np.int64)
    instants = Instants(grid)
    dips = after_dips(grid, instants)
    known = boot_to_know(grid, recorded.onset_s, begins_s, considered, dips)
    if known is None:
        return None
    shapes = Shapes(grid, known.openings)
    others = np.union1d(dips, shapes.recurrences())
    moments = gather(grid, recorded.considered, known.opening, others, known.since, recorded.meter_says)
    alike = hold_against_all(grid, moments.place, known.openings, known.often)
    told = np.isin(moments.again_s, begins_s)
    kept = _worth_looking_at(moments, alike, told | np.isin(moments.place, others))
    if not len(kept):
        return None
    moments, alike, told = moments.only(kept), alike.only(kept), told[kept]
    hold_beside(grid, moments.place, known.openings, known.often, alike)
    levels = recorded.levels
    low_above = (moments.low_a - levels.standing_a) / max(levels.tolerance_a, 1e-9)
    columns = describe(grid, moments, known, alike, instants, low_above, told, seen_off=levels.known)
    columns |= shapes.describe(moments.place)
    dipped = instants.deep[moments.place]
    length_s = recorded.trail.start_s[-1] - recorded.trail.start_s[0]
    return Look(moments, columns, surroundings(grid, moments.place), dipped, recorded.spacing_s, length_s)


def looking_by(forests: Forests) -> Looking:
    """Return what looks back by some forests: with no verdict where there is too little to go by."""
    return partial(_look_back, forests)


def _look_back(forests: Forests, recorded: Recorded, live_s: Iterable[float], outside: Outside) -> list[Verdict]:
    look = look_at(recorded, live_s)
    if look is None:
        return []
    moments, alone = look.moments, forests.alone.log_odds(look.columns)
    other = np.array(
        [outside(*times_s) for times_s in zip(moments.at_s.tolist(), moments.again_s.tolist(), strict=True)]
    )
    among = np.flatnonzero(distinct(moments, alone + other, recorded.spacing_s))
    log_odds = np.full(len(moments), _ONE_OF_ANOTHER)
    if len(among):
        so_far = alone.copy()
        for forest in (forests.together, forests.again):
            so_far[among] = forest.log_odds(look.together(alone, so_far, among))
        log_odds[among] = so_far[among] + other[among]
    return [
        Verdict(
            sort=SORTS[int(moments.sort[place])],
            at_s=float(moments.at_s[place]),
            again_s=float(moments.again_s[place]),
            low_a=float(moments.low_a[place]),
            alike=float(look.columns["alike_at_best"][place]),
            dipped=bool(look.dipped[place]),
            log_odds=float(log_odds[place]),
        )
        for place in range(len(moments))
    ]


def _worth_looking_at(moments: Moments, alike: Alike, at_all_events: Bools) -> Ints:
    """Return the places of the moments that may be restarts, not too many: the best.

    Without a fall, and but for some ``at_all_events``, only what is like the boot known may be one.
    """
    fell = moments.is_of(*FALLEN)
    kept = np.flatnonzero(fell | at_all_events | (alike.best > _HARDLY_ALIKE))
    if len(kept) > _MOST:
        worth = np.where(fell, alike.best + _FALLEN_COUNTS, alike.best)[kept]
        kept = np.sort(kept[np.argsort(-worth, kind="stable")[:_MOST]])
    return kept
