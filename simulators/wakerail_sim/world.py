"""The one world behind all far ends: device, supply, plate, charge port and USB port, coupled, on one clock.

Nothing in it runs by itself. Whoever asks something of it first brings it up to the clock's present, in fixed steps
of 1 ms. What a step does depends on its number, the seed and the commands before it, and never on how often or
in which pieces the world was asked; so the same commands at the same times give the same samples.
"""

from __future__ import annotations

import functools
import math
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np

from wakerail_kit.clock import Clock
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.families import DeviceFamily
from wakerail_sim.agenda import Agenda
from wakerail_sim.board import Board
from wakerail_sim.charge_port import ChargePort
from wakerail_sim.device import Device
from wakerail_sim.faults import Fault, FaultList, Where
from wakerail_sim.meter import Meter
from wakerail_sim.noise import Noise
from wakerail_sim.plate import Plate
from wakerail_sim.replay import Replay
from wakerail_sim.stack import BETWEEN, Stack
from wakerail_sim.supply import Flow, Load, Supply, Trip
from wakerail_sim.terminals import CHARGES_WITH_A, Place, Terminals
from wakerail_sim.ticks import STEP_S, STEP_TICKS, step_at, steps_of
from wakerail_sim.trace import RecordedTrace
from wakerail_sim.usb_port import UsbChange, UsbPort

_CHUNK_STEPS = 4096  # bounds the memory of one advance, however long nobody asked


