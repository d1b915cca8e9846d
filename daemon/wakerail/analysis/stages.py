"""The stages of a boot: stretches of a current trace in which the device behaves alike.

What a person sees on a plot, and by the same means:

- Levels span decades and their ripple grows with them, so they are compared by their ratio. Below a floor, taken from
  the trace's own level and noise, differences count as they are: what is nothing on the plot is nothing here.
- A boot's first seconds are read finely, what comes later on the scale of how long the boot has lasted (the age),
  and all of it no finer than a picture shows. So a loader of half a second is a stage, while a burst or a wake-up of
  half a second after an hour belongs to the spread of the stage that it happens in.
- A slope, as of a battery that takes less and less charge, is one stage and no stairs.
- Stages are few: where more are found than a person would read, changes must be larger to count.

Ticks are gathered to cells on that scale, of which there is a fixed number at most; so the exact search is bounded
whatever the trace's length. The bounds that it finds are then placed on the ticks. All else is linear in the ticks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter

from wakerail.analysis.segments import change_points, default_penalty, refined
from wakerail.analysis.ticks import Floats, Ints, Ticks

MOST_STAGES = 20  # from one break to the next
MOST_PARTS = 200  # parts between breaks that are looked into; a person does not read as many boots

_CELLS = 12_000  # of a whole trace
_CELLS_OF_PART = (48, 1000)  # fewest and most between two breaks; the most is about a picture's width
_FINE_SHARE = 0.1  # so many of a part's cells are one tick each at its beginning; from there they grow with the age
_SHORTEST = 3  # cells in a stage
_MEDIAN_CELLS, _LIKE_CELLS = 7, 3  # widths of running medians: of what is searched, and of what a brief stage is like
_BRIEF = 4.0  # so many times longer than a brief stage is what stands on either side of it
_FLOOR_SHARE = 0.01  # of the trace's high level: about the width of the plot's line
_LEAST_CHANGE = 0.1  # what a change must explain at least: cells, times the square of the ratio's natural logarithm
_DEARER = 2.0  # a change's penalty grows by this until the stages are few enough
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
    """Return the stages of a trace, in order; every tick belongs to one, so their charges are the trace's charge.

    ``breaks_s`` (onset, a restart's end and new beginning; monotonic seconds, any order) always part two stages, to
    within a tick, and each begins a new age. Between two breaks there are at most ``MOST_STAGES`` stages; of more than
    ``MOST_PARTS`` parts between breaks, the shorter (of equals, the later) are one stage each.
    """
    if not len(ticks):
        return ()
    level = _with_sharp_steps(_ratio_scale(ticks))
    age_s = _recorded_s(ticks)
    edges = np.concatenate([[0], _places(ticks, level, breaks_s), [len(ticks)]])
    lengths = np.diff(edges)
    longest_first = np.argsort(-np.round(100 * lengths / lengths.max()), kind="stable")
    looked_into = longest_first[:MOST_PARTS].tolist()
    cells = int(np.clip(_CELLS // len(looked_into), *_CELLS_OF_PART))
    starts = [edges[:-1]]
    for part in looked_into:
        first, last = edges[part], edges[part + 1]
        starts.append(first + _changes(level[first:last], age_s[first:last] - age_s[first], cells))
    return _summed(ticks, np.sort(np.concatenate(starts)))


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
    if np.var(values) * len(values) <= penalty:
        return np.empty(0, dtype=np.int64)  # no change could be worth it
    values = _with_sharp_steps(values)
    # a running median takes out what is shorter than half its width and keeps every edge in its place
    values, alike = (median_filter(values, width, mode="nearest") for width in (_MEDIAN_CELLS, _LIKE_CELLS))
    found = _changes_of_cells(values, alike, penalty)
    while len(found) >= MOST_STAGES:
        penalty *= _DEARER
        found = _changes_of_cells(values, alike, penalty)
    return refined(level, opens[found], counts[found])


def _with_sharp_steps(values: Floats) -> Floats:
    """Return cells with each that a step falls into made as high as the nearer side, lest it be a stage of its own."""
    before, at, after = values[:-2], values[1:-1], values[2:]
    nearer = np.where(np.abs(at - before) < np.abs(after - at), before, after)
    inner = np.where((at - before) * (after - at) > 0, nearer, at)
    return np.concatenate([values[:1], inner, values[-1:]])


def _changes_of_cells(values: Floats, alike: Floats, penalty: float) -> Ints:
    """Return the cells at which new stages begin.

    Brief excursions that have their like unparted beside them are left out: bursts and wake-ups that are alike are all
    stages or, where some are too short for it, none is. All brief ones are where there would be too many stages.
    """
    found = _without_slopes(values, change_points(values, penalty, _SHORTEST))
    kept = _without_excursions(values, found, alike)
    return kept if len(kept) < MOST_STAGES else _without_excursions(values, found, None)


def _without_slopes(values: Floats, found: Ints) -> Ints:
    """Return changes without those that part a slope into stairs: no jump, and both sides go that way themselves."""
    edges = [0, *found.tolist(), len(values)]
    sums: list[float] = np.append(0.0, np.cumsum(values)).tolist()

    def mean(first: int, last: int) -> float:
        return (sums[last] - sums[first]) / (last - first)

    kept = []
    for before, start, end in zip(edges[:-2], edges[1:-1], edges[2:], strict=True):
        step = mean(start, end) - mean(before, start)
        jump = mean(start, start + _SHORTEST) - mean(start - _SHORTEST, start)
        thirds = [(first, last, (last - first) // 3) for first, last in ((before, start), (start, end))]
        ways = [mean(last - third, last) - mean(first, first + third) for first, last, third in thirds]
        if jump / step >= 0.5 or min(way / step for way in ways) < 0.4:
            kept.append(start)
    return np.array(kept, dtype=np.int64)


def _without_excursions(values: Floats, found: Ints, alike: Floats | None) -> Ints:
    """Return changes without those to a brief stage and back; with ``alike``, only if a side has its like in it."""
    edges = [0, *found.tolist(), len(values)]
    place = 1
    while place < len(edges) - 2:
        if _is_excursion(values, alike, edges[place - 1 : place + 3]):
            del edges[place : place + 2]
            place = max(place - 2, 1)  # what stood before it has grown, and may have been one of two sides
        else:
            place += 1
    return np.array(edges[1:-1], dtype=np.int64)


def _is_excursion(values: Floats, alike: Floats | None, edges: Sequence[int]) -> bool:
    """Tell whether the middle one of three stages is brief, and the two beside it are at about one level."""
    before, start, end, after = edges
    if _BRIEF * (end - start) > min(start - before, after - end):
        return False
    level = values[start:end].mean()
    steps = level - values[before:start].mean(), level - values[end:after].mean()
    if abs(steps[0] - steps[1]) >= 0.5 * min(abs(steps[0]), abs(steps[1])):
        return False
    if alike is None:
        return True
    # clear of its ends, a side goes more than half of the way to the level
    sides = alike[before + _SHORTEST : start - _SHORTEST], alike[end + _SHORTEST : after - _SHORTEST]
    return any(
        ((level - side) * np.sign(step) < 0.5 * abs(step)).any() for side, step in zip(sides, steps, strict=True)
    )


def _cell_starts(age_s: Floats, cells: int) -> Ints:
    """Return the first tick of each of about ``cells`` cells at most.

    A cell is as long as a tick at first, then a fixed share of the age, and never longer than the whole's ``cells``-th
    part.
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
    """Return the stages that begin with these ticks, from the ticks' own sums."""
    count = np.add.reduceat(ticks.count, starts)
    mean_a = np.add.reduceat(ticks.mean_a * ticks.count, starts) / count
    square_a2 = np.add.reduceat(ticks.square_a2 * ticks.count, starts) / count
    last_s = ticks.end_s[np.append(starts[1:], len(ticks)) - 1]
    next_s = np.append(ticks.start_s[starts[1:]], last_s[-1])
    end_s = np.where(next_s - last_s > _GAP_SPACINGS * _spacing_s(ticks), last_s, next_s)
    spread_a = np.sqrt(np.maximum(square_a2 - mean_a * mean_a, 0.0))
    peak_a = np.maximum.reduceat(ticks.high_a, starts)
    charge_as = np.add.reduceat(ticks.charge_as, starts)
    energy_j = np.add.reduceat(ticks.energy_j, starts)
    return tuple(
        Stage(
            start_s=float(ticks.start_s[start]),
            end_s=float(end_s[place]),
            mean_a=float(mean_a[place]),
            spread_a=float(spread_a[place]),
            peak_a=float(peak_a[place]),
            charge_ma_s=1e3 * float(charge_as[place]),
            energy_j=None if np.isnan(energy_j[place]) else float(energy_j[place]),
        )
        for place, start in enumerate(starts)
    )
