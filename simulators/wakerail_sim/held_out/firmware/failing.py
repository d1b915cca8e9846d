"""How firmware fails."""

from __future__ import annotations

from wakerail_sim.held_out.agenda import Process
from wakerail_sim.held_out.machine import Machine
from wakerail_sim.held_out.mishap import Hang, Mishap


def fail(machine: Machine, mishap: Mishap) -> Process:
    """Hang or crash; the device restarts."""
    if isinstance(mishap, Hang):
        yield from _hang(machine, mishap)
    elif machine.chance.random() < 0.4:
        yield from _dump(machine)
    machine.reset(mishap.off_s)


def fail_later(machine: Machine, wait_s: float, mishap: Mishap) -> Process:
    """Go on for a while, and fail then."""
    yield wait_s
    yield from fail(machine, mishap)


def _hang(machine: Machine, mishap: Hang) -> Process:
    machine.enter("hang")
    machine.drop_tasks()
    if mishap.busy:
        machine.need("hang", 0.9, 0.05)
    else:
        machine.need("hang", 0.03, 0.03)
    machine.switch("storage", 0)
    machine.switch("transmitter", 0)
    yield mishap.watchdog_s


def _dump(machine: Machine) -> Process:
    """Keep what may tell why it crashed."""
    machine.drop_tasks()
    machine.need("dump", 0.35, 0.1)
    machine.switch("storage", 1.0)
    yield machine.chance.uniform(0.1, 1.5)
