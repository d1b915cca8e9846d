"""Faults that reset a device, and people who hold its button."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.devices.device import Peripheral
from wakerail_sim.held_out.draws import clipped, scatter
from wakerail_sim.held_out.firmware.failing import fail
from wakerail_sim.held_out.firmware.running import suspend, wake
from wakerail_sim.held_out.machine import Machine
from wakerail_sim.held_out.mishap import Mishap

_TRIES_ASLEEP = 60
_AT_TIMES: tuple[Peripheral, ...] = ("transmitter", "head", "motor")


def fail_at_times(machine: Machine, every_s: float, mishap: Mishap, *, booting: bool = False) -> Process:
    """Let its firmware fail about every so often while it runs, or boots as well; a panic stops all else at once."""
    while True:
        yield machine.chance.exponential(every_s) + 1.0
        if machine.is_running or (booting and machine.state == "boot"):
            machine.break_off()
            machine.spawn(fail(machine, mishap))


def glitch(machine: Machine, every_s: float, draw_off_s: Callable[[], float | None]) -> Process:
    """Reset it about every so often, at times twice; ``draw_off_s`` says how long it is off, None for warm."""
    chance = machine.chance
    while True:
        yield chance.gamma(2.0, every_s / 2.0) + 0.5
        if machine.state != "off":
            machine.reset(draw_off_s())
            if chance.random() < 0.2:
                yield chance.uniform(0.3, 0.9) * machine.device.steps_s
                machine.reset(draw_off_s())


def glitch_once(machine: Machine, wait_s: float, off_s: float | None) -> Process:
    """Reset it once, after a while, when it is up."""
    yield wait_s
    while not machine.is_up:
        yield 1.0
    machine.reset(off_s)


def reset_asleep(machine: Machine, every_s: float, off_s: float | None) -> Process:
    """Reset it while it sleeps, about every so often."""
    chance = machine.chance
    while True:
        yield chance.exponential(every_s) + 2.0
        for _ in range(_TRIES_ASLEEP):
            if machine.is_asleep:
                yield chance.uniform(0.5, 4)
                if machine.is_asleep:
                    machine.reset(off_s)
                break
            yield 0.5


def overheat(machine: Machine, threshold: float) -> Process:
    """Cut its power whenever it gets hot, by a threshold in relation to what its usual loads heat it to."""
    device, chance = machine.device, machine.chance
    tau_s, heat_a = chance.uniform(8, 25), 0.0
    busy_a = device.core_busy_a
    for peripheral in _AT_TIMES:
        busy_a += device.peripheral_a(peripheral) * 0.3
    usual_a = device.core_idle_a + device.peripheral_a("display") * 0.8 + 0.55 * busy_a
    limit_a = threshold * usual_a * machine.scale
    while True:
        yield 0.1
        heat_a += 0.1 / tau_s * (machine.total_a - heat_a)
        if machine.state in {"run", "boot", "sleep"} and heat_a > limit_a:
            off_s = chance.uniform(1.5, 14)
            machine.cut(off_s)
            heat_a *= np.exp(-off_s / tau_s) ** 0.5


def hold_button(machine: Machine, every_s: float, resets_after_s: float, off_s: float) -> Process:
    """Press its button a few times, about every so often; held for too long it cuts the power."""
    chance = machine.chance
    while True:
        yield chance.exponential(every_s) + 0.5
        for _ in range(chance.integers(1, 5)):
            held_s = chance.exponential(resets_after_s * 1.3)
            if machine.is_asleep:
                machine.spawn(wake(machine))
            elif machine.is_running and chance.random() < 0.5:
                machine.spawn(suspend(machine))
            if held_s > resets_after_s:
                yield resets_after_s
                machine.cut(off_s * scatter(chance, 0.1))
            else:
                yield held_s
            yield chance.exponential(2.0)


def short_by_leak(machine: Machine, full_a: float, every_s: float, off_s: float | None) -> Process:
    """Reset it the more often the more of its full current leaks."""
    chance = machine.chance
    while True:
        yield chance.exponential(every_s) * 0.5 + 0.5
        leaking = machine.loads["leak"].level / full_a
        if machine.state != "off" and chance.random() < min(0.9, 6 * leaking):
            machine.reset(off_s)


def draw_short_off(chance: np.random.Generator) -> float:
    """Draw how long a converter that trips is off (s)."""
    return clipped(chance.lognormal(-1.3, 1.1), 0.02, 3.0)
