"""Scenes of healthy devices in use."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wakerail_sim.draws import about, log_uniform, pick
from wakerail_sim.lifelike.features import Periodic, Pink, Sawtooth, Telegraph, draw_bumps
from wakerail_sim.lifelike.plan import Habit, Plan
from wakerail_sim.lifelike.scenes.acts import draw_habits, live, switch_on_or_run
from wakerail_sim.lifelike.stage import Stage

_RADIO = frozenset(("transmit", "sync", "scan", "message", "measure", "stick", "prompt", "card"))
_APPS = ("app start", "page", "shot", "transmit", "motor", "relay", "card", "sweep", "prompt")
"""Which event stands for the start of a program: the first of these that the device has."""


def boot_idle(plan: Plan) -> None:
    """Boot, then do nothing."""
    plan.switch_on()
    plan.run(plan.device.modes.idle, max(plan.left_s, 2))


def boot_life(plan: Plan) -> None:
    """Boot, then live."""
    plan.switch_on()
    live(plan, max(plan.left_s, 2))


def boot_then_sleep(plan: Plan) -> None:
    """Boot and soon go to sleep."""
    plan.switch_on()
    plan.run(plan.device.modes.idle, plan.chance.uniform(1, 8))
    plan.run(plan.device.modes.sleep, max(plan.left_s, 2))


def begins_running(plan: Plan) -> None:
    """Begin with a running device that lives on."""
    plan.begins_running = True
    live(plan, plan.length_s, sleepy=plan.chance.random() < 0.4)


def sleep_wake(plan: Plan) -> None:
    """Sleep and wake in turn."""
    chance, device = plan.chance, plan.device
    switch_on_or_run(plan, 0.6)
    awake_s, asleep_s = log_uniform(chance, 1, 12), log_uniform(chance, 2, 25)
    while plan.left_s > 0:
        plan.run(pick(chance, (device.modes.idle, device.modes.active)), awake_s * chance.uniform(0.5, 1.5))
        plan.run(device.modes.sleep, asleep_s * chance.uniform(0.5, 1.5))
        plan.play(device.resume, device.resume.length_s * about(chance, 0.03))
    plan.run(device.modes.idle, chance.uniform(0.5, 3))


def deep_sleep_wakes(plan: Plan) -> None:
    """Sleep as deep as off, and wake for the same work again and again.

    If the boot is not in the recording it could as well be a loop of boots.
    """
    chance, modes = plan.chance, plan.device.modes
    switch_on_or_run(plan, 0.5)
    every_s, work_s = log_uniform(chance, 2, 25), log_uniform(chance, 0.15, 2)
    plan.telling = not plan.begins_running
    asleep = replace(modes.sleep, level_a=plan.device.off_a * 1.2 + 1e-6, periodic=(), bursts=None)
    level_a = modes.active.level_a
    shapes = np.random.default_rng(int(chance.integers(1 << 30)))
    bumps = draw_bumps(shapes, 4, width_s=(work_s * 0.03, work_s * 0.2), height_a=(0.1 * level_a, 0.5 * level_a))
    work = replace(modes.active, bumps=bumps)
    while plan.left_s > 0:
        plan.run(asleep, every_s * about(chance, 0.002))
        plan.play(work, work_s * about(chance, 0.03))
    plan.run(asleep, 1.0)


def screen_on_off(plan: Plan) -> None:
    """Let the screen go off, mostly after it dims, and on again."""
    chance, modes, light_a = plan.chance, plan.device.modes, plan.device.light_a
    switch_on_or_run(plan, 0.6)
    idle = modes.idle
    dark_a = max(idle.level_a - light_a, 0.25 * idle.level_a)
    dark = replace(idle, level_a=dark_a, pwm=None, frames=None)
    while plan.left_s > 0:
        plan.run(pick(chance, (idle, modes.active)), chance.uniform(2, 14))
        if chance.random() < 0.6:
            dimmed = replace(idle, level_a=idle.level_a - 0.5 * light_a, settle_s=chance.uniform(0.1, 0.4))
            plan.run(dimmed, chance.uniform(2, 5))
        plan.run(dark, chance.uniform(2, 18))
        plan.run(replace(idle, settle_s=chance.uniform(0.05, 0.3)), 0.8)


def display_dimming(plan: Plan) -> None:
    """Set the light to other levels, fast or slowly."""
    chance, idle = plan.chance, plan.device.modes.idle
    switch_on_or_run(plan, 0.6)
    while plan.left_s > 0:
        change_a = chance.uniform(-0.9, 0.5) * plan.device.light_a
        level_a = max(0.2 * idle.level_a, idle.level_a + change_a)
        plan.run(replace(idle, level_a=level_a, settle_s=log_uniform(chance, 0.05, 1.5)), chance.uniform(2, 15))


def periodic_radio(plan: Plan) -> None:
    """Let the radio work evenly, out of idling or out of sleep.

    Alike bursts out of sleep could as well be a loop of boots if the boot is not in the recording.
    """
    chance, modes = plan.chance, plan.device.modes
    switch_on_or_run(plan, 0.5)
    habits = draw_habits(plan, log_uniform(chance, 1.5, 20), evenly=True, of=_RADIO)
    mode = pick(chance, (modes.idle, modes.sleep))
    if mode is modes.sleep:
        habits = tuple(replace(habit, every_s=max(habit.every_s, 2.5 * habit.event.length_s)) for habit in habits)
        plan.telling = not plan.begins_running
    plan.run(mode, max(plan.left_s, 2), habits)


def load_spikes(plan: Plan) -> None:
    """Let all that the device can do come at random."""
    switch_on_or_run(plan, 0.5)
    habits = [Habit(event, log_uniform(plan.chance, 5, 30), evenly=False) for event in plan.device.events]
    plan.run(plan.device.modes.idle, max(plan.left_s, 2), habits)


def app_starts_alike(plan: Plan) -> None:
    """Start the same program over and over."""
    chance, modes = plan.chance, plan.device.modes
    switch_on_or_run(plan, 0.6)
    evenly = chance.random() < 0.5
    events = {event.name: event for event in plan.device.events}
    start = next(events[name] for name in _APPS if name in events)
    mode = pick(chance, (modes.idle, modes.active))
    habit = Habit(start, log_uniform(chance, 4, 20) + start.length_s, evenly)
    plan.run(mode, max(plan.left_s, 2), [habit])


def software_update(plan: Plan) -> None:
    """Download an update, verify, unpack, write and check it; the reboot is not in the recording."""
    chance, modes = plan.chance, plan.device.modes
    switch_on_or_run(plan, 0.5)
    plan.run(modes.idle, chance.uniform(2, 8))
    idle_a, busy_a = modes.idle.level_a, max(modes.busy.level_a, 1.2 * modes.idle.level_a)
    update_s = max(plan.left_s, 12)
    work_a = busy_a - idle_a
    download = Stage(
        "download",
        level_a=idle_a + 0.4 * work_a,
        telegraph=Telegraph(on_s=0.1, off_s=0.15, height_a=0.5 * work_a),
        pink=Pink(deviation_a=0.06 * work_a),
    )
    plan.run(download, update_s * 0.25)
    plan.run(Stage("verify", level_a=busy_a, pink=Pink(deviation_a=0.04 * work_a)), update_s * 0.1)
    blocks = Sawtooth(period_s=chance.uniform(0.4, 2), height_a=0.5 * work_a)
    plan.run(Stage("unpack", level_a=busy_a, sawtooth=blocks, slope=0.03), update_s * 0.2)
    writes = Periodic(
        period_s=chance.uniform(0.5, 3), width_s=chance.uniform(0.2, 0.4), height_a=0.8 * work_a, jitter=0.02
    )
    plan.run(Stage("write", level_a=idle_a + 0.2 * work_a, periodic=(writes,), settle_s=0.05), update_s * 0.25)
    plan.run(Stage("check", level_a=busy_a * 0.95, pink=Pink(deviation_a=0.05 * work_a)), update_s * 0.08)
    plan.run(modes.idle, max(plan.left_s, 1))


def power_off_end(plan: Plan) -> None:
    """Switch the device off in the end, mostly in good order."""
    chance, modes = plan.chance, plan.device.modes
    switch_on_or_run(plan, 0.7)
    live(plan, max(3, plan.left_s * chance.uniform(0.4, 0.8)))
    if chance.random() < 0.6:
        plan.run(modes.busy, chance.uniform(0.5, 3), scale=0.9)
        plan.run(modes.idle, chance.uniform(0.1, 0.6), scale=0.55)
    plan.off(max(plan.left_s, 2))
