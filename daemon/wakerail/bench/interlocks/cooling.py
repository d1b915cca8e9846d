"""After a cut the plate must get cooler; one that does not still has power, and only its plug ends that."""

from __future__ import annotations

from collections import deque

from wakerail.bench.interlocks.trip import PULL_ITS_PLUG, Trip
from wakerail_kit.units import human

_LOOK_BACK_S = 5.0
_RISING_K = 1.0
#: Nearer to the touch limit than this a plate cools too slowly to judge it.
_NEAR_COOL_K = 7.0
_AGAIN_S = 30.0


class Cooling:
    """Watches a plate from the cut on and alarms a person, again every 30 s as long as there is need.

    It may rise for ``coast_s``, but not above the ceiling if it was below; after ``cool_time_s`` it must have fallen.
    """

    def __init__(self, ceiling_c: float, touch_c: float, coast_s: float, cool_time_s: float) -> None:
        self._ceiling_c = ceiling_c
        self._touch_c = touch_c
        self._coast_s = coast_s
        self._cool_time_s = cool_time_s
        self._cut_s: float | None = None
        self._alarmed_s = float("-inf")
        self._highest_c = float("-inf")
        self._was_below = True
        self._past: deque[tuple[float, float]] = deque()

    @property
    def watching(self) -> bool:
        """Whether there was a cut that no person has reset."""
        return self._cut_s is not None

    def begin(self, now_s: float, temperature_c: float | None) -> None:
        """Take that the heater was cut."""
        self._cut_s, self._alarmed_s = now_s, float("-inf")
        self._highest_c = temperature_c if temperature_c is not None else float("-inf")
        self._was_below = temperature_c is None or temperature_c <= self._ceiling_c
        self._past.clear()

    def end(self) -> None:
        """Take that a person has looked."""
        self._cut_s = None

    def judge(self, t_s: float, temperature_c: float | None) -> Trip | None:
        """Look at a sample after the cut; return the alarm that it is."""
        if self._cut_s is None or t_s - self._alarmed_s < _AGAIN_S:
            return None
        says = self._unseen(t_s) if temperature_c is None else self._not_cooler(t_s, temperature_c)
        if says is None:
            return None
        self._alarmed_s = t_s
        return Trip("not-cooling", f"{PULL_ITS_PLUG}: {says}", temperature_c, None, "Cel")

    def _unseen(self, t_s: float) -> str | None:
        self._past.clear()
        if self._cut_s is None or t_s - self._cut_s < self._coast_s:
            return None
        return "the heater was cut, and whether the plate gets cooler cannot be seen"

    def _not_cooler(self, t_s: float, at_c: float) -> str | None:
        self._past.append((t_s, at_c))
        while len(self._past) > 1 and self._past[1][0] <= t_s - _LOOK_BACK_S:
            self._past.popleft()
        self._highest_c = max(self._highest_c, at_c)
        since_s, at = t_s - (self._cut_s or 0.0), human(at_c, "Cel")
        if self._was_below and at_c > self._ceiling_c:
            return f"the heater was cut, and the plate went on to {at}"
        if since_s < self._coast_s:
            return None
        long_enough = t_s - self._past[0][0] >= _LOOK_BACK_S * 0.9
        if long_enough and at_c - self._past[0][1] > _RISING_K:
            return f"the heater was cut {human(round(since_s), 's')} ago, and the plate still rises, at {at}"
        if since_s >= self._cool_time_s and at_c > self._touch_c + _NEAR_COOL_K and at_c > self._highest_c - 1.0:
            return f"the heater was cut {human(round(since_s), 's')} ago, and the plate is still at {at}"
        return None
