"""A stock of boots, simulated on the coupled world and read by the boot reader as a boot watch reads them."""

from __future__ import annotations

import functools
import math
import random
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wakerail.analysis.cadence import reading_of
from wakerail.analysis.seen import Restart
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail.cadence_table import load_cadence_table
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.families import DeviceFamily, load_family
from wakerail_kit.outcome import Finding, Outcome
from wakerail_sim.bench import parse_fault
from wakerail_sim.stages import STANDING_A
from wakerail_sim.world import World

CONFIG = Path(__file__).parents[1] / "config"
ROWS = load_cadence_table(CONFIG / "cadence.yaml")
#: How a fault shows itself, by the sign of the cadence table that it is meant to be read as; "" as none.
SHOWS = {
    "fast-loop": "restart-at-stage:loader",
    "same-stage": "restart-at-stage:system",
    "irregular": "intermittent-restart:1",
    "near-three-minutes": "watchdog-restart:175s",
    "": "restart-at-stage:kernel",
}
VOLTS_V, LIMIT_A, SPACING_S, STOP_AFTER = 3.85, 3.0, 0.1, 3


@dataclass(frozen=True, slots=True)
class BootRead:
    """What the reader made of one boot. ``sign`` is the row of the cadence table that fits; None if none does."""

    finding: Finding
    outcome: Outcome
    certainty: float
    interval_s: float | None
    sign: str | None


class Stock:
    """So many boots of each sort, each simulated when it is first drawn."""

    def __init__(self, each: int) -> None:
        self._each = each
        self._family = load_family(CONFIG / "devices" / "fenmoor-t3.yaml")
        self.simulated = 0
        self._read = functools.cache(self._simulate)

    def boot(self, draw: random.Random, shows: str | None, off: frozenset[str], window_s: float) -> BootRead:
        """Return a boot that shows the fault as the sign ``shows`` says, or is clean of it (None), with parts off."""
        without = "front-sensor" if "front-sensor" in off else ""
        return self._read(shows, without, window_s, draw.randrange(self._each))

    def _simulate(self, shows: str | None, without: str, window_s: float, seed: int) -> BootRead:
        self.simulated += 1
        faults = ["missing-part-restart:front-sensor", *([] if shows is None else [SHOWS[shows]])]
        # watched to its first restart alone, it has no cadence
        stop_after = 1 if shows == "" else STOP_AFTER
        return watch_boot(self._family, faults, {without} - {""}, window_s, seed, stop_after)


def watch_boot(
    family: DeviceFamily, faults: list[str], off: set[str], window_s: float, seed: int, stop_after: int
) -> BootRead:
    """Simulate a boot watch: power, button after a second, the current at 10 Hz until the window or enough restarts."""
    clock = SimulatedClock()
    world = World(family, clock, seed=seed + 1, faults=tuple(map(parse_fault, faults)))
    with world.present():
        world.device.unplugged |= off
        world.supply.voltage_v, world.supply.current_limit_a = VOLTS_V, LIMIT_A
        world.meter.set_spacing(SPACING_S, 0)
        world.set_output(True)
    settings = ReaderSettings(prompted_s=1.0, standing_a=STANDING_A, limit_a=LIMIT_A, set_v=VOLTS_V)
    reader, samples, restarts = BootReader(settings), 0, 0
    while clock.monotonic_s() < window_s + 1.0 and restarts < stop_after:
        clock.advance(1.0)
        with world.present():
            if world.device.boots == 0:
                world.press_button()
            current_a, voltage_v = world.meter.fetch_current_a(), world.meter.fetched_voltage_v()
        t_s = (samples + np.arange(len(current_a))) * SPACING_S
        samples += len(current_a)
        restarts += sum(isinstance(seen, Restart) for seen in reader.take(t_s, current_a, voltage_v))
    reading = reader.finish(clock.monotonic_s())
    interval_s = reading.cadence.median_s if reading.cadence else None
    if interval_s is None and reading.restarts and reading.onset_s is not None:
        interval_s = reading.restarts[0].again_s - reading.onset_s
    row = reading_of(reading.cadence, ROWS) if reading.cadence else None
    certainty = 0.0 if math.isnan(reading.probability) else reading.probability
    return BootRead(reading.finding, reading.outcome, certainty, interval_s, row.name if row else None)
