"""Scenes of a supply, a cell or a contact that gives way."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import about, log_uniform, pick
from wakerail_sim.lifelike.plan import Plan
from wakerail_sim.lifelike.scenes.acts import begin, cold, draw_break, live, live_on
from wakerail_sim.noise import Floats


def supply_hiccup(plan: Plan) -> None:
    """Let the supply's limit trip: each try begins the boot, the load trips it, it waits and tries anew."""
    chance, modes = plan.chance, plan.device.modes
    plan.switch_on()
    plan.run(pick(chance, (modes.idle, modes.active, modes.busy)), chance.uniform(2, max(3, 0.3 * plan.left_s)))
    every_s = log_uniform(chance, 0.25, 2.5)
    tries = int(chance.integers(3, 12))
    break_at = draw_break(plan, 0.05, 0.3)
    heals = chance.random() < 0.6
    healed = False
    for done in range(tries):
        _fold_back(plan)
        how = cold(every_s * about(chance, 0.02))
        healed = heals and done == tries - 1
        plan.restart(how, until=None if healed else break_at * about(chance, 0.01))
        if plan.left_s < plan.device.boot_s and done > 2:
            break
    if healed:
        live_on(plan)
    else:
        plan.off(max(2.0, min(plan.left_s, 30)))


def hiccup_fast(plan: Plan) -> None:
    """Let the supply trip on a short fault and try several times a second, until one try holds and the device boots.

    The tries before only charge the capacitors: they are no boots.
    """
    chance, device = plan.chance, plan.device
    begin(plan)
    for _ in range(int(chance.integers(1, 3))):
        live(plan, chance.uniform(3, max(4, 0.4 * plan.left_s - device.boot_s)))
        ended_s = plan.now_s
        every_s, width_s = log_uniform(chance, 0.05, 0.25), log_uniform(chance, 0.0015, 0.008)
        peak_a = max(device.running_a, plan.level_a) * chance.uniform(1.5, 3)
        floor_a = device.off_a * 0.5
        for number in range(int(chance.integers(4, 30))):
            t_s = plan.times_s(every_s * about(chance, 0.01))
            if number == 0:
                fallen = np.exp(-t_s / max(device.traits.settle_s, 3e-4))
                current_a = floor_a + (plan.level_a - floor_a) * fallen
            else:
                current_a = floor_a + peak_a * _try(t_s, width_s)
            plan.append(current_a, device.off_a)
        plan.note_restart(ended_s)
        plan.boot(charge=chance.uniform(0.4, 0.9))
    live_on(plan)


def brownout_on_load(plan: Plan) -> None:
    """Let a weak cell give way each time a large load comes."""
    chance, modes = plan.chance, plan.device.modes
    plan.switch_on()
    gap_s = log_uniform(chance, 0.02, 1.2)
    while not plan.restarts or (plan.left_s > plan.device.boot_s + 6 and len(plan.restarts) < 20):
        longest_s = max(3, min(40, 0.4 * plan.left_s))
        plan.run(pick(chance, (modes.idle, modes.active)), chance.uniform(2, longest_s))
        plan.run(modes.busy, log_uniform(chance, 0.05, 0.6), scale=chance.uniform(1.2, 1.8))
        plan.droop(log_uniform(chance, 0.004, 0.12), chance.uniform(0.05, 0.3))
        plan.restart(cold(gap_s * chance.uniform(0.8, 1.3)))
    live_on(plan)


def thermal_shutdown(plan: Plan) -> None:
    """Let the device get hot under load, until it stops in good order and boots again when it is cooler."""
    chance, modes = plan.chance, plan.device.modes
    plan.switch_on()
    load_s = chance.uniform(0.25, 0.4) * plan.left_s
    while not plan.restarts or (plan.left_s > plan.device.boot_s + load_s * 0.5 + 4 and len(plan.restarts) < 6):
        loaded = plan.samples
        plan.run(modes.busy, load_s)
        done = np.linspace(0, 1, plan.samples - loaded)
        leakage_a = modes.busy.level_a * chance.uniform(0.08, 0.2)
        plan.overlay(leakage_a * (np.exp(2 * done) - 1) / 6.4, loaded)
        plan.run(modes.idle, chance.uniform(0.3, 1.2), scale=chance.uniform(0.7, 0.95))
        plan.restart(cold(log_uniform(chance, 1, 12)), charge=1.0)
        load_s = max(3, load_s * chance.uniform(0.3, 0.6))
    plan.run(pick(chance, (modes.idle, modes.active)), max(plan.left_s, 1))


def loose_contact(plan: Plan) -> None:
    """Let a contact break: shortly, which the capacitors carry, and once or twice for so long that it resets."""
    chance = plan.chance
    begin(plan)
    for _ in range(int(chance.integers(1, 3))):
        live(plan, chance.uniform(3, max(4, 0.4 * plan.left_s - plan.device.boot_s)))
        for _ in range(int(chance.integers(0, 4))):
            plan.interrupt(log_uniform(chance, 0.002, 0.012))
            plan.run(plan.device.modes.idle, log_uniform(chance, 0.05, 1.5))
        plan.restart(cold(log_uniform(chance, 0.08, 1.2), 0.0))
    live_on(plan)


def _fold_back(plan: Plan) -> None:
    """Let the supply limit the current, and give less the longer it does."""
    chance = plan.chance
    level_a = max(plan.level_a, 0.5 * plan.device.running_a)
    length_s = log_uniform(chance, 0.002, 0.015)
    done = np.linspace(0, 1, len(plan.times_s(length_s)))
    plan.append(level_a * chance.uniform(1.2, 1.7) * (1 - 0.3 * done), level_a)


def _try(t_s: Floats, width_s: float) -> Floats:
    """Return how a try of the supply charges the capacitors, as part of its peak."""
    tripped = 0.6 * np.exp(-(t_s - width_s) / max(0.15 * width_s, 2e-4))
    return np.where(t_s < width_s, 1 - 0.4 * t_s / width_s, tripped)
