"""What a stage may show beside its level: each feature draws itself on the stage's canvas."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Protocol

import numpy as np

from wakerail_sim.draws import about, log_uniform, pick
from wakerail_sim.lifelike.shapes import Form, add_bump, box_events, pink, telegraph
from wakerail_sim.noise import Floats

_FRAME_HZ = 60.0
_BUMP_FORMS: tuple[Form, ...] = ("box", "box", "decay", "hump", "triangle")


@dataclass(frozen=True)
class Canvas:
    """The samples that a stage is drawn on.

    ``current_a`` is added to in place. ``whole_s`` is how long the stage would last if it were not broken off, ``gain``
    what the stage's features are scaled by this time, and ``level_spread`` how much levels differ (relative).
    """

    chance: np.random.Generator
    current_a: Floats
    rate_hz: float
    whole_s: float
    gain: float
    level_spread: float

    @property
    def samples(self) -> int:
        """How many samples there are."""
        return len(self.current_a)

    @cached_property
    def t_s(self) -> Floats:
        """The time of each sample since the stage's begin."""
        return np.arange(self.samples) / self.rate_hz

    @cached_property
    def done(self) -> Floats:
        """How much of the whole stage has passed at each sample: 0 at its begin, 1 at its end."""
        return self.t_s / self.whole_s

    def add(self, current_a: Floats) -> None:
        """Add a current to what is drawn."""
        self.current_a[:] += current_a


class Feature(Protocol):
    """Something that a stage shows."""

    def draw_on(self, canvas: Canvas) -> None:
        """Add it to the canvas."""


@dataclass(frozen=True, slots=True)
class Decay:
    """An extra current that dies away from the stage's begin."""

    height_a: float
    tau_s: float

    def draw_on(self, canvas: Canvas) -> None:
        canvas.add(canvas.gain * self.height_a * np.exp(-canvas.t_s / self.tau_s))


@dataclass(frozen=True, slots=True)
class Rise:
    """A smooth rise from ``begin`` to ``end`` (parts of the stage) that stays."""

    height_a: float
    begin: float
    end: float

    def draw_on(self, canvas: Canvas) -> None:
        risen = np.clip((canvas.done - self.begin) / max(self.end - self.begin, 1e-6), 0, 1)
        canvas.add(canvas.gain * self.height_a * risen * risen * (3 - 2 * risen))


@dataclass(frozen=True, slots=True)
class SpinUp:
    """What a motor draws until it is up to speed."""

    height_a: float
    tau_s: float

    def draw_on(self, canvas: Canvas) -> None:
        tau_s = self.tau_s * about(canvas.chance, 0.04)
        slip = np.exp(-((canvas.t_s / tau_s) ** 1.6))
        canvas.add(canvas.gain * self.height_a * slip * (1 - np.exp(-canvas.t_s / 0.004)))


@dataclass(frozen=True, slots=True)
class Profile:
    """A course through or along knots (parts of ``height_a``) that is the same in each boot but for small shifts."""

    form: Literal["linear", "stepped"]
    knots: tuple[float, ...]
    height_a: float

    def draw_on(self, canvas: Canvas) -> None:
        count = len(self.knots)
        places = np.linspace(0, 1, count)
        places[1:-1] += canvas.chance.normal(0, 0.004, count - 2)
        places = np.maximum.accumulate(places)
        if self.form == "linear":
            heights = np.interp(canvas.done, places, self.knots)
        else:
            passed = np.searchsorted(places, canvas.done, side="right") - 1
            heights = np.asarray(self.knots)[np.clip(passed, 0, count - 1)]
        canvas.add(canvas.gain * self.height_a * heights)


@dataclass(frozen=True, slots=True)
class Bump:
    """One bump at the same part ``at`` of the stage each time."""

    form: Form
    at: float
    width_s: float
    height_a: float

    def draw_on(self, canvas: Canvas) -> None:
        at_s = self.at * canvas.whole_s * about(canvas.chance, 0.003)
        width_s = self.width_s * about(canvas.chance, 0.02)
        height_a = self.height_a * about(canvas.chance, 1.5 * canvas.level_spread)
        add_bump(canvas.current_a, canvas.rate_hz, self.form, at_s, width_s, height_a)


@dataclass(frozen=True, slots=True)
class Bursts:
    """Rectangles at random, ``rate_hz`` of them a second, as wide and high as the ranges say."""

    rate_hz: float
    width_s: tuple[float, float]
    height_a: tuple[float, float]

    def draw_on(self, canvas: Canvas) -> None:
        chance = canvas.chance
        count = int(chance.poisson(self.rate_hz * canvas.samples / canvas.rate_hz))
        if count == 0:
            return
        starts_s = np.sort(chance.uniform(0, canvas.samples / canvas.rate_hz, count))
        narrowest_s, widest_s = self.width_s
        widths_s = np.exp(chance.uniform(math.log(narrowest_s), math.log(widest_s), count))
        heights_a = chance.uniform(*self.height_a, count)
        canvas.add(box_events(canvas.samples, canvas.rate_hz, starts_s, widths_s, heights_a))


