"""Looks back over a whole recording: which of all its moments were restarts, and how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wakerail.analysis.considered import Considered
from wakerail.analysis.hindsight.evidence import Columns, describe
from wakerail.analysis.hindsight.grid import Bools, Floats, Grid, Ints
from wakerail.analysis.hindsight.moments import SORTS, MeterSays, Moments, gather
from wakerail.analysis.hindsight.openings import Alike, hold_against, template_at
from wakerail.analysis.hindsight.weighing import GROUPS, Table
from wakerail.analysis.levels import Levels
from wakerail.analysis.seen import Restart
from wakerail.analysis.sorts import FALLEN, Sort
from wakerail.analysis.trail import Trail

_FEWEST_TICKS = 16
_MOST = 1500  # moments
_FALLEN_COUNTS = 5.0  # a fall is looked at rather than a jump that is as good
_FIRST_BOOTS = 6
_NOT_MUCH_SHORTER = 0.8
_NEAR = 5.5  # spacings: two moments nearer than this stand for one restart

Outside = Callable[[float, float], float]
"""Say what other witnesses say of a restart by its two times (s), as a log-likelihood ratio."""


@dataclass(frozen=True, slots=True, eq=False)
class Recorded:
    """A whole recording as it was read live. ``onset_s`` is None if the device ran from the beginning."""

    trail: Trail
    levels: Levels
    spacing_s: float
    onset_s: float | None
    considered: Sequence[Considered]
    meter_says: MeterSays


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a moment is in hindsight. ``counts``: it stands for a restart; two moments never stand for the same."""

    sort: Sort
    at_s: float
    again_s: float
    low_a: float
    alike: float
    log_odds: float
    counts: bool


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """The moments of a recording, and what describes them."""

    moments: Moments
    columns: Columns

    def weigh(self, tables: Mapping[str, Table]) -> Floats:
        """Return the log odds of each moment."""
        log_odds = np.full(len(self.moments), -np.inf)
        for name, sorts in GROUPS.items():
            group = self.moments.is_of(*sorts)
            if group.any():
                log_odds[group] = tables[name].log_odds({key: column[group] for key, column in self.columns.items()})
        return log_odds


def look_at(recorded: Recorded, told_s: Iterable[float]) -> Look | None:
    """Describe all moments of a recording, given when the boots began that were told live.

    None where there is too little of it, or no boot is known that others could be held against.
    """
    begins_s = sorted(told_s)
    boot = _boot_to_know(recorded.onset_s, begins_s, recorded.trail)
    if boot is None:
        return None
    grid = Grid(recorded.trail, recorded.levels.scale, recorded.spacing_s)
    template = template_at(grid, *boot)
    since = 0 if recorded.onset_s is None else grid.place(recorded.onset_s)
    moments = gather(grid, recorded.considered, template, since, recorded.meter_says)
    alike = hold_against(grid, moments.place, template, grid.changes(grid.place(boot[0])))
    told = np.isin(moments.again_s, begins_s)
    kept = _worth_looking_at(moments, alike, told)
    if not len(kept):
        return None
    moments, alike, told = moments.only(kept), alike.only(kept), told[kept]
    levels = recorded.levels
    low_above = (moments.low_a - levels.standing_a) / max(levels.tolerance_a, 1e-9)
    return Look(moments, describe(grid, moments, template, alike, low_above, told, seen_off=levels.known))


def look_back(
    recorded: Recorded, told_s: Iterable[float], tables: Mapping[str, Table], outside: Outside
) -> list[Verdict]:
    """Return the verdict on every moment of a recording; none where there is too little to go by."""
    look = look_at(recorded, told_s)
    if look is None:
        return []
    moments, log_odds = look.moments, look.weigh(tables)
    log_odds += [outside(*times_s) for times_s in zip(moments.at_s.tolist(), moments.again_s.tolist(), strict=True)]
    counts = choose(moments, log_odds, recorded.spacing_s)
    alike = look.columns["alike_at_best"]
    return [
        Verdict(
            sort=SORTS[int(moments.sort[place])],
            at_s=float(moments.at_s[place]),
            again_s=float(moments.again_s[place]),
            low_a=float(moments.low_a[place]),
            alike=float(alike[place]),
            log_odds=float(log_odds[place]),
            counts=bool(counts[place]),
        )
        for place in range(len(moments))
    ]


def _worth_looking_at(moments: Moments, alike: Alike, told: Bools) -> Ints:
    """Return the places of the moments that may be restarts, not too many: the best.

    Without a fall, and unless it was told live, only what is like the boot known may be one.
    """
    fell = moments.is_of(*FALLEN)
    kept = np.flatnonzero(fell | told | (alike.best > 0.0))
    if len(kept) > _MOST:
        worth = np.where(fell, alike.best + _FALLEN_COUNTS, alike.best)[kept]
        kept = np.sort(kept[np.argsort(-worth, kind="stable")[:_MOST]])
    return kept


def are_among(some: Sequence[Restart | Verdict], others: Sequence[Restart | Verdict], spacing_s: float) -> list[bool]:
    """Tell which of some moments stand for the same restart as one of the others does."""
    at_s, again_s = np.array([(other.at_s, other.again_s) for other in others]).reshape(-1, 2).T
    return [_is_among(one.at_s, one.again_s, at_s, again_s, spacing_s) for one in some]


def _is_among(at_s: float, again_s: float, others_at_s: Floats, others_again_s: Floats, spacing_s: float) -> bool:
    """Tell whether two moments are near each other, or one is within the other."""
    near = np.abs(others_again_s - again_s) < _NEAR * spacing_s
    return bool((near | ((at_s < others_again_s) & (others_at_s < again_s))).any())


def choose(moments: Moments, log_odds: Floats, spacing_s: float) -> Bools:
    """Tell which moments count: those more likely than not, but one only for each restart, the likeliest."""
    counts = np.zeros(len(moments), dtype=np.bool_)
    for place in np.argsort(-log_odds, kind="stable").tolist():
        if log_odds[place] <= 0.0:
            break
        at_s, again_s = float(moments.at_s[place]), float(moments.again_s[place])
        counts[place] = not _is_among(at_s, again_s, moments.at_s[counts], moments.again_s[counts], spacing_s)
    return counts


def _boot_to_know(onset_s: float | None, begins_s: Sequence[float], trail: Trail) -> tuple[float, float] | None:
    """Return when the boot began that others are held against, and for how long it lasted.

    The first, unless it broke off early: then the longest of the first few.
    """
    boots_s = sorted((*begins_s, *(() if onset_s is None else (onset_s,))))
    if not boots_s or len(trail) < _FEWEST_TICKS:
        return None
    ends_s = (*boots_s[1:], trail.start_s[-1])
    lasted_s = [end_s - begin_s for begin_s, end_s in zip(boots_s, ends_s, strict=True)][:_FIRST_BOOTS]
    longest = int(np.argmax(lasted_s))
    boot = longest if lasted_s[0] < _NOT_MUCH_SHORTER * lasted_s[longest] else 0
    return boots_s[boot], lasted_s[boot]
