"""Boots found after warm restarts, beside the normalised cross-correlation by scipy.signal.correlate.

A warm restart here has no dip: the current goes on at another level, so the boot's opening coming back is all there is.
The correlation is of the logarithm of the current with the first boot's opening, as the reader compares it.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader

RATE_HZ = 20.0
STANDING_A, RUNNING_A = 0.0003, 0.19
BOOT = ((0.09, 1.0), (0.3, 1.5), (0.06, 1.0), (0.6, 2.0), (0.35, 1.5))
RUNS_S = (9.0, 14.0, 11.0, 20.0)
OPENING_S = 7.0  # the whole boot


def warm_restarts(seed):
    """Return times, currents and when each boot after the first begins."""
    rng = np.random.default_rng(seed)
    parts, begins_s, at_s = [(STANDING_A, 3.0)], [], 3.0
    for number, run_s in enumerate(RUNS_S):
        if number:
            begins_s.append(at_s)
        gain = rng.uniform(0.95, 1.05)
        parts += [(gain * level_a, for_s) for level_a, for_s in BOOT]
        parts.append((RUNNING_A, run_s))
        at_s += OPENING_S + run_s
    level_a = np.concatenate([np.full(round(for_s * RATE_HZ), level) for level, for_s in parts])
    current_a = level_a * (1 + 0.02 * rng.standard_normal(len(level_a)))
    return np.arange(len(current_a)) / RATE_HZ, current_a, begins_s


def likeness(values, pattern):
    """Return the correlation coefficient (-1 to 1) of ``pattern`` with each stretch of ``values`` as long."""
    count, ones = len(pattern), np.ones(len(pattern))
    unit = (pattern - pattern.mean()) / pattern.std()
    mean = signal.correlate(values, ones, mode="valid") / count
    square = signal.correlate(values**2, ones, mode="valid") / count
    deviation = np.sqrt(np.maximum(square - mean**2, 1e-12))
    return signal.correlate(values, unit, mode="valid") / (count * deviation)


@pytest.mark.parametrize("seed", range(5))
def test_boots_found_are_the_peaks_of_the_correlation(seed):
    t_s, current_a, begins_s = warm_restarts(seed)
    reader = BootReader(ReaderSettings())
    onset, *_ = reader.take(t_s, current_a)
    reading = reader.finish(float(t_s[-1]))
    first = round(onset.at_s * RATE_HZ)
    values = np.log(np.maximum(current_a, 1e-5))
    alike = likeness(values, values[first : first + round(OPENING_S * RATE_HZ)])
    peaks, _ = signal.find_peaks(alike, height=0.8, distance=round(OPENING_S * RATE_HZ))
    peaks_s = [float(t_s[peak]) for peak in peaks if peak > first + 1]
    assert peaks_s == pytest.approx(begins_s, abs=2 / RATE_HZ)  # the correlation itself tells the truth
    assert [restart.again_s for restart in reading.restarts] == pytest.approx(peaks_s, abs=2 / RATE_HZ)
