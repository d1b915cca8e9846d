"""How a device boots."""

from __future__ import annotations

from collections.abc import Generator

from wakerail_sim.draws import pick
from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.build import RECOVERY_STEP, check_step
from wakerail_sim.held_out.devices.device import Step
from wakerail_sim.held_out.draws import scatter
from wakerail_sim.held_out.firmware.failing import fail
from wakerail_sim.held_out.firmware.network import join
from wakerail_sim.held_out.firmware.peripherals import beep, turn_motor, turn_page
from wakerail_sim.held_out.firmware.running import start_running
from wakerail_sim.held_out.machine import Inrush, Machine
from wakerail_sim.held_out.mishap import Mishap

_SLOW_AT_FIRST = {"services", "library", "maps", "init", "flow", "stack"}
_SURE = {"rom", "power-on"}  # steps without peripherals that may not answer
_RELEASES_HEAD = {"scanner", "calibration", "head test", "lens", "lamp test", "self-test"}
_CHARGED_ANEW = {"receiver", "display", "head"}
_CHECKED_FROM = 3  # the step before which storage is checked


def boot(machine: Machine, cold: bool) -> Process:
    """Go through the steps of a boot, and then run; ``cold`` is whether power was lost before."""
    chance = machine.chance
    machine.end("boot")  # with nothing to do yet, the core begins to draw
    steps = _steps(machine, cold=cold)
    if cold:
        machine.need("power on", 0.02, 0.05)
        yield machine.device.power_on_s * scatter(chance, 0.1)
        machine.end("power on")
    for step in steps:
        weak = machine.weaknesses.in_step
        mishap = weak(step.name) if weak is not None else None
        length_s = step.length_s * scatter(chance, 0.04)
        if machine.first_boot and step.name in _SLOW_AT_FIRST:
            length_s *= chance.uniform(1.8, 3.5)
        _switch_on(machine, step)
        failed = yield from _work(machine, step, length_s, mishap)
        if failed:
            return
        yield from _retry(machine, step)
        machine.switch("storage", 0)
        if step.name in _RELEASES_HEAD:
            machine.switch("head", 0)
        if step.name == "lamp test":
            machine.switch("light", 0.05)
    machine.end("boot")
    machine.switch("light", pick(chance, (0.0, 0.1)))
    machine.unclean = False
    machine.first_boot = False
    start_running(machine)


def _steps(machine: Machine, *, cold: bool) -> list[Step]:
    """Return the steps of the boot that comes next."""
    device = machine.device
    steps = list(device.steps)
    if machine.recovers_next:
        machine.recovers_next = False
        steps = [*steps[: max(2, len(steps) // 2)], RECOVERY_STEP]
    elif machine.unclean and device.has("storage") and machine.chance.random() < 0.35 and len(steps) > 4:
        steps.insert(_CHECKED_FROM, check_step(steps[_CHECKED_FROM]))
    if not cold and device.trains_memory:
        steps = [step for step in steps if step.name != "memory"]
        machine.switch("memory", 1.0)
    return steps


def _switch_on(machine: Machine, step: Step) -> None:
    """Switch on what a step needs, and begin what goes on beside it."""
    device, chance = machine.device, machine.chance
    if step.storage:
        machine.switch("storage", step.storage)
    for peripheral, level in step.levels.items():
        lit = peripheral == "display" and machine.loads["display"].level > 0
        if peripheral in _CHARGED_ANEW and not lit:
            charge_c = device.capacitance_f * 0.12 * device.supply_v
            machine.inrushes.append(Inrush(machine.now_s, charge_c, 0.001))
        machine.switch(peripheral, level)
    if step.beep_s:
        machine.spawn(beep(machine, step.beep_s))
    if step.vibration_s:
        machine.spawn(turn_motor(machine, step.vibration_s))
    if step.motor_s:
        machine.spawn(turn_motor(machine, step.motor_s * scatter(chance, 0.1)))
    if step.turns_page:
        machine.spawn(turn_page(machine))
    if step.joins:
        machine.spawn(join(machine, chance.exponential(0.15) * step.length_s))


def _work(machine: Machine, step: Step, length_s: float, mishap: Mishap | None) -> Generator[float, None, bool]:
    """Go through a step's phases; return whether it failed."""
    chance, phases = machine.chance, machine.build.phases[step.name]
    fails_after_s = None if mishap is None else chance.uniform(0.2, 0.9) * length_s
    done_s = 0.0
    for share, level in zip(phases.shares, phases.levels, strict=True):
        phase_s = length_s * share * scatter(chance, 0.05)
        machine.need("boot", min(1.0, step.use * level * scatter(chance, 0.02)), step.activity)
        if mishap is not None and fails_after_s is not None and done_s + phase_s >= fails_after_s:
            yield max(1e-3, fails_after_s - done_s)
            yield from fail(machine, mishap)
            return True
        done_s += phase_s
        yield phase_s
        if step.storage:
            machine.switch("storage", step.storage * chance.uniform(0.6, 1.2))
    return False


def _retry(machine: Machine, step: Step) -> Process:
    """Wait for a peripheral that does not answer at first, if there is one."""
    chance = machine.chance
    if chance.random() >= machine.retry_chance * (0.15 if step.name in _SURE else 1):
        return
    for _ in range(1 + chance.geometric(0.6)):
        machine.need("boot", 0.06, 0.1)
        yield min(2.0, 0.1 * step.length_s + 0.05) * chance.uniform(0.5, 2.0)
        machine.need("boot", step.use * 0.8, step.activity)
        yield 0.08 * step.length_s * scatter(chance, 0.2)
