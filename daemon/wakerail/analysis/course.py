"""How the current went since the last boot began, second by second: what the end of a watch is judged by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wakerail.analysis.ticks import Floats, Ticks

_SLACK_S = 1e-6  # times are sums of floats
_DARK_S, _DARK_TICKS = 0.25, 3  # shorter is a dropout


@dataclass(frozen=True, slots=True, eq=False)
class Seconds:
    """Whole seconds that hold samples: start, median, and second lowest and second highest sample of each.

    One odd sample either way says nothing, hence the second ones (where a second has three ticks at least).
    """

    start_s: Floats
    median_a: Floats
    low_a: Floats
    high_a: Floats

    def __len__(self) -> int:
        return len(self.start_s)

    def since(self, start_s: float) -> Seconds:
        """Return the seconds that begin at ``start_s`` or later."""
        first = int(np.searchsorted(self.start_s, start_s - _SLACK_S))
        return Seconds(self.start_s[first:], self.median_a[first:], self.low_a[first:], self.high_a[first:])


def seconds_of(ticks: Ticks, begin_s: float, end_s: float) -> Seconds:
    """Sum ticks up second by second from ``begin_s`` to ``end_s``; a last part of a second is left out."""
    first, last = np.searchsorted(ticks.start_s, (begin_s - _SLACK_S, end_s + _SLACK_S))
    part = ticks.between(int(first), int(last))
    if not len(part):
        return Seconds(*[np.empty(0)] * 4)
    spacing_s = sample_spacing_s(ticks)
    number = np.floor(part.start_s - begin_s + _SLACK_S).astype(np.int64)
    whole = number + 1 <= part.end_s[-1] + spacing_s - begin_s + _SLACK_S
    part, number = part.between(0, int(whole.sum())), number[whole]
    if not len(part):
        return Seconds(*[np.empty(0)] * 4)
    opens = np.flatnonzero(np.diff(number, prepend=-1))
    counts = np.diff(opens, append=len(number))
    few = counts < 3
    ranked = part.mean_a[np.lexsort((part.mean_a, number))]
    lows = part.low_a[np.lexsort((part.low_a, number))]
    highs = part.high_a[np.lexsort((part.high_a, number))]
    return Seconds(
        start_s=begin_s + number[opens],
        median_a=(ranked[opens + (counts - 1) // 2] + ranked[opens + counts // 2]) / 2,
        low_a=lows[opens + np.where(few, 0, 1)],
        high_a=highs[opens + counts - np.where(few, 1, 2)],
    )


def sample_spacing_s(ticks: Ticks) -> float:
    """Return the usual time from one sample to the next; 0 for a single tick."""
    return float(np.median(ticks.start_s[1:] - ticks.end_s[:-1])) if len(ticks) > 1 else 0.0


def gaps_s(ticks: Ticks, least_s: float) -> Floats:
    """Return the times without a sample that are longer than ``least_s``."""
    steps_s = ticks.start_s[1:] - ticks.end_s[:-1]
    return steps_s[steps_s > least_s + _SLACK_S]


def level_at(ticks: Ticks, begin_s: float, for_s: float) -> float | None:
    """Return the median level from ``begin_s`` for a time, over three ticks at least; None without any."""
    first = int(np.searchsorted(ticks.start_s, begin_s - _SLACK_S))
    last = int(np.searchsorted(ticks.start_s, begin_s + for_s + _SLACK_S))
    part = ticks.mean_a[first : max(last, first + 3)]
    return float(np.median(part)) if len(part) else None


def dark_since_s(ticks: Ticks, off_a: float) -> float | None:
    """Return since when the current has been at ``off_a`` or below until the end; None if it is not, or only just.

    A single tick above it in between is a disturbance.
    """
    up = ticks.mean_a > off_a
    lasting = up & (np.append(up[1:], up[-1:]) | np.insert(up[:-1], 0, up[:1]))
    last = np.flatnonzero(lasting)
    place = int(last[-1]) + 1 if len(last) else 0
    if place >= len(ticks) or not len(last):
        return None
    since_s = float(ticks.start_s[place])
    lasted_s = ticks.end_s[-1] + sample_spacing_s(ticks) - since_s
    return since_s if lasted_s >= _DARK_S - _SLACK_S and len(ticks) - place >= _DARK_TICKS else None
