"""The names of the scenes, and what each needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from wakerail_sim.lifelike.devices import FAMILIES
from wakerail_sim.lifelike.devices.device import Family
from wakerail_sim.lifelike.plan import Plan

FaultyScene = Literal[
    "cold-once",
    "cold-short-gap",
    "cold-long-gap",
    "warm-no-fall",
    "warm-partial-fall",
    "loop-fixed",
    "loop-varying",
    "loop-same-stage",
    "late-reset",
    "intermittent",
    "supply-hiccup",
    "hiccup-fast",
    "watchdog-ladder",
    "into-recovery",
    "running-then-one",
    "restart-from-sleep",
    "brownout-on-load",
    "panic-reboot",
    "thermal-shutdown",
    "loop-gives-up",
    "loose-contact",
    "empty-cell-loop",
    "warm-in-load",
]
HealthyScene = Literal[
    "boot-idle",
    "boot-life",
    "sleep-wake",
    "screen-on-off",
    "periodic-radio",
    "load-spikes",
    "charging-pulses",
    "display-dimming",
    "app-starts-alike",
    "software-update",
    "multistage-dips",
    "power-off-end",
    "begins-running",
    "boot-then-sleep",
    "deep-sleep-wakes",
    "never-boots",
    "throttling",
    "ride-through-dips",
    "boot-retries-stage",
    "thermostat-load",
    "meter-trouble",
]
Scene = FaultyScene | HealthyScene


@dataclass(frozen=True, slots=True)
class Setting:
    """What a scene needs.

    Args:
        play: acts the scene out on a plan.
        length_s: how long it is, from and to.
        boots: how many boots' time it is at least, from and to.
        families: of which the device may be.
        least_hz: how often a meter must sample to see what happens.
        odd_boot: what the boot always has; some faulty devices' boots have dips as well.
        averaging: whether the meter must average, as what happens falls between points.
        troubled_meter: whether the meter mostly has gaps, switches ranges and glitches.
    """

    play: Callable[[Plan], None]
    length_s: tuple[float, float]
    boots: tuple[float, float]
    families: tuple[Family, ...] = FAMILIES
    least_hz: float = 0.0
    odd_boot: Literal["dips", "retries"] | None = None
    averaging: bool = False
    troubled_meter: bool = False
