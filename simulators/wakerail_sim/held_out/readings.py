"""What a meter makes of a current."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wakerail_sim.held_out.draws import ornstein_uhlenbeck
from wakerail_sim.held_out.meter import Meter
from wakerail_sim.noise import Floats

_Flags = npt.NDArray[np.bool_]

_FULL_SCALES_A = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
_LARGEST_A = 10.0
_DIGITS = 1e-5  # of a range


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Times ascending (s), what was read (A), how often in a row each is given, and the error of a single one (A)."""

    t_s: Floats
    current_a: Floats
    held_samples: int
    error_a: float


def read(
    chance: np.random.Generator, meter: Meter, rate_hz: float, drawn_a: Floats, oversampling: int, boot_s: float
) -> Readings:
    """Return a meter's readings of a current that has ``oversampling`` samples for each of the meter's.

    It may hold each, though not so long that a boot is in too few.
    """
    samples = len(drawn_a) // oversampling
    drawn = drawn_a[: samples * oversampling].reshape(samples, oversampling)
    true_a = drawn.mean(1) if meter.averages else drawn[:, oversampling // 2].copy()
    t_s = (np.arange(samples, dtype=np.float64) + (0.5 if meter.averages else 0)) / rate_hz
    full_scale_a = _full_scale_a(true_a)
    noise_a = _draw_noise(chance, meter, full_scale_a)
    current_a = _with_errors(chance, meter, rate_hz, true_a, noise_a, full_scale_a)
    hum_a = 0.0
    if meter.hums and chance.random() < 0.6:
        hum_a = noise_a * chance.uniform(0.5, 3)
        current_a += hum_a * _hum(t_s, 50.0 if chance.random() < 0.6 else 60.0)
    kept = np.ones(samples, dtype=np.bool_)
    step_a: float | Floats
    if meter.ranges_a:
        step_a, kept = _switch_ranges(chance, meter, rate_hz, current_a)
    else:
        step_a = _draw_resolution(chance, meter, full_scale_a)
    current_a = np.round(current_a / step_a) * step_a
    if meter.blanks_below_a:
        current_a[current_a < meter.blanks_below_a] = 0.0
    held_samples = 1
    if meter.coarse and chance.random() < 0.35:
        held_samples = max(1, min(int(chance.integers(2, 5)), int(rate_hz * boot_s / 24)))
        current_a = np.repeat(current_a[::held_samples], held_samples)[:samples]
    if meter.loses and chance.random() < 0.35:
        _lose(chance, rate_hz, kept)
    if meter.jitters and chance.random() < 0.6:
        t_s = t_s + chance.uniform(-0.3, 0.3, samples) / rate_hz
    error_a = max(noise_a + hum_a, float(np.max(step_a)) / 2)
    return Readings(t_s[kept], current_a[kept], held_samples, error_a)


def _full_scale_a(true_a: Floats) -> float:
    """Return the full scale at which all but the shortest peaks can be read."""
    peak_a = float(np.quantile(true_a, 0.999)) + 1e-6
    return next((scale_a for scale_a in _FULL_SCALES_A if scale_a > peak_a * 1.05), _LARGEST_A)


def _draw_noise(chance: np.random.Generator, meter: Meter, full_scale_a: float) -> float:
    if isinstance(meter.noise_a, tuple):
        return full_scale_a * chance.uniform(*meter.noise_a)
    return meter.noise_a


def _with_errors(
    chance: np.random.Generator, meter: Meter, rate_hz: float, true_a: Floats, noise_a: float, full_scale_a: float
) -> Floats:
    """Return a current with the meter's gain, offset, drift and noise."""
    samples = len(true_a)
    offset_a = (full_scale_a * 0.004 if meter.offset_a is None else meter.offset_a) * chance.standard_normal()
    drift_a = full_scale_a * 0.002 if meter.drift_a is None else meter.drift_a
    return (
        true_a * (1 + 0.004 * chance.standard_normal())
        + offset_a
        + drift_a * ornstein_uhlenbeck(chance, samples, rate_hz, max(30.0, 8 / rate_hz))
        + noise_a * chance.standard_normal(samples)
        + meter.noise_part * true_a * chance.standard_normal(samples)
    )


def _hum(t_s: Floats, mains_hz: float) -> Floats:
    """Return hum with its third harmonic, of an amplitude of about 1."""
    hum: Floats = np.sin(2 * np.pi * mains_hz * t_s + 1) + 0.3 * np.sin(6 * np.pi * mains_hz * t_s)
    return hum


def _draw_resolution(chance: np.random.Generator, meter: Meter, full_scale_a: float) -> float:
    if meter.resolution is None:
        raise ValueError(f"the resolution of {meter.name} goes by its ranges")
    if not isinstance(meter.resolution, tuple):
        return meter.resolution
    first, second = meter.resolution
    return full_scale_a * (first if chance.random() < meter.first_share else second)


def _switch_ranges(
    chance: np.random.Generator, meter: Meter, rate_hz: float, current_a: Floats
) -> tuple[Floats, _Flags]:
    """Let it follow the current through its ranges; return the resolution (A) of each reading and which it gives.

    While it switches it gives none, or changed in place the one it gave before.
    """
    ranges_a, samples = np.array(meter.ranges_a), len(current_a)
    kept = np.ones(samples, dtype=np.bool_)
    lowest = int(chance.integers(0, 2))
    current = max(lowest, int(np.searchsorted(ranges_a, current_a[0] * 1.05)))
    switching = int(chance.integers(1, max(2, int(rate_hz * 0.08)) + 1))
    drops = chance.random() < 0.5
    used = np.empty(samples, dtype=np.int64)
    left, last_a = 0, current_a[0]
    for place in range(samples):
        blind = left > 0
        if blind:
            left -= 1
        else:
            wanted = max(lowest, int(np.searchsorted(ranges_a, current_a[place] * 1.02)))
            wanted = min(wanted, len(ranges_a) - 1)
            blind = wanted > current or (wanted < current and current_a[place] < 0.9 * ranges_a[current - 1])
            if blind:
                current, left = wanted, switching - 1
        if blind and drops:
            kept[place] = False
        elif blind:
            current_a[place] = last_a
        last_a = current_a[place]
        used[place] = current
    return ranges_a[used] * _DIGITS, kept


def _lose(chance: np.random.Generator, rate_hz: float, kept: _Flags) -> None:
    """Mark in place a few stretches as lost."""
    for _ in range(chance.integers(1, 5)):
        begin = chance.integers(0, len(kept))
        kept[begin : begin + int(chance.exponential(0.25) * rate_hz) + 1] = False
