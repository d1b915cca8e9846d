"""A simulated multimeter on a real TCP socket, and drivers joined to it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from wakerail_kit.clock import RealClock
from wakerail_kit.families import load_family
from wakerail_kit.hooks import BuildContext
from wakerail_kit.kinds import MULTIMETER
from wakerail_kit.yamldoc import parse_yaml
from wakerail_plugins.multimeter import build
from wakerail_sim.far_ends import LineServer, LoopbackPort
from wakerail_sim.faults import parse_fault
from wakerail_sim.mishaps import Mishaps
from wakerail_sim.multimeter_scpi import MultimeterScpi
from wakerail_sim.world import World

CONFIG = Path(__file__).parents[3] / "config"


class SkippingClock(RealClock):
    """A clock that a test can put forward, so that a driver asks again whether its meter is there."""

    skipped_s = 0.0

    def monotonic_s(self) -> float:
        return super().monotonic_s() + self.skipped_s


class Far:
    """The far end, and its link in the hands of a test."""

    kind = MULTIMETER

    def __init__(self, *faults: str) -> None:
        self.clock = SkippingClock()
        family = load_family(CONFIG / "devices" / "fenmoor-t3.yaml")
        self.world = World(family, self.clock, faults=tuple(parse_fault(text) for text in faults))
        self.mishaps = Mishaps(self.clock)
        self.port = LoopbackPort(0, "meter")
        self.instead: dict[bytes, bytes] = {}
        self._scpi = MultimeterScpi(self.world)
        self._end = LineServer("meter", self.clock, self.port.bind, self._answer, self.mishaps)
        self._plugged = True
        self.drivers: list = []
        self._end.start()

    def _answer(self, line: bytes) -> bytes | None:
        return self.instead.get(line.strip()) or self._scpi.execute(line)

    def make(self, keys: str = "", dialects: Path = CONFIG / "dialects"):
        text = f"address: TCPIP::127.0.0.1::{self.port.number}::SOCKET\ntimeout: 300 ms\n{keys}"
        doc = parse_yaml(text, "bench.yaml")
        driver = build(doc.top, BuildContext(self.clock, "bench-1", "meter", dialects, ()))
        doc.finish()
        self.drivers.append(driver)
        return driver

    def put(self, red: str, black: str) -> None:
        """Put the leads somewhere, long enough ago for the reading to be steady."""
        with self.world.present():
            self.world.board.put_leads(red, black, self.world.now_step - 5000)

    # --- as the kit's conformance checks take it ---

    def driver(self):
        return self.make()

    def energised(self) -> bool:
        return False

    def cut(self) -> None:
        self.clock.skipped_s += 2.0
        if self._plugged:
            self._plugged = False
            self._end.unplug()

    def restore(self) -> None:
        if not self._plugged:
            self._plugged = True
            self._end.plug()

    def garble(self) -> None:
        self.clock.skipped_s += 2.0
        self.mishaps.garble(1)

    def stop(self) -> None:
        for driver in self.drivers:
            driver.close()
        self._end.stop()


@pytest.fixture
def far() -> Iterator[Callable[..., Far]]:
    """Make a far end with these faults."""
    made: list[Far] = []

    def make(*faults: str) -> Far:
        made.append(Far(*faults))
        return made[-1]

    yield make
    for one in made:
        one.stop()
