"""What people and schedules do with a device."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wakerail_sim.draws import pick
from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.devices.device import Act, Device
from wakerail_sim.held_out.draws import scatter
from wakerail_sim.held_out.firmware.acts import perform
from wakerail_sim.held_out.firmware.network import join
from wakerail_sim.held_out.firmware.running import shut_down, suspend, wake
from wakerail_sim.held_out.machine import Machine

_SCHEDULED: tuple[Act, ...] = (
    "measure",
    "fix",
    "report",
    "sync",
    "glance",
    "dose",
    "listen",
    "label",
    "page",
    "scan",
    "photo",
    "play",
)
"""What a schedule can ask for; the first that a device can do is what its own does."""


def use(machine: Machine, every_s: float, acts: Sequence[Act] = (), size: float = 1.0) -> Process:
    """Ask for one of some acts about every so often, or for any as often as it comes about on such a device."""
    chance = machine.chance
    while True:
        yield chance.exponential(every_s) + 0.3
        if machine.is_up:
            act = pick(chance, acts) if acts else _draw_act(chance, machine.device)
            machine.spawn(perform(machine, act, size))


def use_later(machine: Machine, wait_s: float, every_s: float) -> Process:
    """Use it after a while."""
    yield wait_s
    yield from use(machine, every_s)


def press_power_key(machine: Machine, every_s: float, awake_s: float) -> Process:
    """Send it to sleep and wake it by hand, to be used for a while."""
    chance = machine.chance
    while True:
        yield chance.exponential(every_s) + 1.0
        if machine.is_running:
            machine.spawn(suspend(machine))
            yield chance.exponential(every_s) + 1.0
            if machine.is_asleep:
                machine.spawn(wake(machine))
                yield awake_s * chance.uniform(0.4, 1.6)


def keep_schedule(machine: Machine, period_s: float) -> Process:
    """Let it do the same in each period, and sleep between."""
    act = next(act for act in _SCHEDULED if act in machine.device.acts)
    while True:
        yield period_s * scatter(machine.chance, 0.004)
        if machine.is_running:
            machine.spawn(suspend(machine))
            yield 0.05
        if machine.is_asleep:
            machine.spawn(perform(machine, act, 0.15))
            yield min(period_s * 0.5, 4.0)
            if machine.is_running:
                machine.spawn(suspend(machine))


def charge(machine: Machine, wait_s: float) -> Process:
    """Charge its cell after a while: little at first, then a constant current that tapers off; maybe once more."""
    chance, device = machine.chance, machine.device
    yield wait_s
    full_a = chance.uniform(0.25, 1.0) * (device.core_busy_a + device.peripheral_a("display") + 0.08)
    while True:
        machine.draw("charger", full_a * 0.1, 0.05)
        yield chance.uniform(0.5, 2)
        machine.draw("charger", full_a, chance.uniform(0.2, 1.0))
        if machine.is_asleep:
            machine.spawn(wake(machine))
        yield chance.uniform(5, 40)
        part, decline = 1.0, chance.uniform(0.02, 0.1)
        for _ in range(chance.integers(5, 80)):
            part *= 1 - decline
            machine.draw("charger", full_a * part, 1.0)
            yield 1.0
        machine.draw("charger", 0.0, 0.02)
        if chance.random() < 0.4:
            return
        yield chance.uniform(5, 30)


def lose_network(machine: Machine, every_s: float) -> Process:
    """Let it lose its network and join again, in up to four tries; push-to-talk sets hear someone instead."""
    chance = machine.chance
    while True:
        yield chance.exponential(every_s) + 2
        if machine.is_running and machine.device.radio != "push-to-talk":
            machine.used_s = machine.now_s
            machine.spawn(join(machine, 0, int(chance.integers(0, 4))))
        elif machine.is_running:
            machine.spawn(perform(machine, "listen"))


def download(machine: Machine, wait_s: float) -> Process:
    """Let it download and install something after a while."""
    yield from _once_awake(machine, wait_s, retry_s=1.0, waking_s=3.0)
    machine.spawn(_download(machine))


def update(machine: Machine, wait_s: float, off_s: float | None) -> Process:
    """Let it update itself after a while, and then restart, off for ``off_s``, or warm if that is None."""
    yield from _once_awake(machine, wait_s, retry_s=1.0, waking_s=3.0)
    machine.spawn(_update(machine, off_s))


def switch_off(machine: Machine, wait_s: float) -> Process:
    """Let it shut down after a while."""
    yield from _once_awake(machine, wait_s, retry_s=0.5, waking_s=2.5)
    machine.spawn(shut_down(machine))


def _draw_act(chance: np.random.Generator, device: Device) -> Act:
    acts = list(device.acts)
    weights = np.array([device.acts[act] for act in acts])
    return acts[chance.choice(len(acts), p=weights / weights.sum())]


def _once_awake(machine: Machine, wait_s: float, *, retry_s: float, waking_s: float) -> Process:
    """Wait, also until it is up, and wake it up if it sleeps."""
    yield wait_s
    while not machine.is_up:
        yield retry_s
    if machine.is_asleep:
        machine.spawn(wake(machine))
        yield waking_s


def _download(machine: Machine) -> Process:
    chance = machine.chance
    machine.need("download", 0.25)
    machine.switch("receiver", 1)
    for _ in range(chance.integers(100, 500)):
        machine.switch("transmitter", chance.uniform(0.1, 0.4))
        yield 0.004
        machine.switch("transmitter", 0)
        machine.switch("storage", chance.uniform(0, 1))
        yield chance.exponential(0.1)
    machine.end("download")
    machine.switch("receiver", 0.1)
    for use_of_core in (0.9, 0.6, 0.95, 0.4):
        machine.need("install", use_of_core, 0.2)
        machine.switch("storage", chance.uniform(0.3, 1))
        yield chance.uniform(1, 8)
    machine.end("install")
    machine.switch("storage", 0)


def _update(machine: Machine, off_s: float | None) -> Process:
    chance = machine.chance
    for use_of_core in (0.5, 0.9, 0.6):
        machine.need("install", use_of_core, 0.2)
        machine.switch("storage", 1)
        yield chance.uniform(1, 6)
    machine.switch("display", 0.3)
    machine.need("install", 0.2)
    yield 1.0
    machine.first_boot = chance.random() < 0.4
    machine.reset(off_s, clean=True)
