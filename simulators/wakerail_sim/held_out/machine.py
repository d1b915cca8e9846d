"""The machine that firmware, people and faults act on: its loads, its power, and when it booted."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from wakerail_sim.held_out.agenda import Agenda, Process
from wakerail_sim.held_out.build import Build
from wakerail_sim.held_out.command import Command
from wakerail_sim.held_out.devices.device import Device, Peripheral
from wakerail_sim.held_out.draws import clipped, scatter
from wakerail_sim.held_out.mishap import Weaknesses

Load = Peripheral | Literal["core", "always-on", "self-refresh", "charger", "leak"]
State = Literal["off", "boot", "run", "sleep", "hang", "stopping"]

_RAMPS_S: Mapping[Load, float] = {
    "core": 2e-4,
    "memory": 2e-3,
    "display": 0.12,
    "receiver": 1e-3,
    "transmitter": 3e-4,
    "storage": 5e-4,
    "motor": 4e-3,
    "light": 2e-3,
    "amplifier": 0.01,
    "head": 2e-3,
    "always-on": 2e-3,
    "self-refresh": 1e-3,
    "charger": 0.25,
    "leak": 0.05,
}
_ACTIVITY_RAMP_S = 1e-4
_OUTSIDE: tuple[Load, ...] = ("charger", "leak")  # what is no load of the device
_RESET_WARM: tuple[Load, ...] = ("storage", "motor", "amplifier", "head", "transmitter", "receiver", "light")
_CLOCKS = 4
_EMPTY_AFTER_S = 0.3  # what capacitors need


@dataclass(frozen=True, slots=True)
class Inrush:
    """What charges capacitors: a charge that flows within a few ``tau_s``."""

    at_s: float
    charge_c: float
    tau_s: float


class Machine:
    """A device with a supply, of which each has currents of its own.

    Args:
        device: what it is.
        chance: where all that happens to it is drawn from.
        firmware: its boot and all that comes of that; told whether it is a cold one, after a loss of power.

    ``loads`` is what each of its loads is told to draw (A) and ``activity`` how much the core's current fluctuates, as
    a part. ``inrushes`` and ``opens_s`` are when capacitors were charged and when the supply was open. ``boots_s`` is
    when it booted, ``ran_s`` when it got to run, out of a boot or a sleep, and ``restarts_s`` when each boot or run
    was ended by a restart and when the next boot began. While it is off but will boot again, ``ended_s`` is when it
    was ended.

    ``weaknesses`` say when its firmware fails, ``retry_chance`` is how likely a peripheral does not answer at first.
    ``stays_lit`` is whether a warm reset leaves the display on, ``stays_awake`` whether it never sleeps by itself.
    The next boot is its ``first_boot`` with this firmware, or ``unclean`` after a stop that the firmware did not know
    of, or ``recovers_next``. ``used_s`` is when it was used last, ``idle_watches`` how often it began to wait until it
    may sleep. ``watch_load`` is called whenever a load has changed.
    """

    def __init__(
        self, device: Device, chance: np.random.Generator, firmware: Callable[[Machine, bool], Process]
    ) -> None:
        self.device = device
        self.chance = chance
        self.build = Build(device)
        self.scale = scatter(chance, 0.08)
        self.state: State = "off"
        self.loads = {load: Command() for load in _RAMPS_S}
        self.activity = Command()
        self.inrushes: list[Inrush] = []
        self.opens_s: list[tuple[float, float]] = []
        self.boots_s: list[float] = []
        self.ran_s: list[float] = []
        self.restarts_s: list[tuple[float, float]] = []
        self.ended_s: float | None = None
        self.weaknesses = Weaknesses()
        self.retry_chance = 0.05
        self.stays_lit = True
        self.stays_awake = False
        self.first_boot = False
        self.unclean = False
        self.recovers_next = False
        self.used_s = 0.0
        self.idle_watches = 0
        self.watch_load: Callable[[], None] | None = None
        self._firmware = firmware
        self._agenda = Agenda()
        self._epoch = 0
        self._needs: dict[str, tuple[float, float]] = {}

    @property
    def now_s(self) -> float:
        """What time it is."""
        return self._agenda.now_s

    @property
    def is_running(self) -> bool:
        """Whether it has booted and is awake."""
        return self.state == "run"

    @property
    def is_asleep(self) -> bool:
        """Whether it sleeps."""
        return self.state == "sleep"

    @property
    def is_up(self) -> bool:
        """Whether it has booted, awake or asleep."""
        return self.is_running or self.is_asleep

    @property
    def epoch(self) -> int:
        """A number that changes whenever all that the firmware does is broken off."""
        return self._epoch

    @property
    def total_a(self) -> float:
        """What all loads are told to draw."""
        return sum(load.level for load in self.loads.values())

    def run(self, until_s: float) -> None:
        """Let all happen that does until a time."""
        self._agenda.run(until_s)

    def at(self, at_s: float, call: Callable[[], None]) -> None:
        """Ask for a call at a time."""
        self._agenda.at(at_s, call)

    def spawn(self, process: Process) -> None:
        """Let the firmware do something, until it ends or a reset ends it."""
        self._go_on(process, self._epoch)

    def surround(self, process: Process) -> None:
        """Let something happen to the machine, whatever becomes of its firmware."""
        self._go_on(process, None)

    def break_off(self) -> None:
        """Break off all that the firmware does."""
        self._epoch += 1

    def enter(self, state: State) -> None:
        """Come into a state."""
        self.state = state
        if state == "run":
            self.ran_s.append(self.now_s)

    def draw(self, load: Load, current_a: float, ramp_s: float | None = None) -> None:
        """Let a load draw a current, as soon as it can or within a ramp."""
        self.loads[load].change(self.now_s, current_a, _RAMPS_S[load] if ramp_s is None else ramp_s)
        if self.watch_load is not None:
            self.watch_load()

    def switch(self, peripheral: Peripheral, level: float, ramp_s: float | None = None) -> None:
        """Switch a peripheral to a part of its full current."""
        self.draw(peripheral, level * self.device.peripheral_a(peripheral) * self.scale, ramp_s)

    def need(self, task: str, use: float, activity: float = 0.3) -> None:
        """Let a task need a part of the core's time from now on; tasks add up, and the clock goes by their sum."""
        self._needs[task] = (use, activity)
        self._clock_core()

    def end(self, task: str) -> None:
        """Let a task need nothing any more."""
        self._needs.pop(task, None)
        self._clock_core()

    def drop_tasks(self) -> None:
        """Forget all tasks, without a change of the core's clock yet."""
        self._needs.clear()

    def halt_core(self) -> None:
        """Switch the core off while the rest has power."""
        self.draw("core", 0.0)
        self.activity.change(self.now_s, 0.02, _ACTIVITY_RAMP_S)

    def power_up(self, *, empty: bool = True) -> None:
        """Give power to it if it is off: it boots. ``empty`` is whether its capacitors are."""
        if self.state != "off":
            return
        device = self.device
        if self.ended_s is not None:
            self.restarts_s.append((self.ended_s, self.now_s))
            self.ended_s = None
        charge_c = device.capacitance_f * 0.6 * device.supply_v * (1 if empty else 0.5)
        self.inrushes.append(Inrush(self.now_s, charge_c, self.chance.uniform(0.8e-3, 4e-3)))
        self.draw("always-on", device.always_on_a * self.scale)
        self._boot(cold=True)

    def cut(self, off_s: float, *, ramp_s: float = 0.003, clean: bool = False) -> None:
        """Take all power away, and give it again after a while. ``clean`` is whether its firmware knew before."""
        if self.state == "off":
            return
        self._lose_power(ramp_s)
        self.ended_s = self.now_s
        self.unclean = not clean
        off_s = clipped(off_s, 0.02, 60)
        self.at(self.now_s + off_s, lambda: self.power_up(empty=off_s > _EMPTY_AFTER_S))

    def switch_off(self) -> None:
        """Take all power away for good, as its firmware asked for."""
        self._lose_power(0.003)
        self.unclean = False

    def reset_warm(self, *, clean: bool = False) -> None:
        """Boot again without loss of power. ``clean`` is whether its firmware knew before."""
        if self.state == "off":
            return
        self.break_off()
        self.drop_tasks()
        for load in (*_RESET_WARM, *(() if self.stays_lit else ("display",))):
            self.loads[load].change(self.now_s, 0.0, 0.002)
        self.loads["self-refresh"].change(self.now_s, 0.0, 0.001)
        self.restarts_s.append((self.now_s, self.now_s))
        self.unclean = not clean
        self._boot(cold=False)

    def reset(self, off_s: float | None, *, clean: bool = False) -> None:
        """Restart it: warm if ``off_s`` is None, else without power for about as long."""
        if off_s is None:
            self.reset_warm(clean=clean)
        else:
            self.cut(off_s * scatter(self.chance, 0.15), clean=clean)

    def _boot(self, *, cold: bool) -> None:
        self.boots_s.append(self.now_s)
        self.enter("boot")
        self.spawn(self._firmware(self, cold))

    def _lose_power(self, ramp_s: float) -> None:
        self.break_off()
        self.drop_tasks()
        for load, command in self.loads.items():
            if load not in _OUTSIDE:
                command.change(self.now_s, 0.0, ramp_s * self.chance.uniform(0.5, 1.5))
        self.loads["always-on"].change(self.now_s, self.device.off_a, ramp_s)
        self.enter("off")

    def _clock_core(self) -> None:
        """Let the core draw what its tasks need: the faster its clock, the higher its voltage."""
        device, tasks = self.device, self._needs.values()
        if not tasks:
            core_a, activity = device.core_idle_a * 0.6, 0.08
        else:
            use = min(1.0, sum(use for use, _ in tasks))
            clock = np.ceil(use * _CLOCKS) / _CLOCKS
            busy_a = device.core_busy_a - device.core_idle_a
            core_a = device.core_idle_a + busy_a * (0.45 * use + 0.55 * use * clock**1.5)
            activity = sum(use * fluctuating for use, fluctuating in tasks) / sum(use for use, _ in tasks)
        self.draw("core", core_a * self.scale)
        self.activity.change(self.now_s, activity, _ACTIVITY_RAMP_S)

    def _go_on(self, process: Process, epoch: int | None) -> None:
        if epoch is not None and epoch != self._epoch:
            process.close()
            return
        wait_s = next(process, None)
        if wait_s is not None:
            self.at(self.now_s + max(0.0, float(wait_s)), lambda: self._go_on(process, epoch))
