"""What a scene finds, and what it decides before the machine begins to run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from wakerail_sim.draws import pick
from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.devices.device import Act, Device
from wakerail_sim.held_out.happenings.use import use
from wakerail_sim.held_out.machine import Machine

_QUICK_BOOT_S, _SHORT_BOOT_S = 2, 6


@dataclass(frozen=True, slots=True)
class Source:
    """What the supply can give, as a ``part`` of what the device draws from a strong one.

    Args:
        part: of the highest draw, of the highest of the boot, or roughly of what is seldom exceeded.
        of: which of these. One that can give a part of ``what is usual`` limits its current and never gives up.
        bearable_s: how long it bears more before it gives up.
        recovers_after: how many boots it takes until it can give more.
    """

    part: float
    of: Literal["the peak", "the boot", "what is usual"]
    bearable_s: float = 0.01
    recovers_after: int | None = None


class Setting:
    """A machine in a scene. What a scene does to it is said with its methods, the rest it leaves in its attributes.

    Args:
        machine: what it is about.
        length_s: how long the recording should get.

    ``off_s`` is how long a reset leaves the machine off, None for warm resets, ``watchdog_s`` how long a hang lasts,
    ``every_s`` how often it is used, ``full_a`` what its usual loads draw together. It is switched on
    ``switched_on_s`` after the recording's begin, unless it never is (None); or it was before, and the recording begins
    after ``begins_s`` of that, or once it ``begins_asleep`` then. ``source`` is what its supply can give, None for
    all.
    """

    def __init__(self, machine: Machine, length_s: float) -> None:
        chance, device = machine.chance, machine.device
        boot_s = device.boot_s
        self.machine = machine
        self.length_s = length_s
        self.off_s: float | None = pick(chance, (None, chance.uniform(0.02, 0.2), chance.uniform(0.2, 3.0)))
        self.watchdog_s = chance.uniform(1.0, 4.0) if boot_s < _SHORT_BOOT_S else chance.uniform(3.0, 15.0)
        peripherals_a = (device.peripheral_a("memory"), device.peripheral_a("display"), device.peripheral_a("receiver"))
        self.full_a = sum(peripherals_a, start=device.core_busy_a) * machine.scale
        self.every_s = chance.uniform(2, 12) if boot_s > _QUICK_BOOT_S else chance.uniform(0.8, 6)
        self.switched_on_s: float | None = pick(chance, (chance.uniform(0.3, 2), chance.uniform(1, 8)))
        self.begins_s: float | None = None
        self.begins_asleep = False
        self.source: Source | None = None
        machine.stays_lit = chance.random() < 0.7

    @property
    def chance(self) -> np.random.Generator:
        """Where all is drawn from."""
        return self.machine.chance

    @property
    def device(self) -> Device:
        """What the machine is."""
        return self.machine.device

    def happens(self, process: Process) -> None:
        """Let something happen to the machine."""
        self.machine.surround(process)

    def used(self, share_of_time: float = 1.0, acts: Sequence[Act] = ()) -> None:
        """Let it be used: the lower the share, the more often; by some acts, or as such a device is."""
        self.happens(use(self.machine, self.every_s * share_of_time, acts))

    def draw_fault_every_s(self) -> float:
        """Draw how often a fault shows."""
        return self.length_s / self.chance.uniform(1.2, 6)

    def begin_later(self) -> None:
        """Let the recording begin well after the boot."""
        self.begins_s = self.device.boot_s * self.chance.uniform(1.3, 2.0) + self.chance.uniform(2, 20)

    def maybe_begin_later(self, likelihood: float) -> None:
        """Let the recording begin well after the boot, or not."""
        if self.chance.random() < likelihood:
            self.begin_later()


def any_device(_device: Device) -> bool:
    """Return True: a scene needs nothing of its device."""
    return True


@dataclass(frozen=True, slots=True)
class Scene:
    """A scene: how it is set up, which devices it can be played with, and whether it needs time for some sleep."""

    set_up: Callable[[Setting], None]
    suits: Callable[[Device], bool] = any_device
    sleeps: bool = False
