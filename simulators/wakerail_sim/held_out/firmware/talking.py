"""Acts that send."""

from __future__ import annotations

from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.machine import Machine


def talk(machine: Machine, _size: float) -> Process:
    """Send speech without a break."""
    chance = machine.chance
    machine.switch("light", 1)
    machine.need("voice", 0.4, 0.3)
    machine.switch("transmitter", chance.uniform(0.7, 1.0), 0.004)
    yield chance.uniform(1.5, 9)
    machine.switch("transmitter", 0)
    machine.switch("light", 0)
    machine.end("voice")


def call(machine: Machine, size: float) -> Process:
    """Send speech in packets."""
    yield from _send_packets(machine, 250 * size)


def report(machine: Machine, size: float) -> Process:
    """Send a few packets."""
    yield from _send_packets(machine, 12 * size)


def burst(machine: Machine, size: float) -> Process:
    """Send what others ask for."""
    yield from _send_packets(machine, 120 * size)


def sync(machine: Machine, size: float) -> Process:
    """Send what has changed."""
    yield from _send_packets(machine, 25 * size)


def _send_packets(machine: Machine, packets: float) -> Process:
    """Send about as many packets, and listen meanwhile."""
    chance = machine.chance
    machine.need("network", 0.2)
    machine.switch("receiver", 0.6)
    power = chance.uniform(0.3, 1.0)
    for _ in range(max(1, int(packets * chance.uniform(0.4, 1.6)))):
        machine.switch("transmitter", power * chance.uniform(0.6, 1.05))
        yield 0.003 + chance.exponential(0.01)
        machine.switch("transmitter", 0)
        yield 0.008 + chance.exponential(0.05)
        machine.used_s = machine.now_s
    machine.end("network")
    machine.switch("receiver", 0.1)
