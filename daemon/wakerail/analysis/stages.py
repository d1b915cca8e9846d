"""The stages of a boot: stretches of a current trace in which the device behaves alike.

What a person sees on a plot, and by the same means:

- Levels span decades and their ripple grows with them, so they are compared by their ratio. Below a floor, taken from
  the trace's own level and noise, differences count as they are: what is nothing on the plot is nothing here.
- A boot's first seconds are read finely, what comes later on the scale of how long the boot has lasted (the age),
  and everything no finer than a picture shows. So a loader of half a second is a stage, and a burst or a wake-up of
  half a second after an hour belongs to the spread of the stage that it happens in.
- Stages are few: where more are found than a person would read, changes must be larger to count.

Ticks are gathered to cells on that scale; a fixed number of cells at most, so the exact search is bounded whatever
the trace's length, and the bounds that it finds are then placed on the ticks. All else is linear in the ticks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter

from wakerail.analysis.segments import change_points, default_penalty, refined
from wakerail.analysis.ticks import Floats, Ints, Ticks

MOST_STAGES = 20  # from one break to the next
_CELLS = 12_000  # of a whole trace
_CELLS_OF_PART = (48, 1000)  # from one break to the next: fewest and most; the most is about a picture's width
_FINE_SHARE = 0.1  # so many of a part's cells are one tick each at its beginning; from there they grow with the age
_SHORTEST = 3  # cells in a stage
_MEDIAN_CELLS = 7
_FLOOR_SHARE = 0.01  # of the trace's high level: about the width of the plot's line
_BRIEF = 4  # times: so much longer than an excursion is what stands on either side of it
_LEAST_CHANGE = 0.1  # squared ratio (natural logarithm) times cells that a change must explain at least
_GAP_SPACINGS = 5.0  # so many times the usual spacing between ticks is a gap


@dataclass(frozen=True, slots=True)
class Stage:
    """A stretch of like behaviour.

    start_s, end_s: its bounds (monotonic seconds); a stage ends where the next begins, or at a gap.
    mean_a, spread_a, peak_a: mean, standard deviation and highest of its samples.
    charge_ma_s: charge in mA s, gaps left out. energy_j: energy, None where voltage was not measured throughout.
    """

    start_s: float
    end_s: float
    mean_a: float
    spread_a: float
    peak_a: float
    charge_ma_s: float
    energy_j: float | None


def stages_of(ticks: Ticks, breaks_s: Sequence[float] = ()) -> tuple[Stage, ...]:
    """Return the stages of a trace, in order, without a hole: every tick belongs to one.

    ``breaks_s`` (onset, a restart's end and new beginning; monotonic seconds, any order) always part two stages, to
    within a tick, and each begins a new age. Between two breaks there are at most ``MOST_STAGES`` stages.
    """
    if not len(ticks):
        return ()
    level = _ratio_scale(ticks)
    breaks = _places(ticks, level, breaks_s)
    age_s = _recorded_s(ticks)
    edges = [0, *breaks.tolist(), len(ticks)]
    fewest, most = _CELLS_OF_PART
    cells = int(np.clip(_CELLS // (len(edges) - 1), fewest, most))
    starts = [0]
    for first, last in zip(edges[:-1], edges[1:], strict=True):
        if first:
            starts.append(first)
        inner = _changes(level[first:last], age_s[first:last] - age_s[first], cells)
        starts += (first + inner).tolist()
    return _summed(ticks, np.array(starts))


def _ratio_scale(ticks: Ticks) -> Floats:
    """Return levels on a scale where equal ratios are equal steps, and all is linear below the floor."""
    high_a = float(np.quantile(np.abs(ticks.mean_a), 0.95))
    # a tenth of the steps from tick to tick at most are this small (1.28 sigma to each side is four fifths of a
    # normal distribution, 0.126 sigma a tenth), so it is the noise of the quietest stretches
    quiet_a = float(np.quantile(np.abs(np.diff(ticks.mean_a)), 0.1)) / (0.1257 * np.sqrt(2)) if len(ticks) > 1 else 0.0
    floor_a = max(_FLOOR_SHARE * high_a, quiet_a)
    return np.arcsinh(ticks.mean_a / (2 * floor_a)) if floor_a > 0 else np.zeros(len(ticks))


def _places(ticks: Ticks, level: Floats, breaks_s: Sequence[float]) -> Ints:
    """Return the ticks with which the breaks begin; a tick that one falls into goes with its likelier side."""
    # times are sums of floats: a break at a tick's very start is at its start
    at_s = np.asarray(sorted(breaks_s), dtype=float) - 1e-3 * _spacing_s(ticks)
    after = np.searchsorted(ticks.start_s, at_s)  # the first tick that begins at the break or later
    inside = (after > 0) & (after < len(ticks))
    after, at_s = after[inside], at_s[inside]
    into = after - 1
    before = np.maximum(into - 1, 0)
    like_after = np.abs(level[into] - level[after]) < np.abs(level[into] - level[before])
    within = (ticks.end_s[into] >= at_s) & like_after & (into > 0)
    return np.unique(np.where(within, into, after))


def _spacing_s(ticks: Ticks) -> float:
    return float(np.median(np.diff(ticks.start_s))) if len(ticks) > 1 else 0.0


def _recorded_s(ticks: Ticks) -> Floats:
    """Return each tick's time since the first, with gaps counted as no longer than it takes to notice them."""
    steps_s = np.diff(ticks.start_s, prepend=ticks.start_s[0])
    return np.cumsum(np.minimum(steps_s, _GAP_SPACINGS * _spacing_s(ticks)))


def _changes(level: Floats, age_s: Floats, cells: int) -> Ints:
    """Return the ticks at which new stages begin within one part."""
    if len(level) < 2 * _SHORTEST:
        return np.empty(0, dtype=np.int64)
    opens = _cell_starts(age_s, cells)
    counts = np.diff(opens, append=len(level))
    values = np.add.reduceat(level, opens) / counts
    penalty = max(default_penalty(values), _LEAST_CHANGE)
    values = _with_sharp_steps(values)
    # a running median takes out what is shorter than half its width and keeps every edge in its place
    values, alike = (median_filter(values, width, mode="nearest") for width in (_MEDIAN_CELLS, _MEDIAN_CELLS - 2))
    found = _changes_of_cells(values, alike, penalty)
    while len(found) >= MOST_STAGES:
        penalty *= 1.5
        found = _changes_of_cells(values, alike, penalty)
    return refined(level, opens[found], counts[found])


def _with_sharp_steps(values: Floats) -> Floats:
    """Return cells with each that a step falls into made as high as the nearer side, lest it be a stage of its own."""
    before, at, after = values[:-2], values[1:-1], values[2:]
    nearer = np.where(np.abs(at - before) < np.abs(after - at), before, after)
    inner = np.where((at - before) * (after - at) > 0, nearer, at)
    return np.concatenate([values[:1], inner, values[-1:]])


def _changes_of_cells(values: Floats, alike: Floats, penalty: float) -> Ints:
    """Return the cells at which new stages begin. Brief excursions that are too many are part of what they stand in."""
    found = change_points(values, penalty, _SHORTEST)
    kept = _without_excursions(values, found, alike)
    return kept if len(kept) < MOST_STAGES else _without_excursions(values, found)


def _without_excursions(values: Floats, found: Ints, alike: Floats | None = None) -> Ints:
    """Return changes without those to a brief stage and back again.

    With ``only_recurring``, it must have its like, unparted, in a stage beside it: bursts and wake-ups that are alike
    are all stages or, where some were too short for it, none is.
    """
    edges = [0, *found.tolist(), len(values)]
    place = 1
    while place < len(edges) - 2:
        before, start, end, after = edges[place - 1 : place + 3]
        level = values[start:end].mean()
        sides = (before, start), (end, after)
        steps = [level - values[first:last].mean() for first, last in sides]
        brief = _BRIEF * (end - start) <= min(start - before, after - end)
        back = abs(steps[0] - steps[1]) < 0.5 * min(abs(steps[0]), abs(steps[1]))
        if (
            brief
            and back
            and (
                alike is None
                or any(_reaches(alike[first:last], level, step) for (first, last), step in zip(sides, steps, strict=True))
            )
        ):
            del edges[place : place + 2]
            place = max(place - 2, 1)
        else:
            place += 1
    return np.array(edges[1:-1], dtype=np.int64)


def _reaches(smooth: Floats, level: float, step: float) -> bool:
    """Tell whether a stage has a part, clear of its ends, more than half of the step towards that level."""
    inner = smooth[_SHORTEST:-_SHORTEST]
    return bool(((level - inner) * np.sign(step) < 0.5 * abs(step)).any())


def _cell_starts(age_s: Floats, cells: int) -> Ints:
    """Return the first tick of each cell. A cell is as long as a tick at first, then a fixed share of the age, and
    at last the whole's ``cells``-th part; each of the three where the one before would be shorter.
    """
    length_s = float(age_s[-1])
    tick_s = length_s / (len(age_s) - 1)
    longest_s = length_s / cells
    if longest_s <= tick_s:
        return np.arange(len(age_s))
    fine = _FINE_SHARE * cells
    grows_s, steady_s = fine * tick_s, fine * longest_s
    place = np.minimum(age_s, grows_s) / tick_s
    place += fine * np.log(np.clip(age_s, grows_s, steady_s) / grows_s)
    place += np.maximum(age_s - steady_s, 0) / longest_s
    return np.flatnonzero(np.diff(np.floor(place + 1e-6), prepend=-1.0))


def _summed(ticks: Ticks, starts: Ints) -> tuple[Stage, ...]:
    count = np.add.reduceat(ticks.count, starts)
    mean_a = np.add.reduceat(ticks.mean_a * ticks.count, starts) / count
    square_a2 = np.add.reduceat(ticks.square_a2 * ticks.count, starts) / count
    spread_a = np.sqrt(np.maximum(square_a2 - mean_a * mean_a, 0.0))
    peak_a = np.maximum.reduceat(ticks.high_a, starts)
    charge_as = np.add.reduceat(ticks.charge_as, starts)
    energy_j = np.add.reduceat(ticks.energy_j, starts)
    last_s = ticks.end_s[np.append(starts[1:], len(ticks)) - 1]
    next_s = np.append(ticks.start_s[starts[1:]], last_s[-1])
    end_s = np.where(next_s - last_s > _GAP_SPACINGS * _spacing_s(ticks), last_s, next_s)
    rows = zip(
        *(one.tolist() for one in (ticks.start_s[starts], end_s, mean_a, spread_a, peak_a, charge_as * 1e3)), strict=True
    )
    return tuple(
        Stage(*row, energy_j=None if np.isnan(joules) else joules)
        for row, joules in zip(rows, energy_j.tolist(), strict=True)
    )
