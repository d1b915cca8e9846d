"""Whether a recording shows its restarts at all, and which are left out of it because it cannot."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np

from wakerail_sim.lifelike.meter import Meter
from wakerail_sim.lifelike.readings import Readings
from wakerail_sim.noise import Floats

_FEWEST_BOOT_SAMPLES = 12
_PARTS = 10
_CLEAR = 3  # standard deviations


def leave_out_unseen(
    restarts: Sequence[tuple[float, float]], drawn_a: Floats, rate_hz: float, boot_s: float, *, fewest_samples: int
) -> tuple[tuple[tuple[float, float], ...], Floats]:
    """Return the restarts before the first whose boot has too little of it recorded, and the current before that one.

    At least ``fewest_samples`` are left.
    """
    seen_s = min(0.5 * boot_s, 2.0)
    end_s = len(drawn_a) / rate_hz
    for number, (ended_s, again_s) in enumerate(restarts):
        if again_s + seen_s > end_s:
            return tuple(restarts[:number]), drawn_a[: max(int(ended_s * rate_hz) - 1, fewest_samples)]
    return tuple(restarts), drawn_a


def shows_restarts(readings: Readings, restarts: Sequence[tuple[float, float]], meter: Meter, boot_s: float) -> bool:
    """Return whether each restart can be seen: some part of what follows clearly differs from what came before."""
    new_hz = meter.rate_hz / meter.held_samples / (1 + meter.smoothing_samples)
    if restarts and boot_s * new_hz < _FEWEST_BOOT_SAMPLES:
        return False
    noise_a = math.sqrt(meter.noise_a**2 + meter.quantum_a**2 / 12 + 0.5 * meter.hum_a**2)
    for number, (ended_s, again_s) in enumerate(restarts):
        from_s = ended_s - max(1.0, 0.3 * boot_s)
        if number:
            booted_s = restarts[number - 1][1]
            from_s = max(booted_s + 0.5 * (ended_s - booted_s), from_s)
        before_a = readings.true_a[(readings.t_s >= from_s) & (readings.t_s < ended_s)]
        if len(before_a) < 3:
            continue
        last = number + 1 == len(restarts)
        boot_span_s = boot_s if last else min(boot_s, restarts[number + 1][0] - again_s)
        parts = _parts(readings, ended_s, again_s, max(boot_span_s, 3 / meter.rate_hz))
        if not any(_differs(part_a, before_a, noise_a, meter.held_samples) for part_a in parts):
            return False
    return True


def _parts(readings: Readings, ended_s: float, again_s: float, boot_s: float) -> Iterator[Floats]:
    """Yield the current of each tenth of a boot, and of the gap before it, unless no sample is there."""
    t_s, current_a = readings.t_s, readings.true_a
    edges_s = np.linspace(again_s, again_s + boot_s, _PARTS + 1)
    spans = [(t_s >= start_s) & (t_s < end_s) for start_s, end_s in itertools.pairwise(edges_s)]
    for span in (*spans, (t_s > ended_s) & (t_s < again_s)):
        if span.any():
            yield current_a[span]


def _differs(part_a: Floats, before_a: Floats, noise_a: float, held_samples: int) -> bool:
    spread_a = noise_a / math.sqrt(max(1, len(part_a) / held_samples)) + 0.35 * before_a.std() + 1e-9
    return bool(abs(part_a.mean() - np.median(before_a)) / spread_a >= _CLEAR)
