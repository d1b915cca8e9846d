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
_BLOCK = 48  # ends searched at a time; pruning after each block is as exact as at once


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
    weight, total = _sums(values, None)
    edges = np.concatenate([[0], bounds, [len(values)]])
    moved = bounds.copy()
    for place, bound in enumerate(bounds):
        low, high = edges[place], edges[place + 2]
        first = max(bound - reach[place], (low + bound + 1) // 2)
        last = min(bound + reach[place], (bound + high - 1) // 2)
        at = np.arange(first, last + 1)
        # the squares' sum stays; what varies is how much of it the two means explain
        left = (total[at] - total[low]) ** 2 / (weight[at] - weight[low])
        right = (total[high] - total[at]) ** 2 / (weight[high] - weight[at])
        moved[place] = at[np.argmax(left + right)]
    return moved


def _sums(values: Floats, weights: Floats | None) -> tuple[Floats, Floats]:
    """Return running sums of the weights and of the values, from nothing on; about the mean, to lose no digits."""
    unit = np.ones(len(values)) if weights is None else weights
    centred = values - (values @ unit) / unit.sum()
    return np.append(0.0, np.cumsum(unit)), np.append(0.0, np.cumsum(unit * centred))


def _best_starts(sums: tuple[Floats, Floats], penalty: float, min_length: int) -> Ints:
    """Return for each end the start of its last segment, in the best segmentation of all before that end."""
    count = len(sums[0]) - 1
    previous = np.zeros(count + 1, dtype=np.int64)
    # The cost of the best way to each place, less the squares before it: their sum is the same for every way there.
    best = np.full(count + 1, np.inf)
    best[0] = -penalty
    starts = np.zeros(1, dtype=np.int64)  # those from before the block that are still worth trying
    too_dear = np.full(1, count)  # the first end at which each was found too dear
    for low in range(min_length, count + 1, _BLOCK):
        # a block of ends: their costs from the starts known before come at once, those from within it step by step
        ends = np.arange(low, min(low + _BLOCK, count + 1))
        cost = best[starts] - _explained(sums, starts, ends)
        choice = cost.argmin(axis=1)
        lowest = cost[np.arange(len(ends)), choice]
        previous[ends] = starts[choice]
        opened = ends - min_length
        explained = _explained(sums, opened, ends)
        for row, end in enumerate(ends.tolist()):
            fresh = best[low - min_length : end - min_length + 1] - explained[row, : row + 1]
            place = int(fresh.argmin())
            if fresh[place] < lowest[row]:
                lowest[row] = fresh[place]
                previous[end] = opened[place]
            best[end] = lowest[row] + penalty
        too_dear = np.minimum(too_dear, np.where(cost[-1] >= best[end], end, count))
        # where a start was too dear, beginning anew there is as good for every end min_length and more beyond
        keep = too_dear + min_length > end + 1
        opened = opened[opened >= min_length]
        starts = np.concatenate([starts[keep], opened])
        too_dear = np.concatenate([too_dear[keep], np.full(len(opened), count)])
    return previous


def _explained(sums: tuple[Floats, Floats], starts: Ints, ends: Ints) -> Floats:
    """Return by how much a segment's own mean lessens its sum of squares: a row for each end, a column a start.

    No number where a segment would have no length; no such one is used.
    """
    weight, total = (one[ends][:, np.newaxis] - one[starts] for one in sums)
    total *= total
    with np.errstate(divide="ignore", invalid="ignore"):
        total /= weight
    return total
