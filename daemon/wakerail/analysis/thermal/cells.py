"""Samples averaged over equal steps of time: a fit needs equal steps, and no more of them than pay."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wakerail.analysis.thermal.trace import Floats, Trace

MOST_CELLS = 400  # more say no more about seconds
_LEAST_STEP_S = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Mean temperatures, each at the middle of its step; NaN where there were no samples."""

    t_s: Floats
    temperature_c: Floats
    step_s: float

    @classmethod
    def of(cls, trace: Trace, most: int = MOST_CELLS) -> Cells:
        """Average a trace of two samples or more to about ``most`` cells at most."""
        length_s = float(trace.t_s[-1] - trace.t_s[0])
        step_s = max(float(np.median(np.diff(trace.t_s))), _LEAST_STEP_S, length_s / most)
        place = np.floor((trace.t_s - trace.t_s[0]) / step_s + 1e-6).astype(int)
        counts = np.bincount(place)
        full = counts > 0
        levels = np.bincount(place, trace.temperature_c)[full] / counts[full]
        moments = np.bincount(place, trace.t_s)[full] / counts[full]
        middles = trace.t_s[0] + (np.arange(counts.size) + 0.5) * step_s
        means = np.full(counts.size, np.nan)
        # a mean belongs to the mean moment of its samples; it is moved to the cell's middle along the slope
        slopes = np.gradient(levels, moments) if levels.size > 1 else 0.0
        means[full] = levels + slopes * (middles[full] - moments)
        return cls(middles, means, step_s)

    @property
    def first_c(self) -> float:
        """The first temperature."""
        return float(self.temperature_c[np.isfinite(self.temperature_c)][0])

    def less(self, temperature_c: Floats) -> Floats:
        """Return what is left of the data when other temperatures are taken away from them; no cell is empty."""
        left = self.temperature_c - temperature_c
        finite: Floats = left[np.isfinite(left)]
        return finite
