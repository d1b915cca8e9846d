"""A stage of a boot, a mode of running, or an event: its level and features, and its drawing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wakerail_sim.draws import about
from wakerail_sim.lifelike.features import (
    Bump,
    Bursts,
    Canvas,
    Cores,
    Decay,
    Feature,
    Frames,
    Periodic,
    Pink,
    Profile,
    Pwm,
    Rise,
    Sawtooth,
    SpinUp,
    Telegraph,
    Wobble,
)
from wakerail_sim.noise import Floats


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage.

    ``length_s`` is 0 for a mode, which lasts as long as its scene wants. An event's level is what it adds. The level is
    reached with a time constant of ``settle_s`` and changes by the part ``slope`` of itself until the stage's end.
    """

    name: str
    length_s: float = 0.0
    level_a: float = 0.0
    settle_s: float = 0.0015
    slope: float = 0.0
    decay: Decay | None = None
    rise: Rise | None = None
    spin_up: SpinUp | None = None
    profile: Profile | None = None
    bumps: tuple[Bump, ...] = ()
    bursts: Bursts | None = None
    telegraph: Telegraph | None = None
    cores: Cores | None = None
    pink: Pink | None = None
    periodic: tuple[Periodic, ...] = ()
    frames: Frames | None = None
    sawtooth: Sawtooth | None = None
    pwm: Pwm | None = None
    wobble: Wobble | None = None

    def features(self) -> Iterator[Feature]:
        """Yield its features in the order in which they are drawn: another one would make other recordings."""
        steady = (self.decay, self.rise, self.spin_up, self.profile)
        lively = (self.bursts, self.telegraph, self.cores, self.pink)
        even = (self.frames, self.sawtooth, self.pwm, self.wobble)
        for feature in (*steady, *self.bumps, *lively, *self.periodic, *even):
            if feature is not None:
                yield feature


def draw_stage(
    chance: np.random.Generator,
    stage: Stage,
    samples: int,
    rate_hz: float,
    *,
    before_a: float | None,
    level_spread: float,
    whole_samples: int | None = None,
) -> Floats:
    """Return the current (A) of a stage that comes after a level of ``before_a``, None at a recording's begin.

    Args:
        chance: what is drawn anew each time comes from here.
        stage: the stage.
        samples: how many to return.
        rate_hz: how many of them a second.
        before_a: the level before.
        level_spread: relative standard deviation of the stage's level from one time to the next.
        whole_samples: how long the whole stage is, if only its head is wanted.
    """
    level_a = stage.level_a * about(chance, level_spread)
    canvas = Canvas(
        chance=chance,
        current_a=np.full(samples, level_a),
        rate_hz=rate_hz,
        whole_s=(whole_samples or samples) / rate_hz,
        gain=about(chance, level_spread),
        level_spread=level_spread,
    )
    if before_a is not None:
        canvas.add((before_a - level_a) * np.exp(-canvas.t_s / stage.settle_s))
    if stage.slope:
        canvas.add(level_a * stage.slope * canvas.done)
    for feature in stage.features():
        feature.draw_on(canvas)
    return canvas.current_a
