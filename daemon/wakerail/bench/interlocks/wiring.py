"""A board on the plate that is wired to a supply: never powered while it is hot."""

from __future__ import annotations

from wakerail.bench.interlocks.plate_state import PlateGuard, PlateState
from wakerail.bench.interlocks.trip import Interlock, Samples, Trip
from wakerail_kit.units import human

#: So long after its last word a plate or an output is what it was said to be; later it counts as hot, or on.
_FRESH_S = 3.0


class Wiring:
    """What a plate and the supply of the board on it know of each other. Each side writes its own, any thread reads."""

    def __init__(self, plate: str, supply: str, touch_c: float) -> None:
        self.plate = plate
        self.supply = supply
        self.touch_c = touch_c
        self._plate_c: float | None = None
        self._plate_s = float("-inf")
        self._output_on = False
        self._ever_heated = False

    def tell_plate(self, t_s: float, temperature_c: float | None, *, heating: bool) -> None:
        """Take a sample of the plate."""
        self._ever_heated |= heating or temperature_c is None or temperature_c > self.touch_c
        self._plate_c, self._plate_s = temperature_c, t_s
        if temperature_c is not None and temperature_c <= self.touch_c and not heating:
            self._ever_heated = False

    def tell_output(self, on: bool) -> None:
        """Take whether the supply's output is on."""
        self._output_on = on

    def output_on(self) -> bool:
        """Whether the supply's output is on, as far as it last told."""
        return self._output_on

    def hot_words(self, now_s: float) -> str | None:
        """Return how hot the plate is in words; None if it is known to be cool, or never was heated."""
        if self._plate_c is not None and now_s - self._plate_s <= _FRESH_S:
            return f"is at {human(self._plate_c, 'Cel')}" if self._plate_c > self.touch_c else None
        return "was hot and does not tell its temperature" if self._ever_heated else None


class OffWhileHot(Interlock):
    """The supply's side: no output while the plate is hot."""

    def __init__(self, wiring: Wiring) -> None:
        self._wiring = wiring

    def refusal(self, setting: str, value: float | bool, now_s: float) -> str | None:
        if setting != "output" or not value or (hot := self._wiring.hot_words(now_s)) is None:
            return None
        return f"the board is on {self._wiring.plate}, which {hot}; no power to a hot board"

    def commanded(self, setting: str, value: float | bool | None, now_s: float) -> None:  # noqa: ARG002
        if setting == "output":
            self._wiring.tell_output(value is not False and value != 0)

    def judge(self, samples: Samples) -> Trip | None:
        outputs = [value for value in samples.signals.get("output", ()) if value is not None]
        if outputs:
            self._wiring.tell_output(bool(outputs[-1]))
        return self.check(samples.t_s[-1])

    def check(self, now_s: float) -> Trip | None:
        if not self._wiring.output_on() or (hot := self._wiring.hot_words(now_s)) is None:
            return None
        says = f"the output was on and the board's plate, {self._wiring.plate}, {hot}"
        return Trip("powered-while-hot", says, None, self._wiring.touch_c, "Cel")


class PoweredBoard(PlateGuard):
    """The plate's side: no heat under a powered board."""

    def __init__(self, wiring: Wiring) -> None:
        self._wiring = wiring

    def refusal(self, now_s: float) -> str | None:  # noqa: ARG002
        if not self._wiring.output_on():
            return None
        return f"the board on it is powered by {self._wiring.supply}; switch that off before heating"

    def judge(self, state: PlateState) -> Trip | None:
        self._wiring.tell_plate(state.t_s, state.temperature_c, heating=state.heating)
        at_c = state.temperature_c
        if not state.heating or not self._wiring.output_on() or at_c is None or at_c <= self._wiring.touch_c:
            return None
        says = f"plate at {human(at_c, 'Cel')} and heated, and {self._wiring.supply} powers the board on it"
        return Trip("powered-while-hot", says, at_c, self._wiring.touch_c, "Cel")
