"""Heater off when the plate has told no temperature for too long while it heats."""

from __future__ import annotations

from wakerail.bench.interlocks.plate_state import PlateGuard, PlateState
from wakerail.bench.interlocks.trip import Trip
from wakerail_kit.units import human


class Silence(PlateGuard):
    """Trips when ``silence_s`` went by without a temperature, and when the link is lost while the plate heats."""

    def __init__(self, silence_s: float) -> None:
        self._silence_s = silence_s
        self._heard_s: float | None = None

    def judge(self, state: PlateState) -> Trip | None:
        trip = self.check(state.t_s, heating=state.heating)
        if state.shown_c is not None:
            self._heard_s = state.t_s
        return trip

    def check(self, now_s: float, *, heating: bool) -> Trip | None:
        if self._heard_s is None:
            self._heard_s = now_s
        quiet_s = now_s - self._heard_s
        if not heating or quiet_s <= self._silence_s:
            return None
        says = f"the heater was on and no temperature was read for {human(round(quiet_s, 1), 's')}"
        return Trip("lost-communication", says, quiet_s, self._silence_s, "s")


def lost_link(why: str) -> Trip:
    """Return the trip for a link that was lost while the plate heats."""
    return Trip("lost-communication", f"the link was lost with the heater on ({why})", None, None, "s")
