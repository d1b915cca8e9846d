"""How alike two boots are: the short cuts for windows that say the same of all alignments change no answer."""

import math

import numpy as np
import pytest

from wakerail.analysis.likeness import Likeness
from wakerail.analysis.opening import ALIGNED, Placed

WINDOWS = 40


def _weigh_in_full(windows):
    """Weigh windows by the rules written out, each alignment by itself."""
    aligned = np.array(ALIGNED)
    gains, weights, log_ratio = np.zeros(len(aligned)), aligned, 0.0
    for number, (here, places, other, spread, wobble, tail, entered, still) in enumerate(windows):
        jumps = [abs(places - before[1]) for before in windows[max(number - 2, 0) : number]]
        jumped = jumps[0] if jumps else np.full(len(aligned), np.inf)
        for jump in jumps[1:]:
            jumped = np.where(jump > jumped, jump, jumped)
        distance = here - places - gains
        aside = np.where(distance > 0, max(tail, 0.75), tail)
        density = np.exp(-0.5 * (distance / spread) ** 2) / (spread * math.sqrt(2 * math.pi))
        ratio = (1 - aside) * density / other + aside
        ratio = np.where(ratio > 1, ratio ** (1 / (1 + entered)), ratio)
        near, persists = abs(distance) < 2 * spread, jumped < max(0.25, 2 * math.sqrt(wobble))
        off = math.exp(-0.1) if still else 0.0
        clamped = np.where(near, np.clip(ratio, math.exp(-0.05), math.exp(0.01)), np.clip(ratio, off, 1.0))
        ratio = np.where(persists, clamped, ratio)
        known = ~np.isnan(distance)
        weights = weights * np.where(known, ratio, 1.0)
        learnt = gains + (np.clip(here - places, -0.3, 0.3) - gains) / (number + 3)
        gains = np.where(known & near, learnt, gains)
        log_ratio += math.log(weights.sum())
        weights = 0.97 * weights / weights.sum() + 0.03 * aligned
    return log_ratio


def _windows(rng):
    """Draw a boot that is at the template's level, or near it, or elsewhere, mostly for several windows."""
    level, off = rng.uniform(-3, 1), 0.0
    for _ in range(WINDOWS):
        level += rng.normal(0, 1) * (rng.random() < 0.2)
        if rng.random() < 0.2:
            off = float(rng.choice([0.0, 0.2, -0.4, 1.0, -2.0, rng.normal()]))
        places = level + rng.normal(0, 0.2 if rng.random() < 0.2 else 0.01, 15)
        if rng.random() < 0.05:
            places[rng.integers(15)] = np.nan
        here = level + off + rng.normal(0, 0.03)
        wobble, entered = rng.uniform(0, 0.02), int(rng.integers(3)) * (rng.random() < 0.3)
        spread = math.sqrt(0.1**2 + wobble)
        yield (
            here,
            places,
            math.exp(rng.normal(0, 1)),
            spread,
            wobble,
            rng.uniform(0.05, 0.6),
            entered,
            rng.random() < 0.7,
        )


@pytest.mark.parametrize("seed", range(60))
def test_short_cuts_weigh_as_each_alignment_by_itself(seed):
    windows = list(_windows(np.random.default_rng(seed)))
    likeness = Likeness()
    for here, places, other, spread, wobble, tail, entered, still in windows:
        placed = Placed(places.tolist(), 0.0, 0.0)
        likeness.weigh(here, placed, other, spread, wobble, tail, entered=int(entered), still=bool(still))
    assert likeness.log_ratio == pytest.approx(_weigh_in_full(windows), abs=1e-9)
