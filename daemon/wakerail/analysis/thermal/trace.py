"""A thermal trace: believed samples at ascending times, and how long or how fast things were in it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

_GAP_SPACINGS = 5.0  # so many times the usual spacing without a sample is a gap
_LEAST_GAP_S = 2.0


@dataclass(frozen=True, slots=True)
class Duration:
    """How long something was so: ``s`` as read; gaps and an open end leave it between ``least_s`` and ``most_s``."""

    s: float
    least_s: float
    most_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """Finite temperatures at strictly ascending times; a longer spacing than ``gap_s`` is a gap."""

    t_s: Floats
    temperature_c: Floats
    gap_s: float

    @classmethod
    def of(
        cls,
        t_s: npt.ArrayLike,
        temperature_c: Sequence[float | None] | npt.ArrayLike,
        believed: npt.ArrayLike | None = None,
    ) -> Trace:
        """Keep what is data: a number, believed, and later than all before it.

        ``believed`` is true for each sample that the check of the sensor lets stand; None believes all. Raises
        ValueError for columns of different lengths.
        """
        times = np.asarray(t_s, dtype=float)
        levels = np.array([np.nan if one is None else one for one in np.asarray(temperature_c).tolist()], dtype=float)
        trusted = np.ones(times.shape, dtype=bool) if believed is None else np.asarray(believed, dtype=bool)
        if not times.shape == levels.shape == trusted.shape:
            raise ValueError(f"columns of different lengths: {times.size}, {levels.size}, {trusted.size}")
        good = np.isfinite(times) & np.isfinite(levels) & trusted
        times, levels = times[good], levels[good]
        later = times > np.maximum.accumulate(np.concatenate(([-np.inf], times)))[:-1]
        times, levels = times[later], levels[later]
        usual_s = float(np.median(np.diff(times))) if times.size > 1 else 0.0
        return cls(times, levels, max(_LEAST_GAP_S, _GAP_SPACINGS * usual_s))

    def __len__(self) -> int:
        return int(self.t_s.size)

    def above(self, level_c: float) -> Duration:
        """Return how long the temperature was above a level, crossings read by interpolation.

        A gap counts as read where both its ends are above. At least: no gap counts. At most: every gap with an end
        above counts in full; a trace that ends above leaves it open, so infinite.
        """
        spacing_s = np.diff(self.t_s)
        over_k = self.temperature_c - level_c
        before, after = over_k[:-1], over_k[1:]
        share = np.where(before > 0, 1.0, 0.0)
        crossing = (before > 0) != (after > 0)
        highest, rise = np.maximum(before, after), np.abs(after - before)
        share[crossing] = highest[crossing] / rise[crossing]
        gap = spacing_s > self.gap_s
        read = float((share * spacing_s)[~gap | ~crossing].sum())
        least = float((share * spacing_s)[~gap].sum())
        most = least + float(spacing_s[gap & (highest > 0)].sum())
        return Duration(read, least, math.inf if len(self) and over_k[-1] > 0 else most)

    def rises_through(self, level_c: float) -> Floats:
        """Return each moment when the temperature came from below to a level or above it, by interpolation."""
        return self._crossings(self.temperature_c - level_c)

    def falls_through(self, level_c: float) -> Floats:
        """Return each moment when the temperature came from above to a level or below it, by interpolation."""
        return self._crossings(level_c - self.temperature_c)

    def _crossings(self, over: Floats) -> Floats:
        at = np.flatnonzero((over[:-1] < 0) & (over[1:] >= 0))
        share = -over[at] / (over[at + 1] - over[at])
        moments: Floats = self.t_s[at] + share * (self.t_s[at + 1] - self.t_s[at])
        return moments

    def rates_k_per_s(self, window_s: float) -> tuple[Floats, Floats]:
        """Return the mean rate over each window that begins at a sample and holds no gap, and where it begins."""
        starts = self.t_s[self.t_s + window_s <= self.t_s[-1] + 1e-9] if len(self) > 1 else np.empty(0)
        if not starts.size:
            return np.empty(0), np.empty(0)
        gaps = np.concatenate(([0], np.cumsum(np.diff(self.t_s) > self.gap_s)))
        last = np.minimum(np.searchsorted(self.t_s, starts + window_s - 1e-9), len(self) - 1)
        whole = gaps[last] == gaps[: starts.size]
        ends_c = np.interp(starts + window_s, self.t_s, self.temperature_c)
        rates = (ends_c - self.temperature_c[: starts.size]) / window_s
        return rates[whole], starts[whole]

    def noise_k(self) -> float:
        """Return the standard deviation of the noise, from second differences (a steady ramp has none).

        Robust: 1.4826 times the median absolute value, divided by sqrt(6), as Var(x1 - 2 x2 + x3) = 6 Var(x).
        """
        if len(self) < 3:
            return 0.0
        return 1.4826 * float(np.median(np.abs(np.diff(self.temperature_c, 2)))) / 6**0.5
