"""Makes a lifelike recording: draws a device, a meter and a size for a scene, plays it, and measures."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wakerail_sim.corpus import Truth
from wakerail_sim.draws import log_uniform, pick
from wakerail_sim.lifelike.devices import draw_device
from wakerail_sim.lifelike.devices.device import Device, Family
from wakerail_sim.lifelike.devices.odd_boots import with_dips, with_retries
from wakerail_sim.lifelike.meter import draw_meter
from wakerail_sim.lifelike.plan import Plan
from wakerail_sim.lifelike.readings import read
from wakerail_sim.lifelike.scenes import FAULTY_SCENES, SCENES, SETTINGS
from wakerail_sim.lifelike.scenes.setting import Scene, Setting
from wakerail_sim.lifelike.telling import leave_out_unseen, shows_restarts
from wakerail_sim.metered import Metered

RATES_HZ = (5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2500.0)
_FEWEST_SAMPLES, _MOST_SAMPLES = 60, 600_000
_SHORTEST_S, _LONGEST_S, _AT_MOST_S = 20, 540, 600.0
_BOOT_SAMPLES = 25.0  # a boot of fewer has no shape
_FINE_HZ = 2000.0


@dataclass(frozen=True, slots=True, eq=False)
class Lifelike(Metered):
    """A recording of a scene. Where it is not ``telling`` no reader could know the truth from what was recorded."""

    scene: Scene
    device: Family
    telling: bool


def make_lifelike(seed: int, scene: Scene | None = None) -> Lifelike:
    """Make the recording of a scene, or of one drawn as well: the same seed always gives the same.

    A restart whose boot would hardly be in the recording is not in it either: it then ends before. A panic ends what
    was going on before, though the reset comes later; tries of a supply that do not start the device are no boots.
    """
    played: Scene = pick(np.random.default_rng([seed, 77]), SCENES) if scene is None else scene
    setting = SETTINGS[played]
    chance = np.random.default_rng([seed, SCENES.index(played), 5])
    device = _draw_device(chance, seed, setting, faulty=played in FAULTY_SCENES)
    rate_hz, length_s = _draw_size(chance, device, setting)
    meter = draw_meter(
        chance,
        device,
        rate_hz,
        averaging=setting.averaging,
        troubled=setting.troubled_meter,
        timely=setting.least_hz > 0,
    )
    oversampling = _oversampling(rate_hz)
    plan = Plan(chance, device, rate_hz=rate_hz * oversampling, length_s=length_s, meter_hz=rate_hz)
    setting.play(plan)
    drawn_a = plan.current_a()[: int(min(_AT_MOST_S * plan.rate_hz, _MOST_SAMPLES * oversampling))]
    restarts, drawn_a = leave_out_unseen(
        plan.restarts, drawn_a, plan.rate_hz, device.boot_s, fewest_samples=_FEWEST_SAMPLES * oversampling
    )
    onset_s = plan.onset_s
    known_s = [at_s for times_s in restarts for at_s in times_s] + ([] if onset_s is None else [onset_s])
    readings = read(chance, meter, drawn_a, oversampling, known_s)
    return Lifelike(
        scene=played,
        device=device.family,
        rate_hz=rate_hz,
        held_samples=meter.held_samples,
        t_s=readings.t_s,
        current_a=readings.current_a,
        truth=Truth(onset_s=onset_s, restarts=restarts, confusers=(), marks=()),
        telling=plan.telling and shows_restarts(readings, restarts, meter, device.boot_s),
    )


def _draw_device(chance: np.random.Generator, seed: int, setting: Setting, *, faulty: bool) -> Device:
    """Draw a device; for the same family and seed it is the same in each scene, but for the oddities of its boot."""
    device = draw_device(np.random.default_rng([seed, 1]), pick(chance, setting.families))
    dips = faulty and chance.random() < 0.15 and device.family != "flat-mcu"
    if dips or setting.odd_boot == "dips":
        device = with_dips(np.random.default_rng([seed, 2]), device)
    if setting.odd_boot == "retries":
        device = with_retries(np.random.default_rng([seed, 3]), device)
    return device


def _draw_size(chance: np.random.Generator, device: Device, setting: Setting) -> tuple[float, float]:
    """Draw a rate (Hz) at which the boot and what happens can be seen, and how long the recording is (s).

    It is shortened if it would have too many samples at each rate that is fast enough.
    """
    length_s = max(log_uniform(chance, *setting.length_s), chance.uniform(*setting.boots) * device.boot_s)
    length_s = float(np.clip(length_s, _SHORTEST_S, _LONGEST_S))
    least_hz = max(_BOOT_SAMPLES / device.boot_s, setting.least_hz)
    fast_hz = [rate_hz for rate_hz in RATES_HZ if rate_hz >= least_hz] or [RATES_HZ[-1]]
    rates_hz = [rate_hz for rate_hz in fast_hz if rate_hz * (length_s * 1.25 + 10) <= _MOST_SAMPLES]
    if not rates_hz:
        rates_hz = fast_hz[:1]
        length_s = max(_SHORTEST_S, min(length_s, (_MOST_SAMPLES / rates_hz[0] - 10) / 1.25))
    return pick(chance, rates_hz), length_s


def _oversampling(rate_hz: float) -> int:
    """Return how many samples of the device's current there are for each of the meter's."""
    if rate_hz >= 2500:
        return 2
    return 3 if rate_hz >= 1000 else max(2, math.ceil(_FINE_HZ / rate_hz))
