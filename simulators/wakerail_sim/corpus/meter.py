"""How a meter sees a current: when it samples, its noise, and its habits that look like a device's."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from wakerail_sim.corpus.case import Case, Mark
from wakerail_sim.corpus.edges import Curve
from wakerail_sim.corpus.family import Family
from wakerail_sim.draws import log_uniform
from wakerail_sim.noise import Floats, Ints

QUANTUM_A = 0.010
_SWITCH_REST_S, _SWITCH_REST_SAMPLES = 0.25, 6


def sample(
    chance: np.random.Generator, curve: Curve, family: Family, case: Case, end_s: float
) -> tuple[Floats, Floats]:
    """Return when the meter sampled (s, from 0 to ``end_s``) and the current it would see without faults of its own.

    A sample of an averaging meter bears the time at which its window ends.
    """
    edges_s = case.sample_s * np.arange(-1, math.floor(end_s * case.rate_hz) + 1, dtype=np.float64)
    if "jitter" in case.confusers:
        edges_s = edges_s + chance.uniform(0.1, 0.45) * chance.uniform(-1, 1, len(edges_s)) * case.sample_s
    t_s = edges_s[1:]
    ripple = family.ripple * np.sin(2 * np.pi * (family.ripple_hz * t_s + chance.random()))
    if case.averaged:
        level_a = curve.mean(edges_s[:-1], t_s)
        ripple *= _averaged(family.ripple_hz, case)
    else:
        level_a = curve.at(t_s)
    rough = case.noise * chance.uniform(0.002, 0.03)
    drawn_a = level_a * (1 + ripple + rough * chance.standard_normal(len(t_s)))
    return t_s - min(0.0, t_s[0]), drawn_a + family.standing_a


def read(
    chance: np.random.Generator, t_s: Floats, current_a: Floats, family: Family, case: Case
) -> tuple[Floats, tuple[Mark, ...]]:
    """Return the meter's readings of a current, and when it switched ranges."""
    marks: tuple[Mark, ...] = ()
    reading_a = current_a
    if "drift" in case.confusers:
        reading_a = reading_a * (1 + 0.03 * _wander(chance, t_s)) + _least(family, 0.004) * _wander(chance, t_s)
    if "hum" in case.confusers:
        reading_a = reading_a + _hum(chance, t_s, current_a, family, case)
    noise_a = case.noise * min(log_uniform(chance, 2e-5, 2e-3), family.contrast_a / 8)
    reading_a = reading_a + noise_a * chance.standard_normal(len(t_s))
    if "range-switching" in case.confusers:
        reading_a, marks = _switch_ranges(chance, t_s, reading_a, family, case)
    quantum_a = QUANTUM_A if "quantised" in case.confusers else log_uniform(chance, 1e-5, _least(family, 0.001))
    return np.round(reading_a / quantum_a) * quantum_a + 0.0, marks


def lose(
    chance: np.random.Generator, t_s: Floats, case: Case, never: Sequence[tuple[float, float]]
) -> tuple[np.ndarray[tuple[int], np.dtype[np.bool_]], tuple[Mark, ...]]:
    """Return which samples are kept, and the gaps; none of them within the times ``never``."""
    kept = np.ones(len(t_s), dtype=np.bool_)
    marks = []
    if "gaps" in case.confusers:
        count = 1 + chance.poisson(t_s[-1] / log_uniform(chance, 15.0, 200.0))
        starts_s = np.sort(chance.uniform(0.5, t_s[-1] - 4.0, count))
        lengths_s = np.maximum(log_uniform(chance, 0.1, 3.0) * chance.uniform(0.5, 1.0, count), 2 * case.sample_s)
        for start_s, end_s in zip(starts_s.tolist(), (starts_s + lengths_s).tolist(), strict=True):
            if all(end_s < from_s or start_s > to_s for from_s, to_s in never):
                kept[np.searchsorted(t_s, start_s) : np.searchsorted(t_s, end_s)] = False
                marks.append(Mark("gaps", start_s, end_s))
    return kept, tuple(marks)


def _least(family: Family, most_a: float) -> float:
    """Return so much of the current that it cannot hide a step of the family's boot."""
    return min(most_a, family.contrast_a / 5)


def _averaged(frequency_hz: float, case: Case) -> float:
    return float(np.sinc(frequency_hz * case.sample_s))


def _wander(chance: np.random.Generator, t_s: Floats) -> Floats:
    """Return a slow movement between -1 and 1."""
    first_s, second_s = chance.uniform(300, 7200, 2)
    first = np.sin(2 * np.pi * (t_s / first_s + chance.random()))
    moved: Floats = 0.6 * first + 0.4 * np.sin(2 * np.pi * (t_s / second_s + chance.random()))
    return moved


def _hum(chance: np.random.Generator, t_s: Floats, current_a: Floats, family: Family, case: Case) -> Floats:
    """Return mains hum: part of it of one size, part in proportion to the current."""
    mains_hz = (50.0 if chance.random() < 0.5 else 60.0) * (1 + 0.0004 * chance.standard_normal())
    size_a = _least(family, log_uniform(chance, 0.001, 0.01)) + chance.uniform(0.0, 0.03) * current_a
    attenuation = _averaged(mains_hz, case) if case.averaged else 1.0
    return size_a * attenuation * np.sin(2 * np.pi * (mains_hz * t_s + chance.random()))


def _switch_ranges(
    chance: np.random.Generator, t_s: Floats, reading_a: Floats, family: Family, case: Case
) -> tuple[Floats, tuple[Mark, ...]]:
    """Return readings in which each crossing of a range's border costs a few samples."""
    border_a = family.running_a * chance.uniform(0.15, 0.7)
    habit = ("zero", "hold", "spike")[int(chance.integers(3))]
    spike = chance.uniform(2.0, 8.0)
    rest = max(_SWITCH_REST_SAMPLES, round(_SWITCH_REST_S * case.rate_hz))
    switched_a, marks, free = reading_a.copy(), [], 1
    for place in _crossings(reading_a, 0.8 * border_a, border_a).tolist():
        if place < free:
            continue
        end = min(place + int(chance.integers(1, case.switching_samples + 1)), len(t_s))
        if habit == "zero":
            switched_a[place:end] = 0.0
        elif habit == "hold":
            switched_a[place:end] = reading_a[place - 1]
        else:
            switched_a[place:end] = spike * border_a
        marks.append(Mark("range-switching", float(t_s[place]), float(t_s[end - 1])))
        free = end + rest
    return switched_a, tuple(marks)


def _crossings(reading_a: Floats, low_a: float, high_a: float) -> Ints:
    """Return where the readings cross the band upwards or downwards, from one side of it to the other."""
    side = np.where(reading_a > high_a, 1, np.where(reading_a < low_a, -1, 0))
    told = np.flatnonzero(side)
    crossings: Ints = told[1:][np.diff(side[told]) != 0]
    return crossings
