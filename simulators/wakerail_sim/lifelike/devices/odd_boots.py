"""Boots with something odd in them that is part of the boot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.devices.device import Device
from wakerail_sim.lifelike.features import Decay
from wakerail_sim.lifelike.stage import Stage


def with_dips(chance: np.random.Generator, device: Device) -> Device:
    """Return the device with dips between some stages of its boot."""
    first, *others = device.stages
    stages = [first]
    for stage in others:
        if chance.random() >= 0.55 or stage.length_s <= 0.02:
            stages.append(stage)
            continue
        length_s = min(log_uniform(chance, 0.01, 0.5), 0.4 * stage.length_s)
        level_a = device.off_a + chance.uniform(0.05, 0.35) * (stage.level_a - device.off_a)
        stages.append(Stage("dip", length_s=length_s, level_a=level_a, settle_s=0.003))
        charging = chance.random() < 0.4
        stages.append(replace(stage, decay=_charging(chance, stage)) if charging else stage)
    return replace(device, stages=tuple(stages))


def with_retries(chance: np.random.Generator, device: Device) -> Device:
    """Return the device with a late stage of its boot tried several times, alike: a card or a network is missing."""
    place = int(chance.integers(max(1, len(device.stages) // 2), len(device.stages)))
    stage = device.stages[place]
    count = int(chance.integers(3, 7))
    attempt = replace(stage, length_s=max(0.05, stage.length_s * 0.5))
    wait = Stage(
        "wait",
        length_s=max(0.05, log_uniform(chance, 0.1, 0.8) * attempt.length_s),
        level_a=stage.level_a * chance.uniform(0.65, 0.85),
    )
    return replace(device, stages=(*device.stages[:place], *((attempt, wait) * count), *device.stages[place:]))


def _charging(chance: np.random.Generator, stage: Stage) -> Decay:
    return Decay(height_a=chance.uniform(0.3, 1) * stage.level_a, tau_s=log_uniform(chance, 0.002, 0.02))
