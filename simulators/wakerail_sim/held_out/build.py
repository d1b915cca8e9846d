"""What is fixed for a build of a firmware, and so the same in each boot and each recording."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wakerail_sim.held_out.devices.device import Device, Step
from wakerail_sim.noise import Floats

_JOIN_PHASES = 4


@dataclass(frozen=True, slots=True, eq=False)
class Phases:
    """How a step's phases share its time, and what each of them needs in relation to the step."""

    shares: Floats
    levels: Floats


RECOVERY_STEP = Step("recovery", length_s=6.0, use=0.3, activity=0.2, phases=3, levels={"display": 0.5}, storage=0.3)
_PHASES_OF_REPAIRS = {
    RECOVERY_STEP.name: Phases(np.array([0.3, 0.4, 0.3]), np.array([1.2, 0.7, 1.0])),
    "check": Phases(np.array([0.4, 0.3, 0.3]), np.array([0.8, 1.1, 0.9])),
}


def check_step(step: Step) -> Step:
    """Return the check of what is stored that comes before a step if the device was not shut down."""
    return Step("check", length_s=step.length_s * 0.8, use=0.45, activity=0.2, phases=3, storage=1.0)


class Build:
    """A device's firmware.

    ``phases`` has those of each step, ``join`` how long each phase of joining a network takes (s, for a quick network)
    and with what power it sends.
    """

    def __init__(self, device: Device) -> None:
        chance = np.random.default_rng(device.build)
        self.phases = {step.name: _draw_phases(chance, step.phases) for step in device.steps} | _PHASES_OF_REPAIRS
        self.join = tuple((chance.uniform(0.1, 0.5), chance.uniform(0.3, 1.0)) for _ in range(_JOIN_PHASES))


def _draw_phases(chance: np.random.Generator, count: int) -> Phases:
    shares = chance.dirichlet(np.full(count, 5.0))
    return Phases(shares, np.clip(1 + 0.35 * chance.standard_normal(count), 0.25, 1.6))
