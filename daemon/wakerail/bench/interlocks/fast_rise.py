"""Heater off when the plate rises faster than its heater's power allows."""

from __future__ import annotations

import math
from collections import deque
from itertools import pairwise
from statistics import median

from wakerail.analysis.thermal.sensor_noise import slope_k_per_s
from wakerail.bench.interlocks.plate_state import PlateGuard, PlateState
from wakerail.bench.interlocks.trip import Trip
from wakerail_kit.units import human

_OVER_S = 3.0
_LEAST = 8
#: So many standard errors above the limit a rate is no noise: it is looked at with every reading.
_SURE = 5.0


class FastRise(PlateGuard):
    """Trips when the rate over three seconds (or eight samples, if those take longer) is above the limit."""

    def __init__(self, fastest_k_per_s: float) -> None:
        self._fastest_k_per_s = fastest_k_per_s
        self._past: deque[tuple[float, float]] = deque(maxlen=600)

    def judge(self, state: PlateState) -> Trip | None:
        if state.temperature_c is None:
            self._past.clear()
            return None
        self._past.append((state.t_s, state.temperature_c))
        while len(self._past) > _LEAST and self._past[0][0] < state.t_s - _OVER_S:
            self._past.popleft()
        over_s = self._past[-1][0] - self._past[0][0]
        if len(self._past) < _LEAST or over_s < 0.8 * _OVER_S:
            return None
        if self._past[-1][1] - self._past[0][1] < self._fastest_k_per_s:
            return None
        rate = slope_k_per_s([t_s for t_s, _ in self._past], [at_c for _, at_c in self._past])
        if rate <= self._fastest_k_per_s or rate <= self._fastest_k_per_s + _SURE * self._error_k_per_s(over_s):
            return None
        at, by = human(state.temperature_c, "Cel"), human(round(rate, 1), "K/s")
        says = f"plate at {at} rises by {by}, faster than its heater can"
        return Trip("fast-rise", says, rate, self._fastest_k_per_s, "K/s")

    def _error_k_per_s(self, over_s: float) -> float:
        """Return the standard error of the rate: of the difference of two medians, half of the time apart.

        A median of n values scatters by sqrt(pi / 2n) of their scatter, which is learnt from their changes.
        """
        changes = [after_c - before_c for (_, before_c), (_, after_c) in pairwise(self._past)]
        middle = median(changes)
        scatter_k = 1.4826 * median(abs(change - middle) for change in changes) / math.sqrt(2)
        return scatter_k * math.sqrt(2 * math.pi / len(self._past)) / (over_s / 2)

    def reset(self) -> None:
        self._past.clear()
