"""Heater off when the plate has been hot for too long, or the whole session has lasted too long."""

from __future__ import annotations

from wakerail.bench.interlocks.plate_state import PlateGuard, PlateState
from wakerail.bench.interlocks.trip import Trip
from wakerail_kit.units import human


class HotTime(PlateGuard):
    """Trips when the plate was above ``hot_c`` for ``limit_s`` on end and is still heated.

    A temperature that is not known does not end the time: it may be as hot as it was.
    """

    def __init__(self, hot_c: float, limit_s: float) -> None:
        self._hot_c = hot_c
        self._limit_s = limit_s
        self._since_s: float | None = None

    def judge(self, state: PlateState) -> Trip | None:
        if state.temperature_c is not None:
            if state.temperature_c <= self._hot_c:
                self._since_s = None
            elif self._since_s is None:
                self._since_s = state.t_s
        return _too_long("hot-time", "hot", self._since_s, state, self._limit_s)

    def reset(self) -> None:
        self._since_s = None


class Session(PlateGuard):
    """Trips when a session lasts longer than ``limit_s``: from the heater's first on until it is off and cool."""

    def __init__(self, cool_c: float, limit_s: float) -> None:
        self._cool_c = cool_c
        self._limit_s = limit_s
        self._since_s: float | None = None

    def judge(self, state: PlateState) -> Trip | None:
        if state.heating:
            self._since_s = state.t_s if self._since_s is None else self._since_s
        elif state.temperature_c is not None and state.temperature_c <= self._cool_c:
            self._since_s = None
        return _too_long("session", "in use", self._since_s, state, self._limit_s)

    def reset(self) -> None:
        self._since_s = None


def _too_long(interlock: str, what: str, since_s: float | None, state: PlateState, limit_s: float) -> Trip | None:
    if since_s is None or not state.heating or state.t_s - since_s <= limit_s:
        return None
    lasted_s = state.t_s - since_s
    says = f"the plate has been {what} for {human(round(lasted_s), 's')}, longer than {human(limit_s, 's')}"
    return Trip(interlock, says, lasted_s, limit_s, "s")
