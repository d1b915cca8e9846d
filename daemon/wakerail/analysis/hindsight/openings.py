"""How well the opening of a boot comes back at each of many moments, window by window, all moments at once.

Two stories are held against each other, as live (``candidate``): that a boot opens there as the one known did, and that
the device goes on, at the level it has or had a moment ago, and now and then at any other. A window in which the known
opening stays where it was says next to nothing; one in which it changes says much. The known opening is an envelope:
the levels that it has in a window if it runs a little faster or slower, or begins a tick off.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from scipy.special import ndtr

from wakerail.analysis.hindsight.grid import Bools, Floats, Grid, Ints
from wakerail.analysis.opening import ALIGNMENTS, EDGES

_EDGES = np.asarray(EDGES, dtype=np.int64)
_TICKS = np.diff(_EDGES)
WINDOWS = len(_TICKS)
LONGEST_TICKS = int(_EDGES[-1])  # what is known of an opening at most
OPENING = slice(1, 9)  # windows: where a boot may be a tick or two after its begin, whatever the meter does there
_FIRST = slice(1, 6)  # windows: the first level; the window before is a mixture of before and after
_INRUSH = slice(1, 5)  # windows
_SECOND = 0.25  # natural log: the second stage is further than this from the first
_SECOND_TICKS = 2
_WHOLE = 0.97  # of the time until the next boot
_FEWEST = 6  # windows
_ANOTHER = 0.2  # natural log: levels that differ by less are one
_RECENT = 6  # windows: a level of one of them may come back
_SPREAD, _FIRST_SPREAD, _PERSISTS = 0.05, 0.3, 0.04  # natural log
_DRAWS_ALIKE = 0.9  # of how much more or less a boot draws is the same in its next window
_ASIDE = 0.05  # how often a window is not the known opening's
_PERSISTS_WITHIN = 0.7  # where the known opening may stay where it was, how likely the level stays where it is
_EARLIER = 0.5  # how likely an earlier level comes back, against the newest
_LEAST_CHANGES, _MOST_CHANGES = 0.01, 0.35
_LEAST_WIDTH = 1e-3
_LEAST_NEW, _MOST_NEW = -4.0, 1.0
_SQRT_2PI = math.sqrt(2 * math.pi)
_NEVER = -60.0
_SPEAKS_FOR, _SPEAKS_AGAINST = 1.0, -1.5
_REACH, _NEAREST, _LOOKED_AT = 0.8, 3, 40  # of the template's length; ticks; moments
_SHIFTS = (-1, 1)  # ticks
_ANOTHER_BOOT = 3.0  # log-likelihood ratios
_ITSELF_TICKS = 3
_MOST_SKIPPED_TICKS, _MOST_LATER = 64, 3
_LIKELY, _BEGUN = 3.0, 2.0  # log-likelihood ratios


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
        return int(_EDGES[max(self.second_window, 3) + 1])

    @property
    def known_ticks(self) -> int:
        """How many ticks of it are known."""
        return int(_EDGES[self.last_window + 1])

    def is_itself(self, places: Ints) -> Bools:
        """Tell which ticks are where it was taken from."""
        itself: Bools = np.abs(places - self.begin) <= _ITSELF_TICKS
        return itself


def templates_at(grid: Grid, begin: int, ticks: int) -> tuple[Template, ...]:
    """Return the opening of the boot that began at a tick, and the same without its first stages.

    A device that is reset while it is powered mostly skips those in which its supplies come up.
    """
    steps = grid.steps[(grid.steps > begin + _NEAREST) & (grid.steps < begin + min(_MOST_SKIPPED_TICKS, ticks // 2))]
    stages = steps[np.diff(steps, prepend=begin) > _NEAREST][:_MOST_LATER]
    later = (template_at(grid, stage, begin + ticks - stage, skips=stage - begin) for stage in stages.tolist())
    return template_at(grid, begin, ticks), *later


def template_at(grid: Grid, begin: int, ticks: int, skips: int = 0) -> Template:
    """Return the opening of the boot that began at a tick and lasted for ``ticks``."""
    low, high = np.full(WINDOWS, np.inf), np.full(WINDOWS, -np.inf)
    for stretch, shift in ALIGNMENTS:
        first = np.maximum(np.rint(begin + stretch * _EDGES[:-1] + shift).astype(np.int64), begin + 1)
        last = np.maximum(np.rint(begin + stretch * _EDGES[1:] + shift).astype(np.int64), first + 1)
        mean = grid.means(first, last)
        low, high = np.fmin(low, mean), np.fmax(high, mean)
    middle = grid.means(begin + _EDGES[:-1], begin + _EDGES[1:])
    over = _EDGES[1:] > _WHOLE * ticks
    over[:_FEWEST] = False
    unknown = over | (begin + _EDGES[1:] > len(grid)) | ~np.isfinite(low)
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
        before = level[max(1, window - _RECENT) : window]
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
        away = away + int(_TICKS[window]) if apart else 0
        if away >= _SECOND_TICKS:
            return window
    return WINDOWS - 1


@dataclass(frozen=True, slots=True, eq=False)
class Alike:
    """What the windows of each moment say, of ``moments`` x ``WINDOWS``: log-likelihood ratios, added up.

    ``best`` is the most that they say from the template's second stage on, ``best_window`` when; ``by_second`` is what
    they say by the second stage, ``in_all`` by the end. ``came`` counts the changes of the template that came,
    ``differ`` the windows that are not like it, both until the best. ``new`` is what speaks for a first level that the
    device does not have otherwise. ``opens_at`` is the level that the template begins with, and ``skips`` how far into
    the boot known that is (ticks).
    """

    summed: Floats
    best: Floats
    best_window: Ints
    by_second: Floats
    in_all: Floats
    came: Ints
    differ: Ints
    new: Floats
    opens_at: Floats
    skips: Ints

    def only(self, kept: Ints) -> Alike:
        """Return the same of some of the moments."""
        return Alike(*(getattr(self, field.name)[kept] for field in fields(self)))

    def put(self, some: Ints | Bools, other: Alike) -> None:
        """Take over what another says of some of the moments."""
        for field in fields(self):
            getattr(self, field.name)[some] = getattr(other, field.name)


def hold_against(grid: Grid, places: Ints, template: Template, changes: float) -> Alike:
    """Hold what follows each place against a template. ``changes``: how often a tick is at another level by itself."""
    ends = places[:, np.newaxis] + _EDGES[1:]
    here = grid.means(places[:, np.newaxis] + _EDGES[:-1], ends)
    here[ends > len(grid)] = np.nan
    summed = np.zeros((len(places), WINDOWS))
    total, off = np.zeros(len(places)), np.zeros(len(places))
    for window in range(1, template.last_window + 1):
        if not math.isnan(template.low[window]):
            level = here[:, window]
            known = ~np.isnan(level)
            total = total + np.where(known, _says(grid, here, window, template, off, changes), 0.0)
            within = np.clip(level, template.low[window], max(template.high[window], template.low[window]))
            off = np.where(known, level - within, off)
        summed[:, window] = total
    summed[:, template.last_window + 1 :] = total[:, np.newaxis]
    seen = np.arange(WINDOWS) >= template.second_window
    best_window = np.where(seen, summed, _NEVER).argmax(axis=1)
    said = np.diff(summed, axis=1, prepend=0.0)
    until = np.arange(WINDOWS) <= best_window[:, np.newaxis]
    begins = here[:, 1:4]
    known = ~np.isnan(begins)
    first = np.where(known, begins, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    new = np.clip(np.log(grid.broad / grid.density(first)), _LEAST_NEW, _MOST_NEW)
    return Alike(
        summed=summed,
        best=summed[np.arange(len(places)), best_window],
        best_window=best_window,
        by_second=summed[:, template.second_window].copy(),
        in_all=summed[:, template.last_window].copy(),
        came=((said > _SPEAKS_FOR) & template.changes & until).sum(axis=1),
        differ=((said < _SPEAKS_AGAINST) & until).sum(axis=1),
        new=np.where(known.any(axis=1), new, 0.0),
        opens_at=np.full(len(places), template.first),
        skips=np.full(len(places), template.skips),
    )


def hold_near(grid: Grid, places: Ints, templates: Sequence[Template], changes: float) -> Alike:
    """Hold what follows each place against some boots, from a tick early or late if it is more alike from there.

    ``templates`` begin with the opening of the boot known; another has to be clearly more alike. None is held against
    itself.
    """
    alike = _nothing_known(len(places))
    of = np.full(len(places), -1)
    for number, template in enumerate(templates):
        others = np.flatnonzero(~template.is_itself(places))
        held = hold_against(grid, places[others], template, changes)
        better = (of[others] < 0) | (held.best - _ANOTHER_BOOT > alike.best[others])
        alike.put(others[better], held.only(np.flatnonzero(better)))
        of[others[better]] = number
    for number, template in enumerate(templates):
        some = np.flatnonzero(of == number)
        for shift in _SHIFTS if len(some) else ():
            shifted = hold_against(grid, places[some] + shift, template, changes)
            more = np.flatnonzero(shifted.best > alike.best[some])
            alike.put(some[more], shifted.only(more))
    return alike


def _nothing_known(moments: int) -> Alike:
    """Return what is said of moments where there is no boot to hold them against."""

    def nothing() -> Floats:
        return np.zeros(moments)

    def none() -> Ints:
        return np.zeros(moments, dtype=np.int64)

    return Alike(
        summed=np.zeros((moments, WINDOWS)),
        best=nothing(),
        best_window=none(),
        by_second=nothing(),
        in_all=nothing(),
        came=none(),
        differ=none(),
        new=nothing(),
        opens_at=np.full(moments, np.nan),
        skips=none(),
    )


def _says(grid: Grid, here: Floats, window: int, template: Template, off: Floats, changes: float) -> Floats:
    """Return what one window of each moment says; any value where its level is NaN."""
    level, ticks = np.nan_to_num(here[:, window]), int(_TICKS[window])
    wobble = 2.0 * grid.noise**2 / ticks
    # the device goes on: at a level of the windows before, or, now and then, at any
    steady = math.sqrt(_PERSISTS**2 + wobble)
    persists, seen = np.zeros(len(level)), np.zeros(len(level), dtype=np.bool_)
    for before in range(max(1, window - _RECENT), window):
        known = ~np.isnan(here[:, before])
        density = np.exp(-0.5 * ((level - here[:, before]) / steady) ** 2) / (steady * _SQRT_2PI)
        density *= 1.0 if before == window - 1 else _EARLIER
        persists = np.where(known, np.maximum(persists, density), persists)
        seen |= known
    jumps = min(max(changes * ticks, _LEAST_CHANGES), _MOST_CHANGES)
    anywhere = grid.density(level)
    goes_on = np.where(seen, (1.0 - jumps) * persists + jumps * anywhere, anywhere)
    # a boot: within the envelope, moved by as much as it was off in the window before
    spread = math.sqrt(_SPREAD**2 + wobble + (_FIRST_SPREAD / (window + 1) ** 2) ** 2)
    low, high = template.low[window], max(template.high[window], template.low[window] + _LEAST_WIDTH)
    moved = _DRAWS_ALIKE * off
    boots = (ndtr((high + moved - level) / spread) - ndtr((low + moved - level) / spread)) / (high - low)
    if not template.changes[window]:
        boots = np.where(seen, (1.0 - _PERSISTS_WITHIN) * boots + _PERSISTS_WITHIN * persists, boots)
    boots = (1.0 - _ASIDE) * boots + _ASIDE * goes_on
    said: Floats = np.log(np.maximum(boots, 1e-12) / np.maximum(goes_on, 1e-12))
    return said


def goes_on(places: Ints, alike: Alike) -> Floats:
    """Return what speaks for the boot before each moment going on as the template does, in place of another.

    That is what the windows say of an earlier moment from this one on, for as long as this one is at its best.
    """
    says = np.zeros(len(places))
    earliest = np.searchsorted(places, places - int(_REACH * _EDGES[-1]))
    latest = np.searchsorted(places, places - _NEAREST)
    likely = np.flatnonzero(alike.best > _LIKELY)
    for number, (first, last) in enumerate(zip(earliest.tolist(), latest.tolist(), strict=True)):
        before = likely[np.searchsorted(likely, first) : np.searchsorted(likely, last)][-_LOOKED_AT:]
        if not len(before):
            continue
        since = places[number] - places[before]
        at = np.clip(np.searchsorted(_EDGES, since, side="right") - 1, 0, WINDOWS - 1)
        until = since + _EDGES[alike.best_window[number]] + 1
        then = np.clip(np.searchsorted(_EDGES, until, side="right") - 1, 0, WINDOWS - 1)
        begun = alike.summed[before, at] > _BEGUN
        if begun.any():
            says[number] = (alike.summed[before, then] - alike.summed[before, at])[begun].max()
    return says
