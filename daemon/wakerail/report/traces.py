"""Long traces made small enough to draw, without losing a peak or a gap."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_GAP_SPACINGS = 5.0  # so many times the usual spacing without a sample is a gap in the line


def drawable(times_s: npt.ArrayLike, values: npt.ArrayLike, columns: int) -> tuple[Floats, Floats]:
    """Return a line that looks as the samples do in ``columns`` pixels: lowest and highest of each, NaN at gaps.

    ``times_s`` ascend; samples that are not finite are left out. Up to two samples a column come back as they are.
    """
    times, levels = np.asarray(times_s, dtype=float), np.asarray(values, dtype=float)
    good = np.isfinite(times) & np.isfinite(levels)
    times, levels = times[good], levels[good]
    if times.size < 2:
        return times, levels
    gap_s = _GAP_SPACINGS * float(np.median(np.diff(times)))
    if times.size > 2 * columns:
        width_s = (times[-1] - times[0]) / columns
        times, levels = _extremes(times, levels, width_s)
        gap_s = max(gap_s, 2.5 * width_s)
    return _break_at_gaps(times, levels, gap_s)


def _extremes(times: Floats, levels: Floats, width_s: float) -> tuple[Floats, Floats]:
    column = np.floor((times - times[0]) / width_s)
    starts = np.flatnonzero(np.diff(column, prepend=-1.0))
    middles = times[0] + (column[starts] + 0.5) * width_s
    pairs = np.stack([np.minimum.reduceat(levels, starts), np.maximum.reduceat(levels, starts)], axis=1)
    return np.repeat(middles, 2), pairs.ravel()


def _break_at_gaps(times: Floats, levels: Floats, gap_s: float) -> tuple[Floats, Floats]:
    after = np.flatnonzero(np.diff(times) > gap_s) + 1
    return np.insert(times, after, times[after]), np.insert(levels, after, np.nan)
