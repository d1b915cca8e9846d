"""Heater off when the plate does not hold the temperature that was set, or somebody else commands it."""

from __future__ import annotations

from wakerail.bench.interlocks.plate_state import PlateGuard, PlateState
from wakerail.bench.interlocks.trip import Trip
from wakerail_kit.units import human

#: Nearer than this a set point is what was set: plates round.
SAME_K = 1.0


class SetpointHeld(PlateGuard):
    """Trips when a heated plate has held something else than was set for ``acknowledge_s``: not taken, or drifting."""

    def __init__(self, acknowledge_s: float) -> None:
        self._acknowledge_s = acknowledge_s
        self._held_s = float("-inf")

    def judge(self, state: PlateState) -> Trip | None:
        held_c, wanted_c = state.setpoint_c, state.wanted_c
        if held_c is not None and wanted_c is not None and _same(held_c, wanted_c):
            self._held_s = state.t_s
        if (
            not state.heating
            or wanted_c is None
            or state.t_s - max(self._held_s, state.wanted_s) <= self._acknowledge_s
        ):
            return None
        holds = "does not tell that it holds it" if held_c is None else f"holds {human(held_c, 'Cel')}"
        return Trip(
            "setpoint-not-held", f"{human(wanted_c, 'Cel')} was set and the plate {holds}", held_c, wanted_c, "Cel"
        )

    def reset(self) -> None:
        self._held_s = float("-inf")


class SecondSource(PlateGuard):
    """Trips when the heater or the set point changes and nobody here commanded it."""

    def __init__(self) -> None:
        self._before_c: float | None = None

    def judge(self, state: PlateState) -> Trip | None:
        before_c, self._before_c = self._before_c, state.setpoint_c
        if state.wanted_heater is not None and state.heater is not None and state.heater is not state.wanted_heater:
            says = f"the heater was switched {'on' if state.heater else 'off'} and nobody here did it"
            return Trip("second-source", says, float(state.heater), float(state.wanted_heater), "1")
        if not state.heating or state.wanted_c is None or state.setpoint_c is None or before_c is None:
            return None
        if _same(before_c, state.setpoint_c) or _same(state.setpoint_c, state.wanted_c):
            return None
        changed = f"the set point was changed from {human(before_c, 'Cel')} to {human(state.setpoint_c, 'Cel')}"
        says = f"{changed} and nobody here did it"
        return Trip("second-source", says, state.setpoint_c, state.wanted_c, "Cel")

    def reset(self) -> None:
        self._before_c = None


def _same(one_c: float, other_c: float) -> bool:
    return abs(one_c - other_c) <= SAME_K
