"""What goes wrong between a supply and a device, or with a supply that is weak."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.draws import clipped
from wakerail_sim.held_out.machine import Inrush, Machine


@dataclass(frozen=True, slots=True)
class Contact:
    """A contact that opens at times.

    Args:
        every_s: about how often.
        open_s: for how long, as a median.
        deviation: how much the logarithm of that spreads.
        longest_s: for how long at most.
        carried_s: for how long capacitors carry the device.
    """

    every_s: float
    open_s: float
    deviation: float
    longest_s: float
    carried_s: float


class WeakSupply:
    """A supply that gives up when more than ``limit_a`` is drawn from it for ``bearable_s``.

    ``watch`` is to be called whenever a load of the machine has changed.
    """

    def __init__(self, machine: Machine, limit_a: float, bearable_s: float) -> None:
        self.limit_a = limit_a
        self._machine = machine
        self._bearable_s = bearable_s
        self._overloaded_s: float | None = None
        self._boots = 0

    def watch(self) -> None:
        """Look at what is drawn, as it has changed."""
        machine = self._machine
        if machine.total_a <= self.limit_a or machine.state == "off":
            self._overloaded_s = None
        elif self._overloaded_s is None or self._boots != len(machine.boots_s):
            self._overloaded_s = machine.now_s
            self._boots = len(machine.boots_s)
            since_s, epoch = machine.now_s, machine.epoch
            machine.at(machine.now_s + self._bearable_s, lambda: self._give_up(since_s, epoch))

    def recover(self, boots: int) -> Process:
        """Get stronger after so many boots: the cell recovers, or is exchanged."""
        while len(self._machine.boots_s) <= boots:
            yield 0.05
        self.limit_a *= 1.6

    def _give_up(self, since_s: float, epoch: int) -> None:
        """Cut the power if it is still overloaded; a panic meanwhile spares it until it is no more and is again."""
        if self._machine.epoch == epoch and self._overloaded_s == since_s:
            self._machine.cut(min(4.0, self._machine.chance.lognormal(-1.2, 0.9)))


def open_contact(machine: Machine, contact: Contact) -> Process:
    """Open the supply at times, once or a few times in a row."""
    device, chance, carried_s = machine.device, machine.chance, contact.carried_s
    while True:
        yield chance.exponential(contact.every_s)
        for _ in range(chance.integers(2, 5) if chance.random() < 0.3 else 1):
            drawn_s = chance.lognormal(np.log(contact.open_s), contact.deviation)
            open_s = clipped(drawn_s, 2e-4, contact.longest_s)
            if machine.state == "off":
                break
            machine.opens_s.append((machine.now_s, machine.now_s + open_s))
            if open_s < carried_s:
                yield open_s
                charge_c = machine.loads["core"].level * open_s + 0.1 * device.capacitance_f * device.supply_v
                machine.inrushes.append(Inrush(machine.now_s, charge_c, 0.001))
            else:
                yield carried_s
                machine.cut(open_s - carried_s + chance.uniform(0.01, 0.1), ramp_s=0.002)
                yield open_s - carried_s + 0.2 + chance.exponential(0.3) * device.steps_s
            yield chance.exponential(0.15) + 0.005


def precharge(machine: Machine) -> Process:
    """Never start: the supply tries to charge a flat cell, or a key press blinks the light."""
    device, chance = machine.device, machine.chance
    machine.draw("always-on", device.off_a)
    while True:
        yield chance.exponential(6) + 0.5
        if chance.random() < 0.4:
            machine.draw("charger", device.core_idle_a * chance.uniform(0.5, 2), 0.1)
            yield chance.uniform(1, 12)
            machine.draw("charger", 0, 0.1)
        else:
            for _ in range(chance.integers(1, 6)):
                machine.switch("light", 1.0)
                machine.draw("always-on", device.always_on_a + device.core_idle_a * 0.3)
                yield 0.15
                machine.switch("light", 0.0)
                yield 0.25
            machine.draw("always-on", device.off_a)


def leak(machine: Machine, leak_a: float, tau_s: float, wait_s: float) -> Process:
    """Let water in after a while: a current that wanders up, with shorts now and then."""
    chance = machine.chance
    logarithm = -2.0
    yield wait_s
    while True:
        logarithm += 0.35 * chance.standard_normal() * math.sqrt(0.5) + (0.8 - logarithm) * 0.5 / tau_s
        machine.draw("leak", leak_a * np.exp(min(logarithm, 1.3)) / 2.2, 0.5)
        yield 0.5
        if chance.random() < 0.01:
            machine.draw("leak", leak_a * 1.5, 0.02)
            yield chance.uniform(0.02, 0.3)
