"""Each family can be drawn, and what it draws makes sense."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from wakerail_sim.lifelike.devices import FAMILIES, LIT, draw_device
from wakerail_sim.lifelike.devices.device import Device, Family
from wakerail_sim.lifelike.devices.odd_boots import with_dips, with_retries
from wakerail_sim.lifelike.stage import Stage, draw_stage

SEEDS = range(5)


def device_of(family: Family, seed: int) -> Device:
    return draw_device(np.random.default_rng(seed), family)


def all_stages(device: Device) -> Iterator[Stage]:
    modes, recovery = device.modes, device.recovery
    yield from (*device.stages, *device.events, *recovery.stages, device.resume)
    yield from (modes.idle, modes.active, modes.busy, modes.sleep, recovery.prompt)


@pytest.mark.parametrize("family", FAMILIES)
def test_every_stage_of_every_family_can_be_drawn(family: Family) -> None:
    device = device_of(family, 1)
    assert device.family == family
    for stage in all_stages(device):
        samples = max(1, round(1000 * (stage.length_s or 2.0)))
        current_a = draw_stage(np.random.default_rng(2), stage, samples, 1000.0, before_a=0.0, level_spread=0.01)
        assert current_a.shape == (samples,)
        assert np.all(np.isfinite(current_a)), stage.name
        assert np.ptp(current_a) > 0, stage.name


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("seed", SEEDS)
def test_a_device_draws_more_when_on_than_when_off_and_less_asleep_than_busy(family: Family, seed: int) -> None:
    device = device_of(family, seed)
    assert device.boot_s > 0
    assert 0 < device.off_a < min(stage.level_a for stage in device.stages)
    assert 0 < device.modes.sleep.level_a < device.modes.busy.level_a
    assert 0 < device.contrast_a < max(stage.level_a for stage in device.stages)
    assert device.recovery.stages[0] is device.stages[0]
    assert len({event.name for event in device.events}) == len(device.events)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_seed_stands_for_one_device(family: Family) -> None:
    assert device_of(family, 7) == device_of(family, 7)
    assert device_of(family, 7) != device_of(family, 8)


@pytest.mark.parametrize("family", LIT)
def test_a_lit_device_can_be_darkened(family: Family) -> None:
    for seed in SEEDS:
        assert device_of(family, seed).light_a > 0


@pytest.mark.parametrize("seed", SEEDS)
def test_dips_come_between_the_stages_of_a_boot(seed: int) -> None:
    device = device_of("four-core-slate", seed)
    dipping = with_dips(np.random.default_rng(seed), device)
    names = [stage.name for stage in dipping.stages]
    assert [name for name in names if name != "dip"] == [stage.name for stage in device.stages]
    assert names.count("dip") > 0
    for place, stage in enumerate(dipping.stages):
        if stage.name == "dip":
            assert device.off_a < stage.level_a < 0.4 * dipping.stages[place + 1].level_a


@pytest.mark.parametrize("seed", SEEDS)
def test_a_stage_is_tried_several_times_alike_before_it_works(seed: int) -> None:
    device = device_of("data-terminal", seed)
    trying = with_retries(np.random.default_rng(seed), device)
    waits = [place for place, stage in enumerate(trying.stages) if stage.name == "wait"]
    assert 3 <= len(waits) <= 6
    tried = trying.stages[waits[-1] + 1]
    assert tried in device.stages
    for place in waits:
        attempt, wait = trying.stages[place - 1 : place + 1]
        assert attempt.name == tried.name
        assert attempt.length_s <= max(0.05, tried.length_s / 2)
        assert wait.level_a < tried.level_a
