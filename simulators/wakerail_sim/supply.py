"""The bench supply as physics and settings: constant voltage, constant current, protections.

The output is ideal and settles within one step: with a load of conductance G it holds its voltage U as long as
U * G stays within the limit I (constant voltage), and else gives I at the voltage I / G (Ohm's law).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Protocol

import numpy as np
import numpy.typing as npt

from wakerail_sim.noise import Floats, Ints
from wakerail_sim.ticks import steps_of

Flags = npt.NDArray[np.bool_]

MAX_VOLTAGE_V = 20.0
MAX_CURRENT_A = 6.0
MAX_OVER_VOLTAGE_V = 22.0
MAX_OVER_CURRENT_A = 6.6
_OVER_CURRENT_DELAY_S = 0.005  # an inrush shorter than that trips nothing
_OUTPUT_OFF = -1  # beside 0 and 1 for constant voltage and constant current


class Trip(Enum):
    """Which protection switched the output off."""

    OVER_VOLTAGE = "over-voltage"
    OVER_CURRENT = "over-current"


@dataclass(frozen=True, slots=True)
class Flow:
    """What flows at some moments: volts at the terminals, current, and whether the current limit holds it."""

    voltage_v: Floats
    current_a: Floats
    limiting: Flags


class Load(Protocol):
    """What hangs on the supply's terminals. ``measured`` is False where the numbers are a recording of a meter."""

    @property
    def measured(self) -> bool: ...

    def flow(self, supply: Supply, ticks: Ints) -> Flow:
        """Return what flows at ``ticks`` (ascending) if nothing changes meanwhile."""
        ...


class Held:
    """Finds when a condition has held for some steps on end, across any cutting of the time."""

    def __init__(self, steps: int) -> None:
        self._needed = steps
        self._held = 0

    def first(self, condition: Flags) -> int | None:
        """Return after how many of these steps it will have held long enough, or None."""
        if not condition.any():
            return None
        breaks = np.flatnonzero(~condition)
        starts = np.concatenate(([-self._held], breaks + 1))
        ends = np.concatenate((breaks, [len(condition)]))
        enough = np.flatnonzero(ends - starts >= self._needed)
        return max(1, int(starts[enough[0]]) + self._needed) if len(enough) else None

    def pass_by(self, condition: Flags) -> None:
        """Take note of steps that went by."""
        breaks = np.flatnonzero(~condition)
        self._held = len(condition) - int(breaks[-1]) - 1 if len(breaks) else self._held + len(condition)

    def forget(self) -> None:
        """Begin anew."""
        self._held = 0


class Supply:
    """Settings and state of the supply. Voltages 0..20 V, currents 0..6 A; nothing is energised at power-on.

    ``limiting_event`` and ``regulating_event`` say that constant current, or constant voltage, began since they
    were last cleared.
    """

    def __init__(self) -> None:
        self._over_current = Held(steps_of(_OVER_CURRENT_DELAY_S))
        self.limiting_event = False
        self.regulating_event = False
        self.reset()

    def reset(self) -> None:
        """Take the settings of power-on: output off, 0 V, 0.1 A, protections at their widest."""
        self.voltage_v = 0.0
        self.current_limit_a = 0.1
        self.over_voltage_v = MAX_OVER_VOLTAGE_V
        self.over_current_a = MAX_OVER_CURRENT_A
        self.over_current_on = False
        self.output_on = False
        self.trip: Trip | None = None
        self._was_limiting = _OUTPUT_OFF
        self._over_current.forget()

    def switch_off_output(self) -> None:
        """Switch the output off."""
        self.output_on = False
        self._was_limiting = _OUTPUT_OFF
        self._over_current.forget()

    def into_conductance(self, conductance_s: Floats) -> Flow:
        """Return what flows into a load of that conductance (siemens)."""
        if not self.output_on:
            return self._nothing(len(conductance_s))
        wanted_a = self.voltage_v * conductance_s
        limiting = wanted_a > self.current_limit_a
        sagged_v = np.divide(self.current_limit_a, conductance_s, out=np.zeros_like(wanted_a), where=limiting)
        return Flow(
            np.where(limiting, sagged_v, self.voltage_v), np.where(limiting, self.current_limit_a, wanted_a), limiting
        )

    def into_recording(self, current_a: Floats, voltage_v: Floats | None) -> Flow:
        """Return what flows when a recording says what is drawn, and perhaps at what voltage."""
        if not self.output_on:
            return self._nothing(len(current_a))
        limiting = current_a > self.current_limit_a
        held_v = np.full(len(current_a), self.voltage_v) if voltage_v is None else voltage_v
        return Flow(held_v, np.minimum(current_a, self.current_limit_a), limiting)

    def trips_after(self, flow: Flow) -> tuple[int, Trip] | None:
        """Return after how many of these steps a protection will switch the output off, and which."""
        if not self.output_on:
            return None
        over = np.flatnonzero(flow.voltage_v > self.over_voltage_v)
        if len(over):
            return int(over[0]) + 1, Trip.OVER_VOLTAGE
        found = self._over_current.first(self._exceeds(flow)) if self.over_current_on else None
        return (found, Trip.OVER_CURRENT) if found is not None else None

    def pass_by(self, flow: Flow) -> None:
        """Take note of steps that went by: which way it regulated, and for how long the current was too high."""
        if not self.output_on or not len(flow.limiting):
            return
        self._over_current.pass_by(self._exceeds(flow))
        before = np.concatenate(([self._was_limiting], flow.limiting[:-1]))
        self.limiting_event |= bool((flow.limiting & (before != 1)).any())
        self.regulating_event |= bool((~flow.limiting & (before != 0)).any())
        self._was_limiting = int(flow.limiting[-1])

    def _exceeds(self, flow: Flow) -> Flags:
        return flow.current_a >= self.over_current_a

    @staticmethod
    def _nothing(count: int) -> Flow:
        return Flow(np.zeros(count), np.zeros(count), np.zeros(count, dtype=np.bool_))