class World:
    """The bench world. Use its parts only inside ``with world.present():``.

    ``begun_s`` is the clock's monotonic time of step 0. ``usb_changed`` hears of every USB change, with the world
    locked: it must neither block nor ask back.
    Raises ConfigInvalid if a trace is to be replayed on a device with faults of its own draw or boot, or a fault is of
    a pin that the device has not.
    """

    def __init__(
        self,
        family: DeviceFamily,
        clock: Clock,
        *,
        seed: int = 1,
        faults: tuple[Fault, ...] = (),
        trace: RecordedTrace | None = None,
        usb_changed: Callable[[UsbChange], None] | None = None,
        plate_has_fan: bool = False,
    ) -> None:
        listed = FaultList(faults)
        if trace is not None and (unfit := next(listed.of(Where.LOAD), None)) is not None:
            raise ConfigInvalid(
                f"fault {unfit.sort!r} has no effect on a replayed trace: leave out the trace or the fault"
            )
        self._clock = clock
        self.begun_s = clock.monotonic_s()
        self._lock = threading.RLock()
        self._agenda = Agenda()
        noise = Noise(seed)
        self.supply = Supply()
        solder = next((profile.alloy for profile in family.profiles.values()), None)
        self.stack = Stack(solder, {fault for fault in BETWEEN if fault in listed})
        self.plate = Plate(noise, has_fan=plate_has_fan, warms=self.stack.move_on)
        self._faults = listed
        self.port = ChargePort("dirty-port" in listed, noise)
        self.usb = UsbPort(
            family,
            self._agenda,
            broken=lambda: self.port.dirty or "enumeration-failures" in listed,
            changed=usb_changed or (lambda _: None),
        )
        self.device = Device(family, listed, self.stack, noise, self._agenda, self.usb.device_entered)
        self.replay = Replay(trace, self._agenda) if trace is not None else None
        self.board = Board(family, listed, noise, lambda: self.device.short_ohm)
        self.terminals = Terminals(self.replay or self.device, self._charges_a)
        self._load: Load = self.terminals
        self.meter = Meter(self.supply, self._load, noise)
        for fault, happen in self.plate.faults().items():
            after_s = listed.amount(f"plate-{fault}-after")
            if after_s is not None:
                self._agenda.after(steps_of(after_s), happen)

    @contextmanager
    def present(self) -> Iterator[None]:
        """Lock the world and bring it up to the clock's present."""
        with self._lock:
            self._advance()
            yield

    @property
    def now_step(self) -> int:
        """The step that comes next; what is set now takes effect with it."""
        return self._agenda.now_step

    def plan(self, after_s: float, action: Callable[[], None]) -> None:
        """Let something happen so long from now; it runs with the world locked and must not block."""
        with self.present():
            self._agenda.after(steps_of(after_s), action)

    def until_planned_s(self) -> float:
        """Return how long it is until the next thing happens by itself; infinity if nothing is planned."""
        planned = self._agenda.next_step()
        return math.inf if planned is None else (planned - self.now_step) * STEP_S

    def hot_spot_c(self) -> float:
        """Return how hot the warmest part of the device is."""
        flow = self.flow_now()
        return self.device.hot_spot_c(float(flow.voltage_v[0] * flow.current_a[0]))

    def press_button(self) -> None:
        """Press the device's power button."""
        if self.terminals.place is Place.PORT:
            return  # what it does on its own cell, the supply does not see
        if self.replay is None:
            self.device.press_button(float(self.flow_now().voltage_v[0]))
        elif self.supply.output_on:
            self.replay.press_button()

    def clean_port(self) -> None:
        """Clean the charge port; the cable comes out for it and goes in again."""
        self.port.dirty = False
        self.usb.plug(self.usb.cable_in)

    def clamp_boards(self) -> None:
        """Clamp the boards on the plate. Raises ConfigInvalid if they have power or are there."""
        if self.supply.output_on and self.terminals.place is Place.BATTERY:
            raise ConfigInvalid("the supply's output is on: boards with power do not go on the plate")
        self.stack.clamp()

    @property
    def board_powered(self) -> bool:
        """Whether there is a voltage on the board's lines."""
        return self.supply.output_on or "cell-connected" in self._faults

    def meter_voltage_v(self) -> float:
        """Return what the multimeter reads as a voltage now."""
        return self.board.voltage_v(powered=self.board_powered)

    def meter_resistance_ohm(self) -> float | None:
        """Return what the multimeter reads as a resistance now; None is an overload."""
        return self.board.resistance_ohm(self.now_step, powered=self.board_powered)

    def meter_diode_v(self) -> float | None:
        """Return what the multimeter reads in its diode function now; None is an overload."""
        return self.board.diode_v(self.now_step, powered=self.board_powered)

    def put_leads(self, red: str, black: str) -> None:
        """Put the multimeter's leads somewhere. Raises ConfigInvalid for a place that there is not."""
        self.board.put_leads(red, black, self.now_step)

    def set_output(self, on: bool) -> None:
        """Switch the supply's output."""
        if on and not self.supply.output_on:
            self.supply.output_on = True
            self.device.power(self.terminals.place is Place.BATTERY)
        elif not on and self.supply.output_on:
            self.supply.switch_off_output()
            self.device.power(False)
            if self.replay is not None:
                self.replay.stop()

    def clip(self, place: Place) -> None:
        """Put the supply's leads somewhere else; the device loses its power, or gets it."""
        self.device.power(False)
        self.terminals.place = place
        if self.supply.output_on and place is Place.BATTERY:
            self.device.power(True)

    def _charges_a(self) -> float:
        charges_a = self._faults.amount("charges-with")
        return 0.0 if self.port.dirty else CHARGES_WITH_A if charges_a is None else charges_a

    def reset_supply(self) -> None:
        """Bring the supply back to its settings of power-on, output off."""
        self.set_output(False)
        self.supply.reset()
        self.meter.reset(self.now_step * STEP_TICKS)

    def flow_now(self) -> Flow:
        """Return what flows in the step that comes next."""
        return self._load.flow(self.supply, np.array([self.now_step * STEP_TICKS], dtype=np.int64))

    def _advance(self) -> None:
        target = step_at(self._clock.monotonic_s() - self.begun_s)
        while self.now_step < target:
            due_step = self._agenda.next_step()
            end = min(target, self.now_step + _CHUNK_STEPS)
            self._run_to(end if due_step is None else min(end, due_step))
            self._agenda.run_due()

    def _run_to(self, end_step: int) -> None:
        """Run to ``end_step``, or to the first step at which the voltage or the current makes something happen."""
        begin = self.now_step
        steps = np.arange(begin, end_step, dtype=np.int64)
        flow = self._load.flow(self.supply, steps * STEP_TICKS)
        coming: list[tuple[int, Callable[[], None]]] = []
        if (trips := self.supply.trips_after(flow)) is not None:
            coming.append((trips[0], functools.partial(self._trip, trips[1])))
        if self.replay is None and (browns_out := self.device.browns_out_after(flow)) is not None:
            coming.append((browns_out, self.device.brown_out))
        if self.terminals.place is Place.BATTERY and (clears := self.device.clears_after(flow)) is not None:
            coming.append((clears, self.device.clear_short))
        count, happens = min(coming, key=lambda come: come[0], default=(len(steps), None))
        passed = Flow(flow.voltage_v[:count], flow.current_a[:count], flow.limiting[:count])
        self.supply.pass_by(passed)
        self.device.pass_by(passed)
        self.meter.pass_by((begin + count) * STEP_TICKS)
        self.plate.pass_by(begin, begin + count)
        self._agenda.now_step = begin + count
        if happens is not None:
            happens()

    def _trip(self, trip: Trip) -> None:
        self.set_output(False)
        self.supply.trip = trip
