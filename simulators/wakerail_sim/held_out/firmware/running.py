"""What firmware does when nobody uses the device: it settles, keeps house, dims, sleeps, and wakes up."""

from __future__ import annotations

from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.devices.device import Peripheral
from wakerail_sim.held_out.draws import scatter
from wakerail_sim.held_out.firmware.failing import fail
from wakerail_sim.held_out.firmware.network import join, keep_listening
from wakerail_sim.held_out.machine import Machine

_OFF_ASLEEP: tuple[Peripheral, ...] = ("display", "storage", "amplifier", "transmitter", "head", "motor", "light")


def start_running(machine: Machine) -> None:
    """Begin to do all that it does once it has booted."""
    machine.enter("run")
    machine.used_s = machine.now_s
    machine.spawn(_settle(machine))
    machine.spawn(_watch_idleness(machine))
    if machine.device.tick_s:
        machine.spawn(_keep_house(machine))
    if machine.device.radio in {"bursty", "cellular"} and machine.device.has("receiver"):
        machine.spawn(keep_listening(machine))


def suspend(machine: Machine) -> Process:
    """Go to sleep, if it runs, until something wakes it."""
    device, chance = machine.device, machine.chance
    if not machine.is_running:
        return
    machine.need("suspend", 0.35, 0.2)
    yield 0.12 * scatter(chance, 0.2) * (1 if device.sleep == "suspend" else 0.2)
    machine.enter("sleep")
    machine.drop_tasks()
    for peripheral in _OFF_ASLEEP:
        machine.switch(peripheral, 0, 0.03)
    machine.switch("receiver", 0)
    yield from _save_power(machine) if device.sleep == "saver" else _stay_suspended(machine)


def wake(machine: Machine) -> Process:
    """Wake up, if it sleeps."""
    device, chance = machine.device, machine.chance
    if not machine.is_asleep:
        return
    machine.enter("run")
    machine.used_s = machine.now_s
    machine.draw("self-refresh", 0.0)
    machine.switch("memory", 1.0)
    machine.drop_tasks()
    mishap = machine.weaknesses.waking() if machine.weaknesses.waking is not None else None
    if mishap is not None:
        machine.need("resume", 0.7, 0.2)
        yield chance.uniform(0.05, 0.5)
        yield from fail(machine, mishap)
        return
    machine.need("resume", 0.75, 0.3)
    yield 0.15 * scatter(chance, 0.3) * device.pace
    if device.has("display"):
        machine.switch("display", 0.8)
    if device.radio == "push-to-talk" or device.sleep == "saver":
        machine.switch("receiver", 0.5)
    yield 0.5 * scatter(chance, 0.4) * device.pace
    machine.end("resume")
    if device.has("receiver") and chance.random() < 0.3 and device.radio != "push-to-talk":
        machine.spawn(join(machine, chance.exponential(0.5)))
    machine.spawn(_watch_idleness(machine))


def shut_down(machine: Machine) -> Process:
    """Switch itself off."""
    chance, pace = machine.chance, machine.device.pace
    machine.enter("stopping")
    machine.need("shut down", 0.5, 0.4)
    machine.switch("storage", 0.8)
    yield 1.5 * scatter(chance, 0.3) * pace
    machine.switch("display", 0.3)
    yield 0.8 * scatter(chance, 0.3) * pace
    machine.switch("display", 0, 0.03)
    machine.switch_off()


def _settle(machine: Machine) -> Process:
    """Go on with what need not be ready at once."""
    chance, pace = machine.chance, machine.device.pace
    for _ in range(chance.integers(1, 5)):
        machine.need("late", chance.uniform(0.1, 0.4))
        yield chance.uniform(0.1, 0.8) * pace
        machine.end("late")
        yield chance.exponential(0.8) * pace


def _keep_house(machine: Machine) -> Process:
    """Do a little each tick, and more now and then."""
    chance, tick_s = machine.chance, machine.device.tick_s
    while True:
        yield tick_s * scatter(chance, 0.003)
        if machine.is_running:
            machine.need("tick", 0.06 * scatter(chance, 0.3))
            yield 0.012 * scatter(chance, 0.3)
            machine.end("tick")
        if chance.random() < 0.01:
            machine.need("housekeeping", 0.3)
            yield chance.uniform(0.1, 0.6)
            machine.end("housekeeping")


def _watch_idleness(machine: Machine) -> Process:
    """Dim and then suspend it once nobody has used it for a while; of several watches only the last counts."""
    device = machine.device
    machine.idle_watches += 1
    number = machine.idle_watches
    while True:
        wait_s = machine.chance.uniform(*device.idle_s)
        yield wait_s
        if number != machine.idle_watches:
            return
        if machine.stays_awake or not machine.is_running or machine.now_s - machine.used_s < wait_s * 0.9:
            continue
        if device.has("display"):
            machine.switch("display", 0.25)
            yield min(4.0, wait_s * 0.3)
            if machine.now_s - machine.used_s < wait_s * 0.9:
                machine.switch("display", 0.8)
                continue
        machine.spawn(suspend(machine))
        return


def _save_power(machine: Machine) -> Process:
    """Listen now and then while it sleeps."""
    machine.need("saver", 0.02, 0.05)
    machine.switch("receiver", 0.12)
    while machine.is_asleep:
        yield machine.chance.uniform(0.4, 0.6)
        if machine.is_asleep:
            machine.switch("receiver", 0.9 if machine.device.radio == "push-to-talk" else 0.4)
            yield 0.06
            machine.switch("receiver", 0.12)


def _stay_suspended(machine: Machine) -> Process:
    """Sleep without its core, but for alarms of which nothing is to be seen."""
    device, chance = machine.device, machine.chance
    machine.halt_core()
    machine.switch("memory", 0)
    machine.draw("self-refresh", device.self_refresh_a)
    while machine.is_asleep:
        yield chance.exponential(12) + 1
        if machine.is_asleep:
            machine.need("alarm", 0.3)
            machine.switch("memory", 1.0)
            yield chance.uniform(0.05, 0.7) * min(1, device.pace)
            if not machine.is_asleep:
                machine.end("alarm")
                return
            machine.drop_tasks()
            machine.halt_core()
            machine.switch("memory", 0)
