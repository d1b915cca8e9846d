"""Series cut into segments of like level: exact least squares with a penalty for each change.

The best segmentation by optimal partitioning (Jackson et al., "An algorithm for optimal partitioning of data on an
interval", 2005) with the pruning of Killick, Fearnhead and Eckley, "Optimal detection of changepoints with a linear
computational cost" (2012): a start that is already dearer than the best way to here, without its next penalty, can
never be the best again.
"""

from __future__ import annotations

import numpy as np

from wakerail.analysis.ticks import Floats, Ints

#: A change is worth this many times the noise's variance, times ln(length). Theory asks for 2 (Yao 1988, a step and
#: its place) to 3 (Zhang and Siegmund 2007) where the noise is independent and its variance known. Real noise drifts
#: and has outliers, and each costs a false change, so twice that.
PENALTY_FACTOR = 6.0

_MEDIAN_OF_NORMAL = 0.6744897501960817  # of the size of a standard normal variable
_PRUNE_EVERY = 8  # steps; pruning costs about as much as a step, and late is as exact as at once


def change_points(values: Floats, penalty: float, min_length: int = 1, weights: Floats | None = None) -> Ints:
    """Return the first index of each segment but the first, in the segmentation that costs least.

    A segment costs its sum of squared deviations from its own mean, each times its weight (1 without ``weights``);
    every change costs ``penalty`` more (> 0, in squared units of ``values``). Segments have at least ``min_length``
    values; a series shorter than twice that stays whole. Raises ValueError for values that are not finite.
    """
    count = len(values)
    if not np.isfinite(values).all():
        raise ValueError("a series with values that are not finite cannot be cut into segments")
    if count < 2 * min_length:
        return np.empty(0, dtype=np.int64)
    sums = _sums(values, weights)
    previous = _best_starts(sums, penalty, min_length)
    found = []
    at = int(previous[count])
    while at > 0:
        found.append(at)
        at = int(previous[at])
    return np.array(found[::-1], dtype=np.int64)


def default_penalty(values: Floats) -> float:
    """Return the penalty used where nothing else is known: ``PENALTY_FACTOR`` variances of the noise, times ln(n)."""
    return PENALTY_FACTOR * noise_scale(values) ** 2 * float(np.log(max(len(values), 2)))


def noise_scale(values: Floats) -> float:
    """Return the standard deviation of the noise of a series, whatever steps it has.

    It comes from the median of the first differences' sizes, as few of them hold a step. Where most are nothing (a
    meter that holds its value, or too coarse for the noise), from the smallest difference, taken as the resolution.
    0 for a series that never changes.
    """
    sizes = np.abs(np.diff(values))
    if not sizes.any():
        return 0.0
    median = float(np.median(sizes))
    if median > 0:
        return median / (_MEDIAN_OF_NORMAL * float(np.sqrt(2)))
    return float(sizes[sizes > 0].min() / np.sqrt(12))


def refined(values: Floats, bounds: Ints, reach: Ints) -> Ints:
    """Return ``bounds`` (first indices of segments but the first), each moved to where it splits its neighbours best.

    A bound moves by up to its ``reach``, and never over half of the way to the bound beside it.
    """
    weight, total, _ = _sums(values, None)
    edges = np.concatenate([[0], bounds, [len(values)]])
    moved = bounds.copy()
    for place, bound in enumerate(bounds):
        low, high = edges[place], edges[place + 2]
        first = max(bound - reach[place], (low + bound) // 2, low + 1)
        last = min(bound + reach[place], (bound + high) // 2, high - 1)
        at = np.arange(first, last + 1)
        # the squares' sum stays; what varies is how much of it the two means explain
        left = (total[at] - total[low]) ** 2 / (weight[at] - weight[low])
        right = (total[high] - total[at]) ** 2 / (weight[high] - weight[at])
        moved[place] = at[np.argmax(left + right)]
    return moved


def _sums(values: Floats, weights: Floats | None) -> tuple[Floats, Floats, Floats]:
    """Return running sums of weights, values and squares, from nothing on; about the mean, to lose no digits."""
    unit = np.ones(len(values)) if weights is None else weights
    centred = values - np.average(values, weights=unit) if len(values) else values
    stack = np.zeros((3, len(values) + 1))
    np.cumsum([unit, unit * centred, unit * centred * centred], axis=1, out=stack[:, 1:])
    return stack[0], stack[1], stack[2]


def _best_starts(sums: tuple[Floats, Floats, Floats], penalty: float, min_length: int) -> Ints:
    """Return for each end the start of its last segment, in the best segmentation of all before that end."""
    weight, total, _ = sums
    count = len(weight) - 1
    previous = np.zeros(count + 1, dtype=np.int64)
    # One column to a place, as a start of what follows: weight and total before it, the cost of the best way to it,
    # its index, and when it was first found too dear. Costs are less the squares before, which are the same for
    # every way there, so only what the segments' means explain is left to compare.
    places = np.stack([weight, total, np.full(count + 1, np.inf), np.arange(count + 1), np.full(count + 1, np.inf)])
    best = places[2]
    best[0] = -penalty
    live = np.empty_like(places)  # the starts still worth trying
    live[:, 0] = places[:, 0]
    alive = 1
    for end in range(min_length, count + 1):
        opened = end - min_length
        if opened >= min_length:
            live[:, alive] = places[:, opened]
            alive += 1
        cost = live[1, :alive] - total[end]
        cost *= cost
        cost /= live[0, :alive] - weight[end]
        cost += live[2, :alive]
        choice = int(cost.argmin())
        best[end] = cost[choice] + penalty
        previous[end] = live[3, choice]
        if end % _PRUNE_EVERY == 0:
            dear = live[4, :alive]
            dear[(cost >= best[end]) & (dear > end)] = end
            # where it was too dear, beginning anew at that end is as good; which takes min_length values more
            keep = dear + min_length > end + 1
            left = int(np.count_nonzero(keep))
            live[:, :left] = live[:, :alive][:, keep]
            alive = left
    return previous
