"""Makes a recording of a plain device: draws it, how long things last and a meter, plays a kind, and measures it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TypeAlias

import numpy as np

from wakerail_sim.attempts import make_telling
from wakerail_sim.corpus import Truth
from wakerail_sim.draws import log_uniform, pick
from wakerail_sim.metered import Metered
from wakerail_sim.motley.meter import Meter, Readings, draw_meter, read
from wakerail_sim.plain.faulty import FAULTY, FaultyKind
from wakerail_sim.plain.healthy import HEALTHY, HealthyKind
from wakerail_sim.plain.story import LEAST_ON, Device, Story, draw_device

Kind: TypeAlias = FaultyKind | HealthyKind
FAULTY_KINDS: tuple[FaultyKind, ...] = tuple(FAULTY)
HEALTHY_KINDS: tuple[HealthyKind, ...] = tuple(HEALTHY)
KINDS: tuple[Kind, ...] = (*FAULTY_KINDS, *HEALTHY_KINDS)
_STORIES: dict[Kind, Callable[[Story], None]] = dict([*FAULTY.items(), *HEALTHY.items()])
_RUNNING = 0.4  # the share of recordings of healthy devices that begin while the device runs
_MOST_S = 86_400.0
_MOST_SAMPLES = 200_000
_FEWEST_SAMPLES = 60
_OVERSAMPLING = 8
_CLEARLY = 4.0  # times what a meter errs by


@dataclass(frozen=True, slots=True, eq=False)
class Plain(Metered):
    """A recording of a kind. Where it is not ``telling`` off does not show in what was recorded."""

    kind: Kind
    telling: bool


def make_plain(seed: int, kind: Kind | None = None) -> Plain:
    """Make a recording of a kind, or of one drawn as well: the same seed always gives the same.

    What is not telling is drawn anew a few times, and then left as it is.
    """
    played: Kind = pick(np.random.default_rng([seed, len(KINDS)]), KINDS) if kind is None else kind
    running = _RUNNING if played in HEALTHY and played != "never on" else 0.0
    return make_telling(seed, KINDS.index(played), running, partial(_make, played))


def _make(kind: Kind, chance: np.random.Generator, begins_running: bool) -> Plain:
    rate_hz = log_uniform(chance, 0.2, 5000)
    pace_s = log_uniform(chance, max(0.3, 8 / rate_hz), 20_000 / rate_hz)
    length_s = min(pace_s * log_uniform(chance, 4, 60), _MOST_S)
    length_s = min(max(length_s, _FEWEST_SAMPLES / rate_hz), _MOST_SAMPLES / rate_hz)
    pace_s = min(pace_s, length_s / 3)
    device = draw_device(chance, pace_s)
    story = Story(
        chance,
        device,
        pace_s=pace_s,
        sample_s=1 / rate_hz,
        rate_hz=rate_hz * _OVERSAMPLING,
        length_s=length_s,
        begins_running=begins_running,
    )
    _STORIES[kind](story)
    drawn_a = story.current_a
    meter = draw_meter(chance, rate_hz, device.level_a, float(drawn_a.max()), troubled=kind == "troubled meter")
    known_s = [at_s for restart in story.restarts for at_s in restart]
    readings = read(chance, meter, drawn_a, _OVERSAMPLING, [*known_s, story.onset_s or 0.0])
    return Plain(
        kind=kind,
        rate_hz=rate_hz,
        held_samples=meter.held_samples,
        t_s=readings.t_s,
        current_a=readings.current_a,
        truth=Truth(onset_s=story.onset_s, restarts=tuple(story.restarts), confusers=(), marks=()),
        telling=_is_telling(story, meter, readings) and (kind in HEALTHY or bool(story.restarts)),
    )


def _is_telling(story: Story, meter: Meter, readings: Readings) -> bool:
    """Return whether off is clearly below the least that is drawn when on, and each restart shows it."""
    errs_a = meter.noise_a + meter.flicker_a + meter.step_a + meter.hum_a
    off_is_known = story.onset_s is not None
    return (not off_is_known or story.least_a - story.device.off_a > _CLEARLY * errs_a) and all(
        _falls(readings, restart, story.device, meter) for restart in story.restarts
    )


def _falls(readings: Readings, restart: tuple[float, float], device: Device, meter: Meter) -> bool:
    """Return whether the device was read as off in a restart, and as on after it."""
    held_s = meter.held_samples / meter.rate_hz
    first, last, after = np.searchsorted(readings.t_s, [restart[0], restart[1] + held_s, restart[1] + 6 * held_s])
    if last <= first or after <= last:
        return False
    within_a, after_a = readings.current_a[first:last].min(), readings.current_a[last:after].max()
    return bool(within_a < 0.5 * LEAST_ON * device.level_a and after_a > 0.5 * device.level_a)
