"""Draws and processes that numpy has no name for."""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

from wakerail_sim.noise import Floats

_SETTLING = 50  # numbers that are drawn and not used
_STEPS_IN_TAU = 6


def scatter(chance: np.random.Generator, deviation: float) -> float:
    """Return a factor about 1 whose logarithm has a standard deviation."""
    return float(chance.lognormal(0, deviation))


def clipped(value: float, least: float, most: float) -> float:
    """Return a value, or the border that it is beyond."""
    return float(np.clip(value, least, most))


def ornstein_uhlenbeck(chance: np.random.Generator, samples: int, rate_hz: float, tau_s: float) -> Floats:
    """Return a process of unit variance whose values are alike for about ``tau_s``.

    Where the samples are much finer than that, several in a row are the same.
    """
    repeats = max(1, int(rate_hz * tau_s / _STEPS_IN_TAU))
    count = samples // repeats + 2
    kept = np.exp(-repeats / rate_hz / tau_s)
    normal = chance.standard_normal(count + _SETTLING)
    drawn: Floats = lfilter([np.sqrt(1 - kept * kept)], [1, -kept], normal)[_SETTLING:]
    return np.repeat(drawn, repeats)[:samples] if repeats > 1 else drawn[:samples]
