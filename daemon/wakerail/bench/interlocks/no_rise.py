"""Heater off when it heats and the reading does not rise: the sensor is off the plate, or the element is broken."""

from __future__ import annotations

from wakerail.bench.interlocks.plate_state import PlateGuard, PlateState
from wakerail.bench.interlocks.trip import Trip
from wakerail_kit.units import human

#: Only a plate this far below its set point must rise; nearer its own control may hold it back.
DEMAND_K = 10.0
#: What it must rise by in the time that it has.
RISE_K = 2.0
#: So far below its set point a plate under control is not for long, and its reading changes.
BELOW_K = 1.0
#: A fall by this much while it is heated is no cold board laid on it.
FALL_K = 15.0


class NoRise(PlateGuard):
    """Trips when a plate that must rise does not rise by 2 K in ``rise_time_s``, or falls by 15 K."""

    def __init__(self, rise_time_s: float) -> None:
        self._rise_time_s = rise_time_s
        self._from: tuple[float, float] | None = None
        self._highest_c = float("-inf")

    def judge(self, state: PlateState) -> Trip | None:
        wanted_c = state.setpoint_c if state.setpoint_c is not None else state.wanted_c
        at_c = state.temperature_c
        if at_c is None:
            return None
        if not state.heating or wanted_c is None or wanted_c - at_c < DEMAND_K:
            self._from = None
            self._highest_c = at_c if state.heating else float("-inf")
            return None
        self._highest_c = max(self._highest_c, at_c)
        if at_c < self._highest_c - FALL_K:
            fallen_k = self._highest_c - at_c
            fell = f"the reading fell by {human(round(fallen_k, 1), 'K')} to {human(at_c, 'Cel')}"
            says = f"{fell} with the heater on; {_WHY}"
            return Trip("no-rise", says, -fallen_k, -FALL_K, "K")
        if self._from is None or at_c >= self._from[1] + RISE_K:
            self._from = (state.t_s, at_c)
            return None
        if state.t_s - self._from[0] <= self._rise_time_s:
            return None
        says = f"the heater has been on for {human(round(state.t_s - self._from[0], 1), 's')} and the reading stays at "
        says += f"{human(at_c, 'Cel')}; {_WHY}"
        return Trip("no-rise", says, at_c - self._from[1], RISE_K, "K")

    def reset(self) -> None:
        self._from = None
        self._highest_c = float("-inf")


class StandsStill(PlateGuard):
    """Trips when a heated plate below its set point shows exactly one value for ``rise_time_s``.

    Its own control works on that value, too, and heats on: so this is closer to the set point than a rise can be asked.
    """

    def __init__(self, rise_time_s: float) -> None:
        self._rise_time_s = rise_time_s
        self._since: tuple[float, float] | None = None

    def judge(self, state: PlateState) -> Trip | None:
        wanted_c = state.setpoint_c if state.setpoint_c is not None else state.wanted_c
        at_c = state.temperature_c
        if at_c is None or wanted_c is None or not state.heating or wanted_c - at_c <= BELOW_K:
            self._since = None
            return None
        if self._since is None or at_c != self._since[1]:
            self._since = (state.t_s, at_c)
            return None
        still_s = state.t_s - self._since[0]
        if still_s <= self._rise_time_s:
            return None
        says = f"the reading has stood at exactly {human(at_c, 'Cel')} for {human(round(still_s, 1), 's')}"
        return Trip("no-rise", f"{says} with the heater on; {_WHY}", 0.0, RISE_K, "K")

    def reset(self) -> None:
        self._since = None


_WHY = "the sensor may be off the plate, or broken"
