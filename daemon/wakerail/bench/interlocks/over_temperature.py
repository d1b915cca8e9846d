"""Heater off when the plate is above the bench's limit, or well above what it was set to and rising."""

from __future__ import annotations

from collections import deque

from wakerail.bench.interlocks.plate_state import PlateGuard, PlateState
from wakerail.bench.interlocks.trip import PULL_ITS_PLUG, Trip
from wakerail_kit.units import human

_LOOK_BACK_S = 3.0
_RISING_K = 0.5


class OverTemperature(PlateGuard):
    """Trips on a single sample above the ceiling, whether or not the plate is heated from here."""

    def __init__(self, ceiling_c: float) -> None:
        self._ceiling_c = ceiling_c

    def judge(self, state: PlateState) -> Trip | None:
        if state.shown_c is None or state.shown_c <= self._ceiling_c:
            return None
        says = f"plate at {human(state.shown_c, 'Cel')}, above the limit of {human(self._ceiling_c, 'Cel')}"
        if not state.heating:
            says += f", and its heater is off: {PULL_ITS_PLUG}"
        return Trip("over-temperature", says, state.shown_c, self._ceiling_c, "Cel")


class Overshoot(PlateGuard):
    """Trips when the plate is above its set point by more than the limit and still rises: nothing regulates it.

    After a command the plate gets ``coast_s`` to follow.
    """

    def __init__(self, overshoot_k: float, coast_s: float) -> None:
        self._overshoot_k = overshoot_k
        self._coast_s = coast_s
        self._past: deque[tuple[float, float]] = deque()

    def judge(self, state: PlateState) -> Trip | None:
        if state.temperature_c is None:
            self._past.clear()
            return None
        self._past.append((state.t_s, state.temperature_c))
        while len(self._past) > 1 and self._past[1][0] <= state.t_s - _LOOK_BACK_S:
            self._past.popleft()
        over_k = state.temperature_c - state.wanted_c if state.wanted_c is not None else 0.0
        if not state.heating or over_k <= self._overshoot_k or state.t_s - state.wanted_s < self._coast_s:
            return None
        if state.temperature_c - self._past[0][1] < _RISING_K:
            return None
        at, over = human(state.temperature_c, "Cel"), human(round(over_k, 1), "K")
        says = f"plate at {at} and rising, {over} above its set point; it does not regulate"
        return Trip("overshoot", says, over_k, self._overshoot_k, "K")

    def reset(self) -> None:
        self._past.clear()
