"""The meter of a recording: how it samples and what it gets wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wakerail_sim.draws import about, log_uniform, pick
from wakerail_sim.lifelike.devices.device import Device

_QUANTA_A = (0.0, 1e-4, 1e-3, 1e-2)
_FEWEST_BOOT_SAMPLES = 15


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter, without any faults but those it is given.

    Args:
        rate_hz: how many samples it gives in a second.
        noise_a: standard deviation of its noise.
        quantum_a: its resolution, 0 for the finest.
        aperture: part of a sample that it averages over, 0 if it samples points.
        stamped_at: part of the aperture after which a sample's time is taken.
        jitter: standard deviation of when it samples, in samples.
        hum_a: amplitude of the mains hum in it.
        hum_hz: the mains' frequency.
        drift_a: how far its zero drifts.
        offset_a: its zero at the begin.
        gain: what it multiplies by, about 1.
        held_samples: how many samples it gives for each that it takes.
        smoothing_samples: time constant of its filter, 0 for none.
        gaps: how often it loses samples.
        switches_ranges: whether it does, and what comes in between is lost.
        glitches_hz: how many samples are nonsense, in a second.
        clips: whether high currents are cut off.
    """

    rate_hz: float
    noise_a: float = 0.0
    quantum_a: float = 0.0
    aperture: float = 1.0
    stamped_at: float = 0.0
    jitter: float = 0.0
    hum_a: float = 0.0
    hum_hz: float = 50.0
    drift_a: float = 0.0
    offset_a: float = 0.0
    gain: float = 1.0
    held_samples: int = 1
    smoothing_samples: float = 0.0
    gaps: int = 0
    switches_ranges: bool = False
    glitches_hz: float = 0.0
    clips: bool = False


def draw_meter(
    chance: np.random.Generator, device: Device, rate_hz: float, *, averaging: bool, troubled: bool, timely: bool
) -> Meter:
    """Draw a meter at which the device's boot can be seen.

    Args:
        chance: where it is drawn from.
        device: what it measures.
        rate_hz: how many samples it gives in a second.
        averaging: whether it averages over a good part of each sample.
        troubled: whether it mostly has gaps, switches ranges and glitches.
        timely: whether each sample must be a new one.
    """
    contrast_a = device.contrast_a
    return Meter(
        rate_hz=rate_hz,
        noise_a=_draw_noise(chance, device),
        quantum_a=pick(chance, [quantum_a for quantum_a in _QUANTA_A if quantum_a <= 0.25 * contrast_a]),
        aperture=_draw_aperture(chance, averaging=averaging),
        stamped_at=pick(chance, (0.0, 0.5, 1.0)),
        jitter=log_uniform(chance, 0.005, 0.2) if chance.random() < 0.35 else 0.0,
        hum_a=log_uniform(chance, 0.02, 0.4) * contrast_a * 0.3 if chance.random() < 0.25 else 0.0,
        hum_hz=pick(chance, (50.0, 60.0)) * about(chance, 2e-4),
        drift_a=log_uniform(chance, 0.005, 0.08) * contrast_a if chance.random() < 0.3 else 0.0,
        offset_a=chance.uniform(-1, 1) * min(6e-4, 0.08 * contrast_a) if chance.random() < 0.6 else 0.0,
        gain=about(chance, 0.01),
        held_samples=_draw_held(chance, device.boot_s, rate_hz, timely=timely),
        smoothing_samples=chance.uniform(0.5, 3) if chance.random() < 0.1 and rate_hz >= 50 else 0.0,
        gaps=int(chance.integers(1, 5)) if chance.random() < (0.9 if troubled else 0.1) else 0,
        switches_ranges=chance.random() < (0.8 if troubled else 0.12),
        glitches_hz=log_uniform(chance, 0.01, 0.3) if chance.random() < (0.7 if troubled else 0.08) else 0.0,
        clips=chance.random() < 0.06,
    )


def _draw_noise(chance: np.random.Generator, device: Device) -> float:
    bearable_a = 0.12 * device.contrast_a
    noise_a = log_uniform(chance, 5e-5, float(np.clip(bearable_a, 1.2e-4, 1e-2)))
    return min(noise_a, bearable_a) if device.running_a < 0.01 else noise_a


def _draw_aperture(chance: np.random.Generator, *, averaging: bool) -> float:
    aperture = pick(chance, (1.0, 1.0, 1.0, chance.uniform(0.2, 0.9), 0.0))
    return 1.0 if averaging and aperture < 0.3 else aperture


def _draw_held(chance: np.random.Generator, boot_s: float, rate_hz: float, *, timely: bool) -> int:
    held = int(chance.integers(2, 7)) if chance.random() < 0.12 and rate_hz >= 20 else 1
    return 1 if timely or boot_s * rate_hz / held < _FEWEST_BOOT_SAMPLES else held
