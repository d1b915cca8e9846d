"""What a load is told to draw over time."""

from __future__ import annotations

import numpy as np

from wakerail_sim.noise import Floats

_LONG_AGO_S = -1e6
_SHORTEST_RAMP_S = 1e-5


class Command:
    """A piecewise linear course of a quantity, 0 at first. Each change begins when it is made and takes a ramp."""

    def __init__(self) -> None:
        self._t_s = [_LONG_AGO_S]
        self._levels = [0.0]

    @property
    def level(self) -> float:
        """What it is going to, or at."""
        return self._levels[-1]

    def change(self, now_s: float, level: float, ramp_s: float) -> None:
        """Go to a level from now on; a change that is still under way ends where it is."""
        reached = self._at(now_s)
        while self._t_s[-1] > now_s:
            self._t_s.pop()
            self._levels.pop()
        self._t_s += (now_s, now_s + max(ramp_s, _SHORTEST_RAMP_S))
        self._levels += (reached, level)

    def over(self, t_s: Floats) -> Floats:
        """Return the course at times (s)."""
        course: Floats = np.interp(t_s, self._t_s, self._levels)
        return course

    def _at(self, now_s: float) -> float:
        times_s, levels = self._t_s, self._levels
        if now_s >= times_s[-1]:
            return levels[-1]
        before = len(times_s) - 1
        while times_s[before] > now_s:
            before -= 1
        share = now_s - times_s[before]
        ramp_s = max(1e-12, times_s[before + 1] - times_s[before])
        return levels[before] + (levels[before + 1] - levels[before]) * share / ramp_s
