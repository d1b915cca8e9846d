"""What a device does when it is used."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.devices.device import Act
from wakerail_sim.held_out.draws import clipped
from wakerail_sim.held_out.firmware.failing import fail_later
from wakerail_sim.held_out.firmware.making import dose, film, label, photo, turn_over
from wakerail_sim.held_out.firmware.peripherals import beep, turn_motor
from wakerail_sim.held_out.firmware.running import wake
from wakerail_sim.held_out.firmware.talking import burst, call, report, sync, talk
from wakerail_sim.held_out.machine import Machine


def perform(machine: Machine, act: Act, size: float = 1.0) -> Process:
    """Do one thing, if the device runs or can be woken for it; ``size`` scales how long acts of any length take."""
    if machine.is_asleep:
        machine.spawn(wake(machine))
        yield 0.9 * machine.device.pace
    if not machine.is_running:
        return
    machine.used_s = machine.now_s
    weak = machine.weaknesses.in_act
    mishap = weak(act) if weak is not None else None
    if mishap is not None:
        machine.spawn(fail_later(machine, machine.chance.uniform(0.05, 0.8), mishap))
    yield from _ACTS[act](machine, size)


def _app(machine: Machine, size: float) -> Process:
    """Load an app, and use it for a while."""
    device, chance = machine.device, machine.chance
    task = f"app {chance.integers(9)}"
    machine.need(task, chance.uniform(0.5, 0.95), 0.35)
    machine.switch("storage", 0.7)
    yield chance.uniform(0.4, 1.8) * device.pace
    machine.switch("storage", 0)
    use = chance.uniform(0.12, 0.7)
    end_s = machine.now_s + chance.uniform(3, 25) * size
    while machine.now_s < end_s:
        if machine.is_asleep:
            break
        machine.need(task, clipped(use * chance.lognormal(0, 0.35), 0.03, 1), chance.uniform(0.2, 0.6))
        if device.has("display") and machine.is_running:
            machine.switch("display", chance.uniform(0.6, 1.0))
            machine.used_s = machine.now_s
        if chance.random() < 0.06:
            machine.spawn(turn_motor(machine, 0.05))
        yield chance.exponential(1.1) + 0.05
    machine.end(task)


def _glance(machine: Machine, _size: float) -> Process:
    """Light the display for a look."""
    machine.switch("display", 0.9)
    machine.need("glance", 0.3)
    yield machine.chance.uniform(1, 4)
    machine.end("glance")
    machine.switch("display", 0.3)


def _play(machine: Machine, size: float) -> Process:
    """Play sounds whose loudness changes all the time."""
    chance = machine.chance
    end_s = machine.now_s + chance.uniform(3, 30) * size
    loudness = chance.uniform(0.15, 0.8)
    machine.need("decode", 0.25, 0.15)
    machine.switch("amplifier", 0.03)
    while machine.now_s < end_s:
        machine.switch("amplifier", clipped(loudness * chance.lognormal(-0.3, 0.6), 0.02, 1), 0.01)
        machine.used_s = machine.now_s
        yield chance.exponential(0.12) + 0.02
    machine.end("decode")
    machine.switch("amplifier", 0)


def _scan(machine: Machine, _size: float) -> Process:
    """Read a code and beep."""
    chance = machine.chance
    machine.need("scan", 0.5)
    machine.switch("head", 1.0)
    yield chance.uniform(0.15, 1.2)
    machine.switch("head", 0)
    machine.spawn(beep(machine, 0.1))
    yield chance.uniform(0.1, 0.4)
    machine.end("scan")
    if chance.random() < 0.3:
        machine.spawn(turn_motor(machine, 0.12))


def _measure(machine: Machine, _size: float) -> Process:
    """Sense for a moment, and send what was sensed."""
    yield from _sense(machine, 0.1, 0.6)


def _fix(machine: Machine, _size: float) -> Process:
    """Find out where it is, which takes a while."""
    yield from _sense(machine, 2, 15)


def _pulse(machine: Machine, _size: float) -> Process:
    """Flash a light to measure a pulse."""
    machine.need("measure", 0.5, 0.15)
    for _ in range(machine.chance.integers(10, 60)):
        machine.switch("light", 1)
        yield 0.02
        machine.switch("light", 0)
        yield 0.06
    machine.end("measure")
    yield from _send_results(machine)


def _alarm(machine: Machine, _size: float) -> Process:
    """Flash and beep."""
    for _ in range(machine.chance.integers(2, 8)):
        machine.switch("light", 1)
        machine.spawn(beep(machine, 0.35))
        yield 0.5
        machine.switch("light", 0)
        yield 0.5


def _sense(machine: Machine, shortest_s: float, longest_s: float) -> Process:
    machine.need("measure", 0.5, 0.15)
    machine.switch("head", 1.0)
    yield machine.chance.uniform(shortest_s, longest_s)
    machine.switch("head", 0)
    machine.end("measure")
    yield from _send_results(machine)


def _send_results(machine: Machine) -> Process:
    """Send what was measured, mostly, if it sleeps deeply between."""
    chance = machine.chance
    if machine.device.sleep != "deep" or chance.random() >= 0.7:
        return
    for _ in range(chance.integers(1, 6)):
        machine.switch("receiver", 1.0)
        yield 0.006
        machine.switch("transmitter", chance.uniform(0.6, 1.0))
        yield chance.uniform(0.003, 0.02)
        machine.switch("transmitter", 0)
        machine.switch("receiver", 0.0)
        yield chance.uniform(0.01, 0.1)


_ACTS: Mapping[Act, Callable[[Machine, float], Process]] = {
    "app": _app,
    "call": call,
    "play": _play,
    "photo": photo,
    "sync": sync,
    "scan": _scan,
    "glance": _glance,
    "pulse": _pulse,
    "measure": _measure,
    "fix": _fix,
    "report": report,
    "talk": talk,
    "listen": _play,
    "film": film,
    "page": turn_over,
    "dose": dose,
    "alarm": _alarm,
    "burst": burst,
    "label": label,
}
