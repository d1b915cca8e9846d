"""A meter and its errors: how it turns what flows into readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from wakerail_sim.draws import log_uniform
from wakerail_sim.noise import Floats


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter's rate and its errors, each 0 where it has none; all currents are at the meter, not of the device.

    ``noise_a``, ``flicker_a`` and ``relative_noise`` are deviations; ``blanks`` (readings of zero), ``holes`` (readings
    that are missing) and ``glitches`` (of the range) are counts; ``held_samples`` is how many readings are the same.
    """

    rate_hz: float
    averages: bool = True
    lag_s: float = 0.0
    noise_a: float = 0.0
    flicker_a: float = 0.0
    relative_noise: float = 0.0
    step_a: float = 0.0
    offset_a: float = 0.0
    drift: float = 0.0
    hum_a: float = 0.0
    hum_hz: float = 0.0
    jitter: float = 0.0
    held_samples: int = 1
    blanks: int = 0
    holes: int = 0
    glitches: int = 0
    clip_a: float = np.inf


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Times (s) and currents (A) that a meter gave."""

    t_s: Floats
    current_a: Floats


def draw_meter(chance: np.random.Generator, rate_hz: float, typical_a: float, top_a: float, *, troubled: bool) -> Meter:
    """Draw a meter for a device that mostly draws ``typical_a`` and at most ``top_a``."""
    often = 0.6 if troubled else 0.15

    def maybe(least: float, most: float, chances: float = often) -> float:
        return log_uniform(chance, least, most) if chance.random() < chances else 0.0

    return Meter(
        rate_hz=rate_hz,
        averages=chance.random() < 0.7,
        lag_s=maybe(0.2, 5, 0.3) / rate_hz,
        noise_a=typical_a * log_uniform(chance, 1e-4, 0.05),
        flicker_a=typical_a * maybe(1e-4, 0.03, 0.3),
        relative_noise=maybe(1e-4, 0.03, 0.4),
        step_a=typical_a * maybe(1e-4, 0.1, 0.5),
        offset_a=typical_a * maybe(1e-4, 0.05, 0.4) * chance.choice((-1, 1)),
        drift=maybe(0.005, 0.15) * chance.choice((-1, 1)),
        hum_a=typical_a * maybe(0.003, 0.1),
        hum_hz=log_uniform(chance, 0.02, 0.5 * rate_hz),
        jitter=maybe(0.01, 0.4),
        held_samples=int(chance.integers(2, 6)) if chance.random() < often * 0.5 and rate_hz >= 50 else 1,
        blanks=int(maybe(1, 20)),
        holes=int(maybe(1, 15)),
        glitches=int(maybe(1, 30)),
        clip_a=top_a * chance.uniform(0.7, 1) if chance.random() < often else np.inf,
    )


def read(
    chance: np.random.Generator, meter: Meter, drawn_a: Floats, oversampling: int, never_lost_s: Sequence[float]
) -> Readings:
    """Return the readings of a current with ``oversampling`` samples for each; none is missing near those times."""
    if meter.lag_s:
        kept = float(np.exp(-1 / (meter.lag_s * meter.rate_hz * oversampling)))
        drawn_a = np.asarray(lfilter([1 - kept], [1, -kept], drawn_a, zi=[kept * drawn_a[0]])[0])
    count = len(drawn_a) // oversampling
    samples_a = drawn_a[: count * oversampling].reshape(count, oversampling)
    current_a = samples_a.mean(axis=1) if meter.averages else samples_a[:, 0].copy()
    t_s = np.arange(count) / meter.rate_hz
    current_a *= 1 + meter.drift * np.linspace(0, 1, count) + meter.relative_noise * chance.normal(size=count)
    current_a += meter.offset_a + meter.noise_a * chance.normal(size=count)
    current_a += meter.hum_a * np.sin(2 * np.pi * meter.hum_hz * t_s)
    if meter.flicker_a:
        flicker = np.asarray(lfilter([0.1], [1, -0.995], chance.normal(size=count)))
        current_a += meter.flicker_a * flicker
    for place in chance.integers(0, count, meter.glitches):
        current_a[place : place + 1] *= chance.uniform(0.1, 3)
    for place in chance.integers(0, count, meter.blanks):
        current_a[place : place + int(chance.integers(1, 5))] = 0
    current_a = np.minimum(current_a, meter.clip_a)
    if meter.step_a:
        current_a = np.round(current_a / meter.step_a) * meter.step_a
    if meter.held_samples > 1:
        current_a = np.repeat(current_a[:: meter.held_samples], meter.held_samples)[:count]
    t_s += meter.jitter * chance.uniform(-0.49, 0.49, count) / meter.rate_hz
    there = np.ones(count, dtype=bool)
    for place in chance.integers(0, count, meter.holes):
        lost = int(chance.integers(1, 8))
        if not any(-2 < at_s * meter.rate_hz - place < lost + 2 for at_s in never_lost_s):
            there[place : place + lost] = False
    t_s -= t_s[0]
    return Readings(t_s=t_s[there], current_a=current_a[there])
