"""A made-up device: what it draws when off, booting, running and asleep."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.features import Bursts, Pink, draw_bumps
from wakerail_sim.lifelike.stage import Stage

Family = Literal[
    "sensor-mcu",
    "flat-mcu",
    "data-terminal",
    "four-core-slate",
    "ink-reader",
    "disk-handheld",
    "ear-piece",
    "field-camera",
    "cell-modem",
    "pocket-router",
    "linear-logger",
    "burst-supply-tag",
    "gate-array-probe",
    "dose-pump",
    "game-toy",
]


@dataclass(frozen=True, slots=True)
class Traits:
    """What all of a device's doings have in common.

    ``timing_spread`` and ``level_spread`` are relative standard deviations from one boot to the next. The current
    settles with ``settle_s``. Warm, the device draws more by the part ``heating``, with a time constant of
    ``heating_s``. Its capacitors discharge with ``discharge_s``.
    """

    timing_spread: float
    level_spread: float
    settle_s: float
    heating: float
    heating_s: float
    discharge_s: float


@dataclass(frozen=True, slots=True)
class Inrush:
    """What charges a rail's capacitors when power comes.

    A ``limited`` one is a soft start of constant current that takes ``length_s``; for the others that is the time
    constant. A ``second-rail`` is switched on a little later.
    """

    kind: Literal["capacitor", "limited", "second-rail"]
    peak_a: float
    length_s: float


@dataclass(frozen=True, slots=True)
class BurstSupply:
    """A converter that works in bursts of up to ``frequency_hz`` and the relative ``depth`` while less than
    ``limit_a`` is drawn.
    """

    limit_a: float
    frequency_hz: float
    depth: float


@dataclass(frozen=True, slots=True)
class Modes:
    """How a device draws once it is up."""

    idle: Stage
    active: Stage
    busy: Stage
    sleep: Stage


@dataclass(frozen=True, slots=True)
class Recovery:
    """A boot that ends early, and the prompt at which the device then waits."""

    stages: tuple[Stage, ...]
    prompt: Stage


@dataclass(frozen=True, slots=True)
class Device:
    """A device. ``off_a`` is what it draws when off, ``reset_a`` while held in reset, ``light_a`` what its light adds.

    ``stages`` are its boot, ``resume`` its way out of sleep, ``events`` what it may do on top of a mode.
    """

    family: Family
    traits: Traits
    off_a: float
    reset_a: float
    inrush: tuple[Inrush, ...]
    stages: tuple[Stage, ...]
    modes: Modes
    resume: Stage
    events: tuple[Stage, ...]
    recovery: Recovery
    light_a: float = 0.0
    burst_supply: BurstSupply | None = None

    @property
    def boot_s(self) -> float:
        """How long a boot takes."""
        return _total_s(self.stages)

    @property
    def running_a(self) -> float:
        """The level of the idle device."""
        return self.modes.idle.level_a

    @property
    def contrast_a(self) -> float:
        """How much the levels of the boot differ, as a standard deviation; at least a tenth of the highest."""
        levels_a = np.array([stage.level_a for stage in self.stages] + [self.off_a])
        weights_s = np.array([stage.length_s for stage in self.stages] + [0.2 * self.boot_s])
        mean_a = (levels_a * weights_s).sum() / weights_s.sum()
        deviation_a = math.sqrt((weights_s * (levels_a - mean_a) ** 2).sum() / weights_s.sum())
        return float(max(deviation_a, 0.1 * levels_a.max()))


def draw_traits(chance: np.random.Generator) -> Traits:
    """Draw a device's traits."""
    return Traits(
        timing_spread=log_uniform(chance, 0.002, 0.05),
        level_spread=log_uniform(chance, 0.003, 0.025),
        settle_s=log_uniform(chance, 0.0001, 0.003),
        heating=chance.uniform(0.0, 0.06),
        heating_s=log_uniform(chance, 20, 250),
        discharge_s=log_uniform(chance, 0.02, 0.6),
    )


def draw_recovery(chance: np.random.Generator, stages: Sequence[Stage], kept: int) -> Recovery:
    """Draw a recovery: the first ``kept`` stages of the boot, then a flat prompt."""
    level_a = stages[kept - 1].level_a * chance.uniform(0.55, 1.25)
    opening = Stage(
        "prompt start",
        length_s=max(0.15, 0.12 * _total_s(stages) * chance.uniform(0.5, 1.5)),
        level_a=level_a * 1.15,
        bumps=draw_bumps(chance, 4, width_s=(0.01, 0.08), height_a=(0.05 * level_a, 0.3 * level_a)),
    )
    prompt = Stage(
        "prompt",
        level_a=level_a,
        pink=Pink(deviation_a=0.01 * level_a),
        bursts=Bursts(rate_hz=0.4, width_s=(0.01, 0.05), height_a=(0.1 * level_a, 0.25 * level_a)),
    )
    return Recovery((*stages[:kept], opening), prompt)


def _total_s(stages: Sequence[Stage]) -> float:
    return sum(stage.length_s for stage in stages)
