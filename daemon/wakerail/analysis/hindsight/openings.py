"""How well the opening of a boot comes back at each of many moments, window by window, all moments at once.

Two stories are held against each other, as live (``candidate``): that a boot opens there as the one known did
(``templates``), and that the device goes on (``following``). A window in which the known opening stays where it was
says next to nothing; one in which it changes says much.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from scipy.special import ndtr

from wakerail.analysis.hindsight.following import Following, follow, wobble
from wakerail.analysis.hindsight.grid import Bools, Floats, Grid, Ints
from wakerail.analysis.hindsight.rows import Rows
from wakerail.analysis.hindsight.templates import WINDOW_EDGES, WINDOWS, Template

_SPREAD, _FIRST_SPREAD = 0.05, 0.3  # natural log
_DRAWS_ALIKE = 0.9  # of how much more or less a boot draws is the same in its next window
_ASIDE = 0.05  # how often a window is not the known opening's
_PERSISTS_WITHIN = 0.7  # where the known opening may stay where it was, how likely the level stays where it is
_LEAST_WIDTH = 1e-3
_LEAST_DENSITY = 1e-12
_NEVER = -60.0
_SPEAKS_FOR, _SPEAKS_AGAINST = 1.0, -1.5
_REACH, _NEAREST, _LOOKED_AT = 0.8, 3, 40  # of the template's length; ticks; moments
_SHIFTS = (-1, 1)  # ticks
_AT_ONCE = 512  # moments: what stays in a cache
_ANOTHER_BOOT = 3.0  # log-likelihood ratios
_LIKELY, _BEGUN = 3.0, 2.0  # log-likelihood ratios


@dataclass(frozen=True, slots=True, eq=False)
class Alike(Rows):
    """What the windows of each moment say, of ``moments`` x ``WINDOWS``: log-likelihood ratios, added up.

    ``best`` is the most that they say from the template's second stage on, ``best_window`` when; ``by_second`` is what
    they say by the second stage, ``in_all`` by the end. ``came`` counts the changes of the template that came,
    ``differ`` the windows that are not like it, both until the best. ``new`` is what speaks for a first level that the
    device does not have otherwise. ``template`` is the number of the one held against, -1 for none; ``opens_at`` is the
    level that it begins with, and ``skips`` how far into the boot known that is (ticks).
    """

    summed: Floats
    best: Floats
    best_window: Ints
    by_second: Floats
    in_all: Floats
    came: Ints
    differ: Ints
    new: Floats
    template: Ints
    opens_at: Floats
    skips: Ints

    def put(self, some: Ints | Bools, other: Alike) -> None:
        """Take over what another says of some of the moments."""
        for field in fields(self):
            getattr(self, field.name)[some] = getattr(other, field.name)


def hold_against(grid: Grid, following: Following, template: Template) -> Alike:
    """Hold what follows each moment against a template."""
    summed = np.cumsum(_says(grid, following, template), axis=1)
    moments = len(summed)
    seen = np.arange(WINDOWS) >= template.second_window
    best_window = np.where(seen, summed, _NEVER).argmax(axis=1)
    said = np.diff(summed, axis=1, prepend=0.0)
    until = np.arange(WINDOWS) <= best_window[:, np.newaxis]
    return Alike(
        summed=summed,
        best=summed[np.arange(moments), best_window],
        best_window=best_window,
        by_second=summed[:, template.second_window].copy(),
        in_all=summed[:, template.last_window].copy(),
        came=((said > _SPEAKS_FOR) & template.changes & until).sum(axis=1),
        differ=((said < _SPEAKS_AGAINST) & until).sum(axis=1),
        new=following.new,
        template=np.zeros(moments, dtype=np.int64),
        opens_at=np.full(moments, template.first),
        skips=np.full(moments, template.skips),
    )


def hold_against_all(grid: Grid, places: Ints, templates: Sequence[Template], changes: float) -> Alike:
    """Hold what follows each place against some boots, of which none is held against itself.

    ``templates`` begin with the opening of the boot known; another has to be clearly more alike. ``changes``: how often
    a tick is at another level by itself.
    """
    alike = _nothing_known(len(places))
    for first in range(0, len(places), _AT_ONCE):
        some = np.arange(first, min(first + _AT_ONCE, len(places)))
        following = follow(grid, places[some], changes)
        for number, template in enumerate(templates):
            others = np.flatnonzero(~template.is_itself(places[some]))
            held = hold_against(grid, following.only(others), template)
            held.template[:] = number
            against = some[others]
            better = (alike.template[against] < 0) | (held.best - _ANOTHER_BOOT > alike.best[against])
            alike.put(against[better], held.only(np.flatnonzero(better)))
    return alike


def hold_beside(grid: Grid, places: Ints, templates: Sequence[Template], changes: float, alike: Alike) -> None:
    """Hold what follows a tick before and after each place against the boot that it is like; take over what is more."""
    for shift in _SHIFTS:
        following = follow(grid, places + shift, changes)
        for number, template in enumerate(templates):
            some = np.flatnonzero(alike.template == number)
            held = hold_against(grid, following.only(some), template)
            held.template[:] = number
            more = np.flatnonzero(held.best > alike.best[some])
            alike.put(some[more], held.only(more))


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
        template=np.full(moments, -1),
        opens_at=np.full(moments, np.nan),
        skips=none(),
    )


def _says(grid: Grid, following: Following, template: Template) -> Floats:
    """Return what each window of each moment says, a log-likelihood ratio; 0 where it or the template is not known."""
    every = np.arange(1, template.last_window + 1)
    windows = every[~np.isnan(template.low[every])]
    level, known, goes_on = following.level[:, windows], following.known[:, windows], following.goes_on[:, windows]
    spread = np.sqrt(_SPREAD**2 + wobble(grid)[windows] + (_FIRST_SPREAD / (windows + 1) ** 2) ** 2)
    low, high = template.low[windows], np.maximum(template.high[windows], template.low[windows] + _LEAST_WIDTH)
    # within the envelope, moved by as much as the level was off in the window before
    off = level - np.clip(level, low, np.maximum(template.low[windows], template.high[windows]))
    moved = _DRAWS_ALIKE * _newest_before(off, known)
    boots = (ndtr((high + moved - level) / spread) - ndtr((low + moved - level) / spread)) / (high - low)
    stays = following.seen[:, windows] & ~template.changes[windows]
    within = (1.0 - _PERSISTS_WITHIN) * boots + _PERSISTS_WITHIN * following.stays[:, windows]
    boots = (1.0 - _ASIDE) * np.where(stays, within, boots) + _ASIDE * goes_on
    said = np.zeros((len(level), WINDOWS))
    ratio = np.log(np.maximum(boots, _LEAST_DENSITY) / np.maximum(goes_on, _LEAST_DENSITY))
    said[:, windows] = np.where(known, ratio, 0.0)
    return said


def _newest_before(values: Floats, known: Bools) -> Floats:
    """Return the newest known value of the windows before each; 0 where there is none."""
    padded = np.concatenate((np.zeros((len(values), 1)), values), axis=1)
    place = np.where(known, np.arange(1, values.shape[1] + 1), 0)[:, :-1]
    newest = np.maximum.accumulate(np.concatenate((np.zeros((len(values), 1), dtype=np.int64), place), axis=1), axis=1)
    before: Floats = np.take_along_axis(padded, newest, axis=1)
    return before


def goes_on(places: Ints, alike: Alike) -> Floats:
    """Return what speaks for the boot before each moment going on as the template does, in place of another.

    That is what the windows say of an earlier moment from this one on, for as long as this one is at its best.
    """
    says = np.zeros(len(places))
    earliest = np.searchsorted(places, places - int(_REACH * WINDOW_EDGES[-1]))
    latest = np.searchsorted(places, places - _NEAREST)
    likely = np.flatnonzero(alike.best > _LIKELY)
    for number, (first, last) in enumerate(zip(earliest.tolist(), latest.tolist(), strict=True)):
        before = likely[np.searchsorted(likely, first) : np.searchsorted(likely, last)][-_LOOKED_AT:]
        if not len(before):
            continue
        since = places[number] - places[before]
        at = np.clip(np.searchsorted(WINDOW_EDGES, since, side="right") - 1, 0, WINDOWS - 1)
        until = since + WINDOW_EDGES[alike.best_window[number]] + 1
        then = np.clip(np.searchsorted(WINDOW_EDGES, until, side="right") - 1, 0, WINDOWS - 1)
        begun = alike.summed[before, at] > _BEGUN
        if begun.any():
            says[number] = (alike.summed[before, then] - alike.summed[before, at])[begun].max()
    return says
