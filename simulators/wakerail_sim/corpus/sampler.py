"""Draws cases, so that a seed stands for one recording of the corpus."""

from __future__ import annotations

import numpy as np

from wakerail_sim.corpus.case import CONFUSERS, FAULTS, LIFE_CONFUSERS, Case, Confuser, Fault
from wakerail_sim.draws import log_uniform

_STREAM = 9  # apart from the streams of make_recording
_LENGTHS_S: dict[Fault, tuple[float, float]] = {
    "fixed-stage": (90.0, 400.0),
    "after-running": (200.0, 600.0),
    "watchdog": (300.0, 1200.0),
    "intermittent": (300.0, 900.0),
    "single": (120.0, 600.0),
}


def draw_healthy(seed: int, rate_hz: float) -> Case:
    """Draw a healthy device in long use, with none to five confusers at once."""
    chance = np.random.default_rng([seed, _STREAM])
    return Case(
        rate_hz=rate_hz,
        length_s=log_uniform(chance, 900.0, 3600.0),
        confusers=_draw_confusers(chance, CONFUSERS, (0.08, 0.37, 0.25, 0.15, 0.1, 0.05)),
        begins_running=chance.random() < 0.2,
        averaged=chance.random() < 0.5,
        with_voltage=chance.random() < 0.3,
    )


def draw_faulty(seed: int, rate_hz: float) -> Case:
    """Draw a device that restarts, with none to three confusers at once."""
    chance = np.random.default_rng([seed, _STREAM])
    fault = FAULTS[int(chance.integers(len(FAULTS)))]
    warm = chance.random() < 0.35
    possible = tuple(kind for kind in CONFUSERS if fault != "fixed-stage" or kind not in LIFE_CONFUSERS)
    return Case(
        rate_hz=rate_hz,
        length_s=log_uniform(chance, *_LENGTHS_S[fault]),
        fault=fault,
        confusers=_draw_confusers(chance, possible, (0.3, 0.4, 0.2, 0.1)),
        warm=warm,
        begins_running=not warm and chance.random() < 0.15,
        averaged=chance.random() < 0.5,
        with_voltage=chance.random() < 0.3,
    )


def _draw_confusers(
    chance: np.random.Generator, possible: tuple[Confuser, ...], weights: tuple[float, ...]
) -> tuple[Confuser, ...]:
    """Draw some, in the order of ``possible``; ``weights`` is how likely none, one, two, ... are."""
    count = int(chance.choice(len(weights), p=weights))
    places = sorted(chance.choice(len(possible), size=count, replace=False).tolist())
    return tuple(possible[place] for place in places)
