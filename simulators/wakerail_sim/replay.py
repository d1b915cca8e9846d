"""A recorded trace in place of the device: it begins when the power button is pressed.

Before that its first current stands, and after its end its last: a recording may well begin while the device runs.
"""

from __future__ import annotations

import numpy as np

from wakerail_sim.agenda import Agenda
from wakerail_sim.noise import Ints
from wakerail_sim.supply import Flow, Supply
from wakerail_sim.ticks import STEP_TICKS, TICK_S
from wakerail_sim.trace import RecordedTrace


class Replay:
    """Plays a trace once for each press of the button while the supply's output is on."""

    measured = False

    def __init__(self, trace: RecordedTrace, agenda: Agenda) -> None:
        self._trace = trace
        self._agenda = agenda
        self._begun_tick: int | None = None

    def press_button(self) -> None:
        """Begin, unless it already plays."""
        if self._begun_tick is None:
            self._begun_tick = self._agenda.now_step * STEP_TICKS

    def stop(self) -> None:
        """Go back to before the beginning: the supply's output went off."""
        self._begun_tick = None

    def flow(self, supply: Supply, ticks: Ints) -> Flow:
        """Return what was recorded at ``ticks``, as far as the supply's limit lets it flow."""
        if self._begun_tick is None:
            return supply.into_recording(np.full(len(ticks), self._trace.current_a[0]), None)
        place = self._trace.place((ticks - self._begun_tick).astype(np.float64) * TICK_S)
        voltage_v = self._trace.voltage_v
        return supply.into_recording(self._trace.current_a[place], None if voltage_v is None else voltage_v[place])
