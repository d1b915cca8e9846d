"""What the radio does by itself."""

from __future__ import annotations

from wakerail_sim.draws import pick
from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.draws import scatter
from wakerail_sim.held_out.machine import Machine

_LISTENS_EVERY_S = (0.32, 0.64, 1.28, 2.56)


def keep_listening(machine: Machine) -> Process:
    """Listen shortly every now and then, and at times send something."""
    device, chance = machine.device, machine.chance
    every_s = pick(chance, _LISTENS_EVERY_S)
    while True:
        yield every_s * (1 if chance.random() < 0.9 else chance.uniform(1, 2))
        before_a = machine.loads["receiver"].level
        listening_s = 0.012 if machine.is_asleep else 0.03
        machine.switch("receiver", 1.0)
        yield listening_s * scatter(chance, 0.2)
        if machine.is_running and chance.random() < 0.12:
            for _ in range(chance.integers(1, 8)):
                machine.switch("transmitter", chance.uniform(0.2, 0.8))
                yield 0.004 + chance.exponential(0.008)
                machine.switch("transmitter", 0)
                yield 0.01 + chance.exponential(0.03)
        machine.draw("receiver", before_a if before_a < device.peripheral_a("receiver") * 0.5 else 0.0)


def join(machine: Machine, wait_s: float = 0.0, failures: int = 0) -> Process:
    """Join a network after a while, if it has a receiver; the first tries may be failures, and one more may be."""
    device, chance = machine.device, machine.chance
    yield wait_s
    if not device.has("receiver"):
        return
    slowness = _slowness(machine)
    for _ in range(failures + 1 + (chance.random() < 0.15)):
        machine.switch("receiver", 0.9)
        for phase_s, power in machine.build.join:
            machine.need("join", 0.12)
            yield phase_s * slowness * scatter(chance, 0.2)
            for _ in range(chance.integers(2, 7)):
                machine.switch("transmitter", power * chance.uniform(0.7, 1.05))
                yield chance.uniform(0.003, 0.03) * min(2, slowness)
                machine.switch("transmitter", 0)
                yield chance.uniform(0.01, 0.06)
        machine.end("join")
        machine.switch("receiver", 0.1 if device.radio == "cellular" else 0)
        yield chance.uniform(0.5, 3)


def _slowness(machine: Machine) -> float:
    """Return how long joining takes in relation to a quick network of small devices."""
    if machine.device.radio == "cellular":
        return 5.0
    return 1.5 if machine.device.steps[0].length_s > 0.05 else 0.25
