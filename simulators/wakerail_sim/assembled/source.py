"""What one part of a device draws while it is on: a course when it comes on, then a level, restless by itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from wakerail_sim.draws import log_uniform
from wakerail_sim.noise import Floats

_LEAST = 0.02  # of its level


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """A part, or one of its works.

    It comes on by a ``course`` of factors of ``level_a``, evenly spread over ``comes_on_s``, of which the last stays.
    ``wobble`` (a share of the level) varies slowly, within ``wobble_s``. Bursts draw ``burst`` times the level more:
    evenly every ``burst_every_s`` if it is ``steady``, else at random; they last ``burst_share`` of that.
    """

    level_a: float
    course: Floats
    comes_on_s: float
    wobble: float
    wobble_s: float
    burst: float
    burst_every_s: float
    burst_share: float
    steady: bool

    def draw_a(self, chance: np.random.Generator, samples: int, rate_hz: float, stretch: float) -> Floats:
        """Return what it draws from when it comes on; its course takes ``stretch`` times as long as usual."""
        t_s = np.arange(samples) / rate_hz
        knots_s = np.linspace(0.0, self.comes_on_s * stretch, len(self.course))
        factor = np.interp(t_s, knots_s, self.course)
        if self.wobble:
            keeps = float(np.exp(-1 / max(self.wobble_s * rate_hz, 1.0)))
            scaled = np.sqrt(1 - keeps**2) * chance.normal(size=samples)
            factor += self.wobble * np.clip(np.asarray(lfilter([1.0], [1.0, -keeps], scaled)), -2.5, 2.5)
        if self.burst:
            factor += self.burst * (self._steadily(chance, t_s) if self.steady else self._at_random(chance, t_s))
        return np.asarray(self.level_a * np.maximum(factor, _LEAST))

    def _steadily(self, chance: np.random.Generator, t_s: Floats) -> Floats:
        phase_s = chance.uniform(0, self.burst_every_s)
        return np.asarray((t_s + phase_s) % self.burst_every_s < self.burst_share * self.burst_every_s, dtype=float)

    def _at_random(self, chance: np.random.Generator, t_s: Floats) -> Floats:
        length_s = len(t_s) * (t_s[1] if len(t_s) > 1 else 1.0)
        begins_s = chance.uniform(0, length_s, chance.poisson(length_s / self.burst_every_s))
        lasts_s = chance.exponential(self.burst_share * self.burst_every_s, len(begins_s))
        begin, end = np.searchsorted(t_s, begins_s), np.searchsorted(t_s, begins_s + lasts_s)
        change = np.bincount(begin, minlength=len(t_s) + 1) - np.bincount(end, minlength=len(t_s) + 1)
        return np.asarray(np.minimum(np.cumsum(change[: len(t_s)]), 1), dtype=float)


def draw_source(chance: np.random.Generator, level_a: float, pace_s: float) -> Source:
    """Draw a part of about that level, which takes about ``pace_s`` to come on."""

    def maybe(least: float, most: float, often: float) -> float:
        return log_uniform(chance, least, most) if chance.random() < often else 0.0

    knots = int(chance.integers(1, 6))
    course = np.append(np.exp(0.7 * chance.normal(size=knots)), 1.0)
    if chance.random() < 0.3:  # at once
        course = np.ones(2)
    return Source(
        level_a=level_a,
        course=course,
        comes_on_s=pace_s * log_uniform(chance, 0.1, 1.5),
        wobble=maybe(0.003, 0.15, 0.7),
        wobble_s=pace_s * log_uniform(chance, 1e-3, 1),
        burst=maybe(0.1, 3.0, 0.5),
        burst_every_s=pace_s * log_uniform(chance, 0.02, 5),
        burst_share=log_uniform(chance, 0.03, 0.6),
        steady=bool(chance.random() < 0.4),
    )
