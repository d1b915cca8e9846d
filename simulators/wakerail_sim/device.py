"""The device under test: its boot from the power button on, its faults, and the load that it is.

Its draw is that of a conductance: a stage that draws 190 mA at the nominal voltage draws less from a lower one.
So a current limit that is too low makes the voltage sag until the device browns out.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from wakerail_kit.families import DeviceFamily
from wakerail_sim.agenda import Agenda, Planned
from wakerail_sim.faults import FaultList
from wakerail_sim.noise import Floats, Ints, Noise
from wakerail_sim.stack import Boards, Stack
from wakerail_sim.stages import DRAWS, Stage, draw_a
from wakerail_sim.supply import Flags, Flow, Held, Supply
from wakerail_sim.ticks import STEP_S, STEP_TICKS, steps_of

AMBIENT_C = 25.0
BROWN_OUT_SHARE = 0.8  # of the nominal voltage; below it for BROWN_OUT_S the device resets
BROWN_OUT_S = 0.1
COLLAPSE_SHARE = 0.5  # below that it resets at once
RUNS_BEFORE_SLEEP_S = 6.0
RUNS_BEFORE_RESTART_S = 4.0  # with restart-at-stage:running, which has no end to be half-way to
MISSED_AFTER_S = 180.0  # with missing-part-restart: the watchdog waits for the part that is not there
_BRIDGE_COLD_A, _BRIDGE_WARM_A, _BRIDGE_WARMS_S = 0.120, 0.080, 15.0
_BRIDGE_RISE_K = 45.0
_SHORT_RISE_K_PER_W = 60.0
SHORT_CLEARS_S = 1.0
_UPSET_STREAM, _UPSET_TIME_STREAM = 13, 14
_BOOT = (Stage.ROM, Stage.LOADER, Stage.KERNEL, Stage.SYSTEM, Stage.RUNNING)
_BOOT_S = sum(DRAWS[stage].duration_s or 0.0 for stage in _BOOT)


class Device:
    """A device of one family, on the supply's terminals. ``entered`` is called with each stage it comes into."""

    measured = True

    def __init__(
        self,
        family: DeviceFamily,
        faults: FaultList,
        stack: Stack,
        noise: Noise,
        agenda: Agenda,
        entered: Callable[[Stage], None],
    ) -> None:
        self._nominal_v = family.nominal_v
        self._faults = faults
        self._stack = stack
        self._noise = noise
        self._agenda = agenda
        self._entered = entered
        self._brown_out = Held(steps_of(BROWN_OUT_S))
        self._next: list[Planned] = []  # what ends this stage
        self._restarts: list[Planned] = []  # what ends this boot, whatever the stage
        self._came_from = Stage.OFF
        self._entered_step = 0
        self._powered_step: int | None = None
        self.stage = Stage.OFF
        self.boots = 0
        self.unplugged: set[str] = set()
        #: Parts in whose place a sound one was put.
        self.replaced: set[str] = set()
        #: The short on the battery rail, as long as it is there.
        self.short_ohm = faults.amount("dead-short")
        self._clears_at_a = faults.amount("short-clears-at")
        self._clearing = Held(steps_of(SHORT_CLEARS_S))

    def press_button(self, voltage_v: float) -> None:
        """Press the power button, with that voltage at the battery terminals."""
        enough = voltage_v >= BROWN_OUT_SHARE * self._nominal_v
        whole = self._stack.boards is Boards.JOINED
        if self.stage is Stage.OFF and enough and whole and "no-draw" not in self._faults:
            self._boot()

    def power(self, on: bool) -> None:
        """Take note that the supply's output was switched on or off."""
        if on and self._powered_step is None:
            self._powered_step = self._agenda.now_step
        elif not on:
            self._powered_step = None
            self._turn_off()

    def hot_spot_c(self, power_w: float) -> float:
        """Return how hot the warmest part is, as a thermal camera would find it, while the device gets that power."""
        if self.short_ohm is not None:
            return AMBIENT_C + _SHORT_RISE_K_PER_W * power_w
        bridged = self._bridged()
        return AMBIENT_C + (
            _BRIDGE_RISE_K * float(self._warmth(np.array([self._agenda.now_step]))[0]) if bridged else 0
        )

    def flow(self, supply: Supply, ticks: Ints) -> Flow:
        """Return what flows at ``ticks`` (ascending) if nothing changes meanwhile."""
        steps = ticks // STEP_TICKS
        drawn_a = draw_a(self.stage, self._came_from, self._entered_step, steps, self._noise)
        standing_a = self._faults.amount("standing-draw")
        if standing_a is not None:
            drawn_a = drawn_a + standing_a
        if self._bridged():
            drawn_a = drawn_a + _BRIDGE_COLD_A + _BRIDGE_WARM_A * self._warmth(steps)
        conductance_s = drawn_a / self._nominal_v
        if self.short_ohm is not None:
            conductance_s = conductance_s + 1.0 / self.short_ohm
        return supply.into_conductance(conductance_s)

    def browns_out_after(self, flow: Flow) -> int | None:
        """Return after how many of these steps it will reset for want of voltage, or None."""
        if self.stage is Stage.OFF:
            return None
        held_too_low = self._brown_out.first(self._too_low(flow))
        collapsed = np.flatnonzero(flow.voltage_v < COLLAPSE_SHARE * self._nominal_v)
        if len(collapsed) == 0:
            return held_too_low
        return int(collapsed[0]) + 1 if held_too_low is None else min(int(collapsed[0]) + 1, held_too_low)

    def clears_after(self, flow: Flow) -> int | None:
        """Return after how many of these steps its short will burn away, or None."""
        return None if self.short_ohm is None else self._clearing.first(self._burns(flow))

    def clear_short(self) -> None:
        """Let the short burn away."""
        self.short_ohm = None

    def pass_by(self, flow: Flow) -> None:
        """Take note of steps that went by."""
        self._brown_out.pass_by(self._too_low(flow))
        self._clearing.pass_by(self._burns(flow))

    def _burns(self, flow: Flow) -> Flags:
        burns: Flags = flow.current_a >= (np.inf if self._clears_at_a is None else self._clears_at_a)
        return burns

    def brown_out(self) -> None:
        """Reset to off: the voltage was too low."""
        self._turn_off()

    def _bridged(self) -> bool:
        """Return whether a solder bridge between the boards has power."""
        together = self._stack.boards is not Boards.APART
        return together and "bridged-layers" in self._stack.between and self._powered_step is not None

    def _too_low(self, flow: Flow) -> Flags:
        return flow.voltage_v < BROWN_OUT_SHARE * self._nominal_v

    def _warmth(self, steps: Ints) -> Floats:
        powered_s = (steps - (self._powered_step or 0)) * STEP_S
        warmth: Floats = 1.0 - np.exp(-np.maximum(powered_s, 0.0) / _BRIDGE_WARMS_S)
        return warmth

    def _turn_off(self) -> None:
        self._brown_out.forget()
        self._forget_restarts()
        if self.stage is not Stage.OFF:
            self._enter(Stage.OFF)

    def _forget_restarts(self) -> None:
        for planned in self._restarts:
            planned.cancel()
        self._restarts.clear()

    def _boot(self) -> None:
        self.boots += 1
        watchdog_s = self._faults.amount("watchdog-restart")
        if watchdog_s is not None:
            self._restarts.append(self._agenda.after(steps_of(watchdog_s), self._restart))
        if "missing-part-restart" in self._faults:
            self._restarts.append(self._agenda.after(steps_of(MISSED_AFTER_S), self._restart_for_want))
        chance = self._faults.amount("intermittent-restart")
        if chance is not None and self._noise.one_uniform(_UPSET_STREAM, self.boots) < chance:
            at_s = _BOOT_S * self._noise.one_uniform(_UPSET_TIME_STREAM, self.boots)
            self._restarts.append(self._agenda.after(steps_of(at_s), self._restart))
        self._enter(Stage.ROM)

    def _restart(self) -> None:
        self._forget_restarts()
        self._enter(Stage.RESTARTING)

    def _restart_for_part(self) -> None:
        if self._faults.names("part-restart") - self.unplugged - self.replaced:
            self._restart()

    def _restart_for_want(self) -> None:
        if self._faults.names("missing-part-restart") & self.unplugged:
            self._restart()

    def _enter(self, stage: Stage) -> None:
        for planned in self._next:
            planned.cancel()
        self._came_from, self.stage = self.stage, stage
        self._entered_step = self._agenda.now_step
        self._next = [self._agenda.after(steps_of(after_s), action) for after_s, action in self._ends(stage)]
        self._entered(stage)

    def _ends(self, stage: Stage) -> list[tuple[float, Callable[[], None]]]:
        """Return what can end a stage, and how long after it was entered."""
        lasts_s = DRAWS[stage].duration_s
        ends: list[tuple[float, Callable[[], None]]] = []
        if stage in self._faults.names("restart-at-stage"):
            ends.append((lasts_s / 2 if lasts_s else RUNS_BEFORE_RESTART_S, self._restart))
        if stage is Stage.KERNEL and lasts_s and "corroded-joint" in self._stack.between:
            ends.append((lasts_s / 2, self._restart))
        if stage is Stage.SYSTEM and lasts_s and "part-restart" in self._faults:
            ends.append((lasts_s / 2, self._restart_for_part))
        if stage in self._faults.names("stalls-at-stage"):
            return ends
        if stage is Stage.RESTARTING and lasts_s:
            ends.append((lasts_s, self._boot))
        elif stage is Stage.SLEEPING and lasts_s:
            ends.append((lasts_s, lambda: self._enter(Stage.RUNNING)))
        elif stage is Stage.RUNNING and "sleep-wake" in self._faults:
            ends.append((RUNS_BEFORE_SLEEP_S, lambda: self._enter(Stage.SLEEPING)))
        elif stage in _BOOT and lasts_s:
            following = _BOOT[_BOOT.index(stage) + 1]
            ends.append((lasts_s, lambda: self._enter(following)))
        return ends
