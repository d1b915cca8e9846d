"""Scenes of healthy devices whose load, supply or boot looks like a restart, and of one that never boots."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wakerail_sim.draws import log_uniform, pick
from wakerail_sim.lifelike.features import Decay, Periodic, Pink
from wakerail_sim.lifelike.plan import Plan
from wakerail_sim.lifelike.scenes.acts import draw_habits, switch_on_or_run
from wakerail_sim.lifelike.shapes import add_bump, box_events, low_pass
from wakerail_sim.lifelike.stage import Stage
from wakerail_sim.noise import Floats


def multistage_dips(plan: Plan) -> None:
    """Boot, then idle: the device's boot has dips between its stages."""
    plan.switch_on()
    habits = draw_habits(plan, 20) if plan.chance.random() < 0.5 else ()
    plan.run(plan.device.modes.idle, max(plan.left_s, 2), habits)


def charging_pulses(plan: Plan) -> None:
    """Let the supply charge a cell as well, with pulses or breaks, while the device idles or is off."""
    chance, device = plan.chance, plan.device
    if chance.random() < 0.4:
        plan.begins_running = True
        plan.off(chance.uniform(1, 4))
        begin = plan.samples
        wakes = Periodic(period_s=chance.uniform(1, 4), width_s=0.05, height_a=0.3 * device.running_a, jitter=0.01)
        standby = Stage("standby", level_a=device.off_a + 0.1 * device.running_a, periodic=(wakes,))
        plan.run(standby, max(plan.left_s, 2))
    else:
        plan.switch_on()
        begin = plan.samples + len(plan.times_s(chance.uniform(1, 4)))
        length_s = max(plan.left_s, 8)
        plan.run(device.modes.idle, length_s, draw_habits(plan, 15) if chance.random() < 0.4 else ())
    plan.overlay(_charge(plan, plan.samples - begin), begin)


def never_boots(plan: Plan) -> None:
    """Give power to a device that draws a leakage, a short's current, or only what standby takes."""
    chance, device = plan.chance, plan.device
    plan.begins_running = True
    level_a = device.off_a if chance.random() < 0.4 else device.running_a * chance.uniform(0.05, 3)
    plan.off(chance.uniform(0.5, 4), 0.0)
    leak = Stage(
        "leak",
        level_a=level_a,
        settle_s=log_uniform(chance, 0.002, 1),
        decay=Decay(height_a=level_a * chance.uniform(0, 1), tau_s=chance.uniform(3, 30)),
        pink=Pink(deviation_a=0.01 * level_a),
    )
    plan.run(leak, max(plan.left_s, 5))
    if chance.random() < 0.3:
        plan.off(2, 0.0)


def throttling(plan: Plan) -> None:
    """Load the device until it gets hot and slows down now and then."""
    chance, busy = plan.chance, plan.device.modes.busy
    switch_on_or_run(plan, 0.6)
    plan.run(busy, chance.uniform(0.2, 0.4) * max(plan.left_s, 5))
    every_s = log_uniform(chance, 0.8, 8)
    while plan.left_s > 0:
        slowed = replace(busy, level_a=busy.level_a * chance.uniform(0.62, 0.72), settle_s=0.02)
        plan.run(slowed, every_s * chance.uniform(0.7, 1.3))
        plan.run(replace(busy, settle_s=0.02), every_s * chance.uniform(0.5, 1.0))


def ride_through_dips(plan: Plan) -> None:
    """Interrupt the supply so shortly that the capacitors carry the device."""
    chance, modes = plan.chance, plan.device.modes
    switch_on_or_run(plan, 0.6)
    mode = pick(chance, (modes.idle, modes.active))
    while plan.left_s > 0:
        plan.run(mode, chance.uniform(2, 20))
        for _ in range(int(chance.integers(1, 4))):
            plan.interrupt(log_uniform(chance, 0.002, 0.012))
            plan.run(mode, log_uniform(chance, 0.05, 0.6))
    plan.run(mode, 1)


def thermostat_load(plan: Plan) -> None:
    """Switch a heater, a cooler or a fan on and off, about evenly."""
    chance, modes, rate_hz = plan.chance, plan.device.modes, plan.rate_hz
    switch_on_or_run(plan, 0.5)
    mode = pick(chance, (modes.idle, modes.active))
    begin = plan.samples
    plan.run(mode, max(plan.left_s, 5))
    samples = plan.samples - begin
    length_s = samples / rate_hz
    height_a = plan.device.running_a * chance.uniform(0.3, 1.5)
    every_s = log_uniform(chance, 2, 25)
    starts_s = np.cumsum(every_s * np.exp(chance.normal(0, 0.05, int(length_s / every_s) + 2)))
    starts_s = starts_s[starts_s < length_s]
    widths_s = every_s * chance.uniform(0.3, 0.6) * np.exp(chance.normal(0, 0.03, len(starts_s)))
    load_a = box_events(samples, rate_hz, starts_s, widths_s, np.full(len(starts_s), height_a))
    for start_s in starts_s.tolist():
        tau_s, peak_a = log_uniform(chance, 0.01, 0.1), height_a * chance.uniform(0.5, 1.2)
        add_bump(load_a, rate_hz, "decay", start_s, tau_s, peak_a)
    plan.overlay(low_pass(load_a, 0.004 * rate_hz), begin)


def _charge(plan: Plan, samples: int) -> Floats:
    """Return a constant current that may taper, with test breaks, in pulses, or neither."""
    chance, rate_hz = plan.chance, plan.rate_hz
    full_a = plan.device.running_a * chance.uniform(0.8, 3)
    t_s, length_s = np.arange(samples) / rate_hz, samples / rate_hz
    charge_a: Floats = full_a * (1 - np.exp(-t_s / chance.uniform(0.02, 0.5)))
    if chance.random() < 0.6:
        taper_s = chance.uniform(0.3, 0.8) * length_s
        tau_s = chance.uniform(0.1, 0.4) * length_s
        charge_a *= np.where(t_s < taper_s, 1, np.exp(-np.maximum(t_s - taper_s, 0) / tau_s))
    every_s, break_s = log_uniform(chance, 1, 12), log_uniform(chance, 0.03, 0.5)
    kind = chance.random()
    if kind < 0.45:
        charge_a *= 1 - _boxes(samples, rate_hz, np.arange(every_s, length_s, every_s), break_s)
    elif kind < 0.75:
        starts_s = np.arange(chance.uniform(0, every_s), length_s, every_s)
        charge_a *= np.clip(_boxes(samples, rate_hz, starts_s, every_s * chance.uniform(0.3, 0.8)), 0, 1)
    return charge_a


def _boxes(samples: int, rate_hz: float, starts_s: Floats, width_s: float) -> Floats:
    """Return 1 from each start for a width, 0 elsewhere."""
    return box_events(samples, rate_hz, starts_s, np.full(len(starts_s), width_s), np.ones(len(starts_s)))
