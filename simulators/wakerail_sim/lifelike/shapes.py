"""Shapes of current over time, sampled evenly: rectangles, telegraph noise, 1/f noise, bumps, and a low pass."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
import numpy.typing as npt

from wakerail_sim.noise import Floats

Form = Literal["box", "decay", "hump", "triangle", "saw"]

_SHORTEST_TAU_SAMPLES = 0.15  # a low pass faster than this changes nothing that the samples show
_DIRECT_TAPS = 60  # longer kernels are convolved by their transform


def box_events(
    samples: int, rate_hz: float, starts_s: npt.ArrayLike, widths_s: npt.ArrayLike, heights: npt.ArrayLike
) -> Floats:
    """Return the sum of rectangles, each of one sample at least and as high as ``heights`` says (any unit)."""
    steps = np.zeros(samples + 1)
    if np.size(starts_s) == 0:
        return steps[:samples]
    begins = np.clip(np.round(np.asarray(starts_s) * rate_hz).astype(np.int64), 0, samples)
    lengths = np.maximum(1, np.round(np.asarray(widths_s) * rate_hz).astype(np.int64))
    ends = np.clip(begins + lengths, 0, samples)
    np.add.at(steps, begins, heights)
    np.add.at(steps, ends, -np.asarray(heights))
    return np.cumsum(steps)[:samples]


def telegraph(
    chance: np.random.Generator, samples: int, rate_hz: float, on_s: float, off_s: float, tail: float = 0.0
) -> Floats:
    """Return 1 while on and 0 while off, for times about ``on_s`` and ``off_s``.

    The times are exponential, or log normal if a ``tail`` (standard deviation of their logarithm) is given.
    """
    count = int(samples / rate_hz / (on_s + off_s) * 1.6) + 12
    if tail:
        ons_s = on_s * np.exp(chance.normal(-(tail**2) / 2, tail, count))
        offs_s = off_s * np.exp(chance.normal(-(tail**2) / 2, tail, count))
    else:
        ons_s, offs_s = chance.exponential(on_s, count), chance.exponential(off_s, count)
    begins_on = chance.random() < on_s / (on_s + off_s)
    lengths_s = np.empty(2 * count)
    lengths_s[0::2], lengths_s[1::2] = (ons_s, offs_s) if begins_on else (offs_s, ons_s)
    ends = np.round(np.cumsum(lengths_s) * rate_hz).astype(np.int64)
    states = np.zeros(2 * count)
    states[0 if begins_on else 1 :: 2] = 1.0
    drawn = np.repeat(states, np.diff(ends, prepend=0))[:samples]
    return np.pad(drawn, (0, samples - len(drawn)))


def pink(
    chance: np.random.Generator, samples: int, rate_hz: float, lowest_hz: float = 0.05, highest_hz: float = 40.0
) -> Floats:
    """Return noise of about 1/f power between two frequencies, of about unit variance.

    It is the sum of octaves, each a line through normal numbers drawn half as far apart as those of the one before.
    """
    coarse_hz = min(rate_hz, 4 * highest_hz)
    count = int(samples / rate_hz * coarse_hz) + 3
    total = np.zeros(count)
    places = np.arange(count, dtype=float)
    spacing, octaves = coarse_hz / lowest_hz, 0
    while spacing > max(coarse_hz / highest_hz, 1.0):
        knots = int(count / spacing) + 4
        total += np.interp(places / spacing + chance.random(), np.arange(knots), chance.normal(size=knots))
        spacing /= 2
        octaves += 1
    total /= math.sqrt(max(octaves, 1) * 0.67)
    noise: Floats = np.interp(np.arange(samples) * (coarse_hz / rate_hz), places, total)
    return noise


def low_pass(values: Floats, tau_samples: float) -> Floats:
    """Return the values behind a first-order low pass that begins settled."""
    if tau_samples < _SHORTEST_TAU_SAMPLES:
        return values
    kernel = np.exp(-np.arange(int(7 * tau_samples) + 2) / tau_samples)
    kernel /= kernel.sum()
    before = len(kernel) - 1
    padded = np.concatenate([np.full(before, values[0]), values])
    if len(kernel) > _DIRECT_TAPS:
        size = 1 << math.ceil(math.log2(len(padded) + len(kernel)))
        smoothed = np.fft.irfft(np.fft.rfft(padded, size) * np.fft.rfft(kernel, size), size)
    else:
        smoothed = np.convolve(padded, kernel)
    return smoothed[before : len(padded)]


def add_bump(current_a: Floats, rate_hz: float, form: Form, at_s: float, width_s: float, height_a: float) -> None:
    """Add a bump to a current in place. A decay's width is its time constant, and it goes on for five of them."""
    begin = round(at_s * rate_hz)
    width = max(1, round(width_s * rate_hz))
    length = max(2, 5 * width) if form == "decay" else width
    start, stop = max(0, begin), min(len(current_a), begin + length)
    if stop <= start:
        return
    current_a[start:stop] += height_a * _form((np.arange(start - begin, stop - begin) + 0.5) / width, form)


def _form(place: Floats, form: Form) -> Floats:
    """Return a form's height at places of which 0 is its begin and 1 its width."""
    match form:
        case "box":
            return np.ones_like(place)
        case "decay":
            return np.exp(-place)
        case "triangle":
            return 1 - np.abs(2 * place - 1)
        case "saw":
            return 1 - place
        case "hump":
            return np.sin(np.pi * place) ** 0.8