@dataclass(frozen=True, slots=True)
class Telegraph:
    """A load that is on and off at random."""

    on_s: float
    off_s: float
    height_a: float

    def draw_on(self, canvas: Canvas) -> None:
        on = telegraph(canvas.chance, canvas.samples, canvas.rate_hz, self.on_s, self.off_s)
        canvas.add(canvas.gain * self.height_a * on)


@dataclass(frozen=True, slots=True)
class Cores:
    """Processor cores that work in turns of very unlike lengths; each one draws less and rests longer than the last."""

    count: int
    height_a: float
    on_s: float
    off_s: float

    def draw_on(self, canvas: Canvas) -> None:
        for core in range(self.count):
            off_s = self.off_s * (1 + 0.5 * core)
            on = telegraph(canvas.chance, canvas.samples, canvas.rate_hz, self.on_s, off_s, tail=1.1)
            canvas.add(canvas.gain * self.height_a * (1 - 0.08 * core) * on)


@dataclass(frozen=True, slots=True)
class Pink:
    """A load whose power goes about as 1/f; ``deviation_a`` is its standard deviation."""

    deviation_a: float

    def draw_on(self, canvas: Canvas) -> None:
        canvas.add(self.deviation_a * pink(canvas.chance, canvas.samples, canvas.rate_hz))


@dataclass(frozen=True, slots=True)
class Periodic:
    """A rectangle each period; ``jitter`` is a standard deviation in periods."""

    period_s: float
    width_s: float
    height_a: float
    jitter: float

    def draw_on(self, canvas: Canvas) -> None:
        chance = canvas.chance
        count = int(canvas.samples / canvas.rate_hz / self.period_s) + 2
        starts_s = (np.arange(count) + chance.random()) * self.period_s
        starts_s += chance.normal(0, self.jitter * self.period_s, count)
        widths_s = self.width_s * (1 + 0.05 * chance.normal(size=count))
        heights_a = self.height_a * (1 + 0.03 * chance.normal(size=count))
        canvas.add(box_events(canvas.samples, canvas.rate_hz, starts_s, widths_s, heights_a))


@dataclass(frozen=True, slots=True)
class Frames:
    """The work that each picture of a moving screen takes."""

    height_a: float

    def draw_on(self, canvas: Canvas) -> None:
        chance, frame_s = canvas.chance, 1 / _FRAME_HZ
        count = int(canvas.samples / canvas.rate_hz / frame_s) + 1
        busy = np.clip(0.5 + 0.25 * pink(chance, count, _FRAME_HZ, 0.1, 20), 0.08, 0.95)
        starts_s = np.arange(count) * frame_s + chance.random() * frame_s
        heights_a = self.height_a * (0.9 + 0.2 * chance.random(count))
        canvas.add(box_events(canvas.samples, canvas.rate_hz, starts_s, busy * frame_s, heights_a))


@dataclass(frozen=True, slots=True)
class Sawtooth:
    """Blocks of work, each a read and then a computation that slackens."""

    period_s: float
    height_a: float

    def draw_on(self, canvas: Canvas) -> None:
        count = int(canvas.samples / canvas.rate_hz / self.period_s) + 3
        ends_s = np.cumsum(self.period_s * np.exp(canvas.chance.normal(0, 0.04, count)))
        phase = np.interp(canvas.t_s, np.concatenate([[0], ends_s]), np.arange(count + 1)) % 1.0
        canvas.add(canvas.gain * self.height_a * np.where(phase < 0.35, -0.6, 0.6 - 0.5 * (phase - 0.35)))


@dataclass(frozen=True, slots=True)
class Pwm:
    """A light dimmed by switching it."""

    frequency_hz: float
    duty: float
    height_a: float

    def draw_on(self, canvas: Canvas) -> None:
        lit = ((canvas.t_s * self.frequency_hz + canvas.chance.random()) % 1.0) < self.duty
        canvas.add(np.where(lit, self.height_a, 0.0))


@dataclass(frozen=True, slots=True)
class Wobble:
    """A sine, as of something that turns."""

    period_s: float
    height_a: float

    def draw_on(self, canvas: Canvas) -> None:
        canvas.add(self.height_a * np.sin(2 * np.pi * (canvas.t_s / self.period_s + canvas.chance.random())))


def draw_knots(chance: np.random.Generator, count: int, *, smooth: bool = False) -> tuple[float, ...]:
    """Draw knots for a profile, about 0 and at most 1.8 from it."""
    knots = chance.normal(size=count)
    if smooth:
        knots = np.convolve(knots, [0.25, 0.5, 0.25], "same") * 1.4
    return tuple(np.clip(knots, -1.8, 1.8).tolist())


def draw_bumps(
    chance: np.random.Generator, count: int, *, width_s: tuple[float, float], height_a: tuple[float, float]
) -> tuple[Bump, ...]:
    """Draw bumps of any form, anywhere in a stage, as wide and high as the ranges say."""
    return tuple(_draw_bump(chance, width_s, height_a) for _ in range(count))


def _draw_bump(chance: np.random.Generator, width_s: tuple[float, float], height_a: tuple[float, float]) -> Bump:
    at = chance.uniform(0.02, 0.97)
    width = log_uniform(chance, *width_s)
    height = chance.uniform(*height_a)
    return Bump(pick(chance, _BUMP_FORMS), at=at, width_s=width, height_a=height)
