"""Which boot of a recording is the one known, against which all others are held.

Where the device was seen to begin it, that is the first. What was taken for the onset live may have been a blip of a
device that was still off: looked back at, the onset is the first rise above all that was before. Of a recording that
begins while the device runs, it is the boot told that comes back best. A boot ends where its own opening comes back:
another begins there, whether it was told or not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wakerail.analysis.hindsight.following import follow
from wakerail.analysis.hindsight.grid import Floats, Grid, Ints
from wakerail.analysis.hindsight.openings import hold_against
from wakerail.analysis.hindsight.templates import LONGEST_TICKS, Template, template_at, templates_at

_RISE, _STAYS_TICKS = 0.7, 8  # natural log: an onset rises by so much above all before, for so long
_OF_THE_HIGHEST = 0.5  # of the highest rise: the first that is as high is the onset
_NOT_AT_ONCE = 3  # ticks
_ABOVE, _MOSTLY = 0.3, 0.9  # natural log, and a share of the ticks: who draws so much more so mostly is up
_AGAIN, _OF_THE_BEST, _OF_ITSELF = 8.0, 0.5, 0.35  # log-likelihood ratios, and shares of them
_LIKE_THE_FIRST = 0.4  # of what the first says of itself
_MUCH_LONGER = 1.25
_FIRST_BOOTS, _LOOKED_AT = 8, 40
_HELD_AGAINST, _SEPARATE_TICKS = 500, 6
_COUNTS_FROM, _COUNTS_UP_TO = 4.0, 25.0  # log-likelihood ratios


@dataclass(frozen=True, slots=True, eq=False)
class KnownBoot:
    """The opening of the boot known: as a whole, without its first stages, and that of another where there is one.

    Others may follow from the tick ``since`` on, where the device was seen to come on.
    ``from_off``: it was seen off before; ``often``: how often a tick is at another level since then (a share).
    """

    openings: tuple[Template, ...]
    since: int
    from_off: bool
    often: float

    @property
    def opening(self) -> Template:
        """The opening as a whole."""
        return self.openings[0]


@dataclass(frozen=True, slots=True, eq=False)
class _Boot:
    ticks: int
    opening: Template


def boot_to_know(
    grid: Grid, onset_s: float | None, told_s: Sequence[float], considered: Ints, dips: Ints
) -> KnownBoot | None:
    """Return the boot known, given the onset and the boots that were told live; None where there was none.

    ``considered``: the ticks at which candidates were considered live; ``dips``: those that follow a deep and rare dip.
    After both, a boot may have begun that nobody told.
    """
    rise = _first_rise(grid)
    places = _changes(grid, considered)
    if onset_s is not None:
        onset = grid.place(onset_s)
        if rise is not None and not _is_up(grid, onset, rise):
            onset = grid.place(grid.start_s(rise))
        told = [place for place in map(grid.place, told_s) if place > onset + _NOT_AT_ONCE]
        return _from_onset(grid, places, onset, told)
    told = [grid.place(at_s) for at_s in told_s] or ([] if rise is None else [rise])
    told = told or _after_the_lowest(grid, np.union1d(dips, considered))
    return _of_those_told(grid, places, told) if told else None


def _first_rise(grid: Grid) -> int | None:
    """Return the tick of the first rise above all levels before that is nearly as high as the highest such; or None."""
    level = grid.level
    if len(level) < 2 * _STAYS_TICKS:
        return None
    known = ~np.isnan(level)
    before = np.maximum.accumulate(np.where(known, level, -np.inf))
    after = np.lib.stride_tricks.sliding_window_view(np.where(known, level, np.inf), _STAYS_TICKS).min(axis=1)
    rise = after[_NOT_AT_ONCE:] - before[_NOT_AT_ONCE - 1 : len(after) - 1]
    rise[~np.isfinite(rise)] = 0.0
    highest = float(rise.max(initial=0.0))
    if highest < _RISE:
        return None
    return _NOT_AT_ONCE + int(np.flatnonzero(rise >= max(_RISE, _OF_THE_HIGHEST * highest))[0])


def _after_the_lowest(grid: Grid, places: Ints) -> list[int]:
    """Return of some ticks those before which the device drew the least, in the order of time."""
    places = places[(places > _NOT_AT_ONCE) & (places < len(grid) - _NOT_AT_ONCE)]
    low = np.where(np.isnan(grid.lowest), np.inf, grid.lowest)[places[:, np.newaxis] + np.arange(-2, 1)].min(axis=1)
    lowest: list[int] = np.sort(places[np.argsort(low, kind="stable")[:_FIRST_BOOTS]]).tolist()
    return lowest


def _is_up(grid: Grid, onset: int, until: int) -> bool:
    """Tell whether the device drew more than ever before its onset, nearly all the time from then to a later tick."""
    before, after = grid.level[:onset], grid.level[onset + 1 : until]
    before, after = before[~np.isnan(before)], after[~np.isnan(after)]
    if len(before) < _NOT_AT_ONCE or len(after) < _NOT_AT_ONCE:
        return False
    return bool(np.mean(after > np.quantile(before, _MOSTLY) + _ABOVE) > _MOSTLY)


def _changes(grid: Grid, considered: Ints) -> Ints:
    """Return the ticks at which the level changes, and those that were considered."""
    places = np.union1d(grid.steps, considered)
    return places[(places > _NOT_AT_ONCE) & (places < len(grid) - _NOT_AT_ONCE)]


def _from_onset(grid: Grid, places: Ints, onset: int, told: Sequence[int]) -> KnownBoot:
    """Return the first boot, or, where that broke off early, a longer one of those told that opens like it."""
    often = grid.changes(onset)
    first = _boot(grid, places, onset, len(grid), often)
    longest, second = first, None
    if told:
        looked_at = np.array([*told[:_LOOKED_AT], onset])
        best = hold_against(grid, follow(grid, looked_at, often), first.opening).best
        alike = best[:-1] > max(_AGAIN, _LIKE_THE_FIRST * best[-1])
        ends = [*told[1:], len(grid)]
        for place in np.flatnonzero(alike).tolist()[: _FIRST_BOOTS - 2]:
            boot = _boot(grid, places, told[place], ends[place], often)
            if boot.ticks > _MUCH_LONGER * longest.ticks:
                longest, second = boot, longest
    return _known(grid, longest, second, since=onset, from_off=True, often=often)


def _known(grid: Grid, boot: _Boot, other: _Boot | None, *, since: int, from_off: bool, often: float) -> KnownBoot:
    openings = templates_at(grid, boot.opening.begin, boot.ticks)
    return KnownBoot(openings if other is None else (*openings, other.opening), since, from_off, often)


def _of_those_told(grid: Grid, places: Ints, told: Sequence[int]) -> KnownBoot:
    """Return the boot told that comes back best."""
    often = grid.changes(0)
    some = places[:: max(1, len(places) // _HELD_AGAINST)]
    boots = []
    for begin, end in zip(told[:_FIRST_BOOTS], [*told[1:], len(grid)], strict=False):
        boot = _boot(grid, places, begin, end, often)
        others = some[np.abs(some - begin) > _SEPARATE_TICKS]
        alike = hold_against(grid, follow(grid, others, often), boot.opening)
        boots.append((_explains(others, alike.best, boot.opening), boot))
    best, *rest = (boot for _, boot in sorted(boots, key=lambda boot: -boot[0]))
    return _known(grid, best, rest[0] if rest else None, since=0, from_off=False, often=often)


def _boot(grid: Grid, places: Ints, begin: int, end: int, often: float) -> _Boot:
    """Return the boot that begins at a tick: it ends at ``end`` at the latest, or where its opening comes back."""
    opening = template_at(grid, begin, end - begin)
    near = places[(places > begin + opening.telling_ticks) & (places < min(begin + LONGEST_TICKS, end))]
    if len(near):
        best = hold_against(grid, follow(grid, np.append(near, begin), often), opening).best
        again = near[best[:-1] > max(_AGAIN, _OF_THE_BEST * best[:-1].max(), _OF_ITSELF * best[-1])]
        if len(again):
            end = int(again[0])
            opening = template_at(grid, begin, end - begin)
    return _Boot(end - begin, opening)


def _explains(places: Ints, best: Floats, opening: Template) -> float:
    """Return how much an opening explains: what speaks for it coming back, over places that are apart."""
    total, explained = 0.0, np.empty(0, dtype=np.int64)
    for number in np.argsort(-best, kind="stable").tolist():
        if best[number] < _COUNTS_FROM:
            break
        if not (np.abs(explained - places[number]) <= opening.telling_ticks).any():
            explained = np.append(explained, places[number])
            total += min(float(best[number]), _COUNTS_UP_TO)
    return total
