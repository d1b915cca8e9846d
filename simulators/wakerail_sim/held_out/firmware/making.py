"""Acts that make something: pictures, doses, labels, pages."""

from __future__ import annotations

from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.draws import clipped, scatter
from wakerail_sim.held_out.firmware.peripherals import turn_motor, turn_page
from wakerail_sim.held_out.machine import Machine

_FLASHES_BRIGHTLY_A = 0.01


def photo(machine: Machine, _size: float) -> Process:
    """Focus, flash and store a picture; a charge under way begins its ramp anew after the flash."""
    chance = machine.chance
    machine.need("camera", 0.7)
    machine.spawn(turn_motor(machine, 0.15, 0.7))
    yield chance.uniform(0.4, 1.5)
    machine.switch("light", 8.0 if machine.device.peripheral_a("light") > _FLASHES_BRIGHTLY_A else 40.0)
    yield 0.08
    machine.switch("light", 0)
    machine.draw("charger", machine.loads["charger"].level)
    machine.switch("storage", 1)
    yield chance.uniform(0.3, 1.2)
    machine.switch("storage", 0)
    machine.end("camera")


def film(machine: Machine, size: float) -> Process:
    """Film, and store in blocks."""
    chance = machine.chance
    machine.need("encode", 0.75, 0.15)
    end_s = machine.now_s + chance.uniform(4, 25) * size
    machine.switch("head", 1.0)
    while machine.now_s < end_s:
        machine.switch("storage", 1)
        yield 0.18 * scatter(chance, 0.3)
        machine.switch("storage", 0)
        yield 0.7 * scatter(chance, 0.2)
        machine.used_s = machine.now_s
    machine.end("encode")
    machine.switch("head", 0.6)


def turn_over(machine: Machine, _size: float) -> Process:
    """Lay out the next page and draw it."""
    machine.need("page", 0.7)
    yield 0.15
    machine.spawn(turn_page(machine))
    yield machine.chance.uniform(0.3, 0.6)
    machine.end("page")


def dose(machine: Machine, _size: float) -> Process:
    """Turn the pump a few times."""
    chance = machine.chance
    for _ in range(chance.integers(1, 6)):
        machine.spawn(turn_motor(machine, 0.4 * scatter(chance, 0.1), chance.uniform(0.8, 1.2)))
        machine.need("control", 0.3)
        yield 1.1 * scatter(chance, 0.05)
    machine.end("control")


def label(machine: Machine, _size: float) -> Process:
    """Print line by line, each as hot as it is dark, with a pause now and then."""
    chance = machine.chance
    machine.need("raster", 0.8)
    yield chance.uniform(0.2, 0.5)
    machine.spawn(turn_motor(machine, 1.2))
    end_s = machine.now_s + chance.uniform(0.8, 2.5)
    while machine.now_s < end_s:
        machine.switch("head", clipped(chance.beta(1.5, 3), 0.02, 1))
        yield 0.012
        machine.switch("head", 0.02)
        yield 0.006 + 0.02 * (chance.random() < 0.1)
    machine.switch("head", 0)
    machine.end("raster")
