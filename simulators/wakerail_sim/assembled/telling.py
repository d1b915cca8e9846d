"""Whether someone who had seen the boots of a device could tell them from all else in a recording.

The middle of all boots, as they were read, is laid over the recording at each place: each boot must be more like it
than what is none.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wakerail_sim.motley.meter import Readings
from wakerail_sim.motley.telling import binned, unlike

_MOST_BINS = 40
_FEWEST_BINS = 6
_MARGIN = 1.35  # how much less alike what is no boot must be
_PLAIN = 0.12  # what is no boot differs by that much of a factor of e at least
_CLEAR = 0.3  # a change of that much of a factor of e can be seen


def boots_stand_out(
    readings: Readings, boots_s: Sequence[float], opening_s: float, sample_s: float, floor_a: float
) -> bool:
    """Return whether each boot opens like the others, and nothing else does.

    ``boots_s`` is when each began (s). Levels are compared by their ratio above ``floor_a``, which is what the meter
    resolves.
    """
    bins = min(_MOST_BINS, int(opening_s / sample_s))
    if bins < _FEWEST_BINS:
        return False
    bin_s = opening_s / bins
    read = np.arcsinh(binned(readings, bin_s) / floor_a)
    places = np.array([int(at_s / bin_s) for at_s in boots_s])
    places = places[places + bins <= len(read)]
    if not len(places):
        return False
    opening = np.median(read[places[:, np.newaxis] + np.arange(bins)], axis=0)
    before = np.median(read[np.maximum(places - 1, 0)])
    how_unlike, around = unlike(read, opening), max(2, bins // 8)
    other = np.ones(len(how_unlike), dtype=bool)
    nearest = 0.0
    for place in places.tolist():
        nearest = max(nearest, float(how_unlike[max(0, place - around) : place + around + 1].min()))
        other[max(0, place - bins // 2) : place + bins // 2 + 1] = False
    elsewhere = float(how_unlike[other].min()) if other.any() else np.inf
    contrast = float(np.ptp(np.quantile(np.append(opening, before), (0.05, 0.95))))
    return contrast > max(_CLEAR, 2 * nearest) and elsewhere > max(_MARGIN * nearest, _PLAIN)


def falls_below_use(readings: Readings, restarts: Sequence[tuple[float, float]], sample_s: float) -> bool:
    """Return whether each restart was read as a fall to half of what was read at least otherwise."""
    use = np.ones(len(readings.t_s), dtype=bool)
    lows_a = []
    for at_s, again_s in restarts:
        first, last = np.searchsorted(readings.t_s, (at_s, again_s + sample_s))
        use[first : last + 1] = False
        lows_a.append(readings.current_a[first:last].min() if last > first else np.inf)
    least_a = float(np.quantile(readings.current_a[use], 0.01)) if use.any() else 0.0
    return bool(np.max(lows_a) < 0.5 * least_a)
