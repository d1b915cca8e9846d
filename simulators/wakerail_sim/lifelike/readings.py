"""What a meter makes of a current."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wakerail_sim.draws import log_uniform, pick
from wakerail_sim.lifelike.meter import Meter
from wakerail_sim.lifelike.shapes import low_pass, pink
from wakerail_sim.noise import Floats

_Flags = npt.NDArray[np.bool_]

_FEWEST_SAMPLES = 50
_MOST_SWITCHES = 4000
_MOST_GLITCHES = 300


@dataclass(frozen=True, slots=True)
class Readings:
    """Times ascending (s), what the meter read (A), and what it would have without its errors (A)."""

    t_s: Floats
    current_a: Floats
    true_a: Floats

    def only(self, kept: _Flags) -> Readings:
        """Return some of them."""
        return Readings(self.t_s[kept], self.current_a[kept], self.true_a[kept])


def read(
    chance: np.random.Generator, meter: Meter, drawn_a: Floats, oversampling: int, never_lost_s: Collection[float]
) -> Readings:
    """Return a meter's readings of a current that has ``oversampling`` samples for each of the meter's.

    No gap comes within a second of the times ``never_lost_s``.
    """
    full_scale_a = float(np.percentile(drawn_a, 99.9)) or 1e-3
    t_s, true_a = _sample(chance, meter, drawn_a, oversampling)
    current_a = _with_errors(chance, meter, true_a)
    if meter.clips:
        current_a = np.minimum(current_a, full_scale_a * 1.15)
    if meter.switches_ranges:
        _switch_ranges(chance, meter, current_a, true_a, full_scale_a)
    if meter.glitches_hz:
        _add_glitches(chance, meter, current_a, full_scale_a)
    if meter.quantum_a:
        current_a = np.round(current_a / meter.quantum_a) * meter.quantum_a
    readings = Readings(t_s, current_a, true_a)
    readings = readings.only(_outside_gaps(chance, meter, t_s, never_lost_s))
    if np.any(np.diff(readings.t_s) <= 0):
        latest_s = np.maximum.accumulate(readings.t_s)
        readings = readings.only(np.concatenate([[True], np.diff(latest_s) > 0]))
    return readings


def _sample(chance: np.random.Generator, meter: Meter, drawn_a: Floats, oversampling: int) -> tuple[Floats, Floats]:
    """Return the times of the samples and the current at them, through the meter's aperture, hold and filter."""
    count = len(drawn_a) // oversampling
    places = np.arange(count, dtype=np.float64)
    late = np.clip(chance.normal(0, meter.jitter, count), -0.45, 0.45) if meter.jitter else np.zeros(count)
    begins = np.clip(np.round((places + late) * oversampling).astype(np.int64), 0, len(drawn_a) - 1)
    fine_hz = meter.rate_hz * oversampling
    if meter.aperture > 0:
        width = max(1, round(meter.aperture * oversampling))
        total_a = np.concatenate([[0.0], np.cumsum(drawn_a)])
        ends = np.minimum(begins + width, len(drawn_a))
        current_a = (total_a[ends] - total_a[begins]) / (ends - begins)
        t_s = (begins.astype(np.float64) + meter.stamped_at * width) / fine_hz
    else:
        current_a, t_s = drawn_a[begins], begins.astype(np.float64) / fine_hz
    if meter.jitter and chance.random() < 0.5:
        t_s = places / meter.rate_hz  # the meter does not tell
    current_a = _held(current_a, meter)
    if meter.smoothing_samples:
        current_a = low_pass(current_a, meter.smoothing_samples)
    return t_s, current_a


def _held(values: Floats, meter: Meter) -> Floats:
    """Return each value as often as the meter gives it, instead of those that come in between."""
    if meter.held_samples == 1:
        return values
    return np.repeat(values[:: meter.held_samples], meter.held_samples)[: len(values)]


def _with_errors(chance: np.random.Generator, meter: Meter, true_a: Floats) -> Floats:
    """Return a current with the meter's gain, offset, drift, noise and hum."""
    count = len(true_a)
    current_a = true_a * meter.gain + meter.offset_a
    if meter.drift_a:
        long = count / meter.rate_hz > 60
        drift = pink(chance, count, meter.rate_hz, 0.003, 0.03) * 0.5 if long else np.linspace(0, 1, count)
        current_a = current_a + meter.drift_a * drift
    current_a = current_a + _held(chance.normal(size=count) * meter.noise_a, meter)
    if meter.hum_a:
        averaged = 1.0 if meter.aperture == 0 else abs(np.sinc(meter.hum_hz * meter.aperture / meter.rate_hz))
        phase = 2 * np.pi * meter.hum_hz * np.arange(count) / meter.rate_hz + 6.28 * chance.random()
        current_a = current_a + meter.hum_a * averaged * np.sin(phase)
    return current_a


def _switch_ranges(
    chance: np.random.Generator, meter: Meter, current_a: Floats, true_a: Floats, full_scale_a: float
) -> None:
    """Change readings in place where the current crosses a range's border: a few then are wrong.

    The meter stays in a range for a while before it changes again.
    """
    border_a = full_scale_a * chance.uniform(0.15, 0.6)
    crossings = np.flatnonzero(np.diff(true_a > border_a))[:_MOST_SWITCHES]
    habit = pick(chance, ("zero", "hold", "hold", "spike", "spike"))
    rest = max(8, meter.rate_hz * chance.uniform(0.4, 3))
    settling = max(1, int(meter.rate_hz * chance.uniform(0.005, 0.03)))
    switched = -math.inf
    for crossing in crossings.tolist():
        if crossing - switched < rest:
            continue
        switched = crossing
        begin, end = crossing + 1, min(len(current_a), crossing + 1 + settling)
        if habit == "zero":
            current_a[begin:end] = meter.offset_a
        elif habit == "hold":
            current_a[begin:end] = current_a[crossing]
        else:
            current_a[begin:end] += full_scale_a * 0.5 * np.exp(-np.arange(end - begin) / max(1, settling / 3))


def _add_glitches(chance: np.random.Generator, meter: Meter, current_a: Floats, full_scale_a: float) -> None:
    """Change single readings in place to nonsense."""
    count = chance.poisson(min(meter.glitches_hz / meter.rate_hz, 0.008) * len(current_a))
    for place in chance.integers(0, len(current_a), min(count, _MOST_GLITCHES)):
        nonsense_a = (meter.offset_a, current_a[place] * 2, full_scale_a * 1.2, -0.2 * full_scale_a)
        current_a[place] = pick(chance, nonsense_a)


def _outside_gaps(chance: np.random.Generator, meter: Meter, t_s: Floats, never_lost_s: Collection[float]) -> _Flags:
    """Return which samples are in none of the meter's gaps; all, if hardly any is."""
    kept = np.ones(len(t_s), dtype=np.bool_)
    length_s = len(t_s) / meter.rate_hz
    for _ in range(meter.gaps):
        start_s = chance.uniform(0, length_s)
        longest_s = max(4 / meter.rate_hz, min(8, 0.04 * len(t_s) / meter.rate_hz))
        end_s = start_s + log_uniform(chance, 3 / meter.rate_hz, longest_s)
        if not any(start_s - 1 < at_s < end_s + 1 for at_s in never_lost_s):
            kept &= (t_s < start_s) | (t_s >= end_s)
    return kept if kept.sum() >= _FEWEST_SAMPLES else np.ones_like(kept)
