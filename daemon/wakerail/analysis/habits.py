"""What a device does while it is up: which levels it draws, and how often it jumps from one to another."""

from __future__ import annotations

import math

from wakerail.analysis.levels import Levels
from wakerail.analysis.repertoire import Repertoire
from wakerail.analysis.trail import Trail

_JUMP = 0.3  # natural log
_FIRST_JUMPS, _FIRST_S = 1.0, 4.0


class Habits:
    """Learns from the ticks of a trail, as far as they are known to be the device's own doing."""

    def __init__(self, trail: Trail, levels: Levels) -> None:
        self.repertoire = Repertoire()
        self._trail, self._levels = trail, levels
        self._jumps, self._over_s = _FIRST_JUMPS, _FIRST_S
        self._learnt = 0

    @property
    def jumps_per_s(self) -> float:
        """How often it jumps."""
        return self._jumps / self._over_s

    def skip(self, until: int) -> None:
        """Learn nothing from the ticks before ``until``."""
        self._learnt = until

    def learn(self, until: int, most_s: float) -> None:
        """Learn from the ticks before ``until``; one followed by a gap counts for ``most_s``."""
        starts_s, levels_a, levels = self._trail.start_s, self._trail.level_a, self._levels
        earlier: float | None = None
        for place in range(self._learnt, until):
            above = levels.above(levels_a[place])
            lasted_s = min(starts_s[place + 1] - starts_s[place], most_s)
            self._over_s += lasted_s
            if above <= 2 * levels.floor_a:
                earlier = None
                continue
            here = math.log(above)
            self.repertoire.add(here, lasted_s)
            if earlier is not None and abs(here - earlier) > max(_JUMP, 4 * levels.relative_noise):
                self._jumps += 0.5
            earlier = here
        self._learnt = max(self._learnt, until)

    def learn_to_dip(self, fell: int, rose: int, most_s: float) -> None:
        """Learn from the ticks until a dip, and nothing from the dip."""
        # the tick in which it fell is a mixture of both levels
        self.learn(max(fell - 1, min(fell, self._learnt + 1)), most_s)
        self._learnt = rose
