"""Each device boots, does what it is for, and sleeps."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest

from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.current import draw_current
from wakerail_sim.held_out.devices import DEVICES
from wakerail_sim.held_out.devices.device import Device, Family
from wakerail_sim.held_out.firmware.acts import perform
from wakerail_sim.held_out.firmware.boot import boot
from wakerail_sim.held_out.firmware.running import suspend
from wakerail_sim.held_out.machine import Machine
from wakerail_sim.held_out.mishap import Crash, Hang, Mishap

RATE_HZ = 1000.0


def booted(device: Device, seed: int = 2) -> Machine:
    machine = Machine(device, np.random.default_rng(seed), boot)
    machine.stays_awake = True
    machine.at(0.5, machine.power_up)
    machine.run(0.5 + 2 * device.boot_s + 5)
    return machine


def do_nothing(machine: Machine, cold: bool) -> Process:
    yield 0.0


def test_there_is_one_device_of_each_family() -> None:
    assert [device.family for device in DEVICES] == list(get_args(Family))
    assert len({device.build for device in DEVICES}) == len(DEVICES)


@pytest.mark.parametrize("device", DEVICES, ids=lambda device: device.family)
def test_it_boots_in_about_its_time(device: Device) -> None:
    machine = booted(device)
    assert machine.is_running
    assert machine.ran_s == [pytest.approx(0.5 + device.boot_s, rel=0.35)]


@pytest.mark.parametrize("device", DEVICES, ids=lambda device: device.family)
def test_each_of_its_acts_loads_it_and_does_no_harm(device: Device) -> None:
    for act in device.acts:
        machine = booted(device)
        drawn_a = [machine.total_a]
        machine.watch_load = lambda machine=machine, drawn_a=drawn_a: drawn_a.append(machine.total_a)  # type: ignore[misc]
        machine.spawn(perform(machine, act, 0.2))
        machine.run(machine.now_s + 8.0)
        assert max(drawn_a) > drawn_a[0], act
        assert machine.restarts_s == []


@pytest.mark.parametrize("device", DEVICES, ids=lambda device: device.family)
def test_it_draws_least_when_off_and_less_asleep_than_booting(device: Device) -> None:
    machine = booted(device)
    woke_s = machine.now_s
    machine.spawn(suspend(machine))
    machine.run(woke_s + 4.0)
    assert machine.is_asleep
    t_s = np.arange(int(machine.now_s * RATE_HZ)) / RATE_HZ
    current_a = draw_current(machine, np.random.default_rng(3), t_s, RATE_HZ, None)
    off_a = np.median(current_a[t_s < 0.45])
    boot_a = np.median(current_a[(t_s > 0.5) & (t_s < machine.ran_s[0])])
    sleep_a = np.median(current_a[t_s > woke_s + 1.0])
    assert off_a <= sleep_a < boot_a
    assert np.all(current_a >= 0)


@pytest.mark.parametrize(
    ("mishap", "restarts_warm"), [(Crash(None), True), (Crash(0.4), False), (Hang(3.0, busy=True, off_s=None), True)]
)
def test_a_step_that_fails_is_as_far_as_a_boot_gets(mishap: Mishap, restarts_warm: bool) -> None:
    device = DEVICES[0]
    machine = Machine(device, np.random.default_rng(4), boot)
    failures = [mishap, mishap]
    machine.weaknesses.in_step = lambda step: failures.pop() if step == "kernel" and failures else None
    machine.at(0.5, machine.power_up)
    machine.run(100.0)
    assert len(machine.boots_s) == 3
    assert len(machine.restarts_s) == 2
    assert all((ended_s == again_s) == restarts_warm for ended_s, again_s in machine.restarts_s)
    assert machine.ran_s[0] > machine.boots_s[-1]


def test_power_that_charges_capacitors_brings_their_whole_charge() -> None:
    device = DEVICES[0]
    machine = Machine(device, np.random.default_rng(5), do_nothing)
    machine.at(0.1, machine.power_up)
    machine.run(1.0)
    t_s = np.arange(5000) / 5000.0
    with_inrush_a = draw_current(machine, np.random.default_rng(6), t_s, 5000.0, None)
    (inrush,) = machine.inrushes
    machine.inrushes.clear()
    without_a = draw_current(machine, np.random.default_rng(6), t_s, 5000.0, None)
    assert (with_inrush_a - without_a).sum() / 5000.0 == pytest.approx(inrush.charge_c, rel=0.02)
