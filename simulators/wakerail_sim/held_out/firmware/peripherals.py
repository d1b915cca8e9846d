"""What takes a peripheral a while: a beep, a turn of the motor, a page."""

from __future__ import annotations

from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.draws import scatter
from wakerail_sim.held_out.machine import Machine

_TONE_S = 0.18
_PAGE_LEVELS = (0.6, 1.0, 0.8, 0.9)


def beep(machine: Machine, length_s: float) -> Process:
    """Sound a few tones, if it has an amplifier."""
    if not machine.device.has("amplifier"):
        return
    tones = max(1, int(length_s / _TONE_S))
    for _ in range(tones):
        machine.switch("amplifier", machine.chance.uniform(0.35, 0.5))
        yield length_s / tones * 0.75
        machine.switch("amplifier", 0.02)
        yield length_s / tones * 0.25
    machine.switch("amplifier", 0)


def turn_motor(machine: Machine, length_s: float, load: float = 1.0) -> Process:
    """Run the motor, if it has one, at a part of its full load: it draws most while it starts."""
    device = machine.device
    if not device.has("motor"):
        return
    running_a = device.peripheral_a("motor") * machine.scale * load
    machine.draw("motor", running_a * device.stall, 0.003)
    yield 0.012
    machine.draw("motor", running_a * (1 + (device.stall - 1) * 0.45), 0.02)
    yield 0.02
    machine.draw("motor", running_a * (1 + (device.stall - 1) * 0.12), 0.04)
    yield 0.04
    machine.draw("motor", running_a, 0.06)
    yield length_s
    machine.draw("motor", 0.0, 0.015)


def turn_page(machine: Machine) -> Process:
    """Draw a page anew, if it has a head that does."""
    if not machine.device.has("head"):
        return
    for level in _PAGE_LEVELS:
        machine.switch("head", level * machine.chance.uniform(0.8, 1.1))
        yield 0.11 * scatter(machine.chance, 0.05)
    machine.switch("head", 0)
