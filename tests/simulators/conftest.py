"""A bench world in the hand: its clock is moved by the test, its supply is spoken to in SCPI without a transport."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest

from wakerail_kit.clock import SimulatedClock
from wakerail_kit.families import DeviceFamily, UsbMode
from wakerail_sim.bench import RecordedTrace, parse_fault
from wakerail_sim.stages import Stage
from wakerail_sim.supply_scpi import SupplyScpi
from wakerail_sim.usb_port import UsbChange
from wakerail_sim.world import World

FAMILY = DeviceFamily(
    name="quayhand",
    says="Handheld data terminal",
    nominal_v=3.85,
    usb_modes=(
        UsbMode("loader", 0, 0x1209, 0x0A01, 0xFF),
        UsbMode("running", 1, 0x1209, 0x0A02, None),
    ),
)


@dataclass
class Lab:
    """A world with its clock and its supply's command language."""

    clock: SimulatedClock
    world: World
    scpi: SupplyScpi
    usb: list[UsbChange] = field(default_factory=list)

    def ask(self, message: str) -> str:
        answer = self.scpi.execute(message.encode())
        assert answer is not None
        assert answer.endswith(b"\n")
        return answer.decode().removesuffix("\n")

    def tell(self, message: str) -> None:
        assert self.scpi.execute(message.encode()) is None

    def power(self, volts: float = 3.85, limit: float = 3.0) -> None:
        self.tell(f"VOLT {volts};CURR {limit};:OUTP ON")

    def press(self) -> None:
        with self.world.present():
            self.world.press_button()

    def run(self, seconds: float) -> None:
        self.clock.advance(seconds)
        with self.world.present():
            pass

    def boot(self, seconds: float, limit: float = 3.0) -> np.ndarray:
        """Power, press the button and return the current sampled every 2 ms for so long."""
        self.power(limit=limit)
        self.run(0.1)
        self.press()
        self.samples()
        self.run(seconds)
        return self.samples()

    def samples(self) -> np.ndarray:
        text = self.ask("FETC:ARR:CURR?")
        return np.array([float(value) for value in text.split(",") if value])

    @property
    def stage(self) -> Stage:
        with self.world.present():
            return self.world.device.stage

    def stages(self, seconds: float, every: float = 0.05) -> list[Stage]:
        """Run on, and return the stages that it went through."""
        seen = [self.stage]
        for _ in range(round(seconds / every)):
            self.run(every)
            if self.stage is not seen[-1]:
                seen.append(self.stage)
        return seen


def make_lab(*faults: str, seed: int = 1, trace: RecordedTrace | None = None, family: DeviceFamily = FAMILY) -> Lab:
    clock = SimulatedClock()
    changes: list[UsbChange] = []
    world = World(
        family,
        clock,
        seed=seed,
        faults=tuple(parse_fault(text) for text in faults),
        trace=trace,
        usb_changed=changes.append,
    )
    return Lab(clock, world, SupplyScpi(world), changes)


@pytest.fixture(scope="session")
def lab() -> Callable[..., Lab]:
    """Make a lab: faults as text, then ``seed``, ``trace`` or ``family``."""
    return make_lab


@pytest.fixture(scope="session")
def family() -> DeviceFamily:
    return FAMILY
