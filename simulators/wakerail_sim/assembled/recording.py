"""Makes a recording of a device that is a sum of parts: draws it, a size and a meter, plays a kind, and measures it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TypeAlias

import numpy as np

from wakerail_sim.assembled.device import draw_device
from wakerail_sim.assembled.faulty import FAULTY, FaultyKind
from wakerail_sim.assembled.healthy import HEALTHY, HealthyKind
from wakerail_sim.assembled.story import Story
from wakerail_sim.assembled.telling import boots_stand_out, falls_below_use
from wakerail_sim.attempts import make_telling
from wakerail_sim.corpus import Truth
from wakerail_sim.draws import log_uniform, pick
from wakerail_sim.metered import Metered
from wakerail_sim.motley.meter import Meter, Readings, draw_meter, read

Kind: TypeAlias = FaultyKind | HealthyKind
FAULTY_KINDS: tuple[FaultyKind, ...] = tuple(FAULTY)
HEALTHY_KINDS: tuple[HealthyKind, ...] = tuple(HEALTHY)
KINDS: tuple[Kind, ...] = (*FAULTY_KINDS, *HEALTHY_KINDS)
_STORIES: dict[Kind, Callable[[Story], None]] = dict([*FAULTY.items(), *HEALTHY.items()])
_RUNNING = 0.25  # the share of recordings that begin after the device did
_MOST_SAMPLES = 200_000
_FINE_SAMPLES = 400_000
_FINEST_SAMPLES = 8
_OPENING_SAMPLES = 14  # an opening of fewer has no shape


@dataclass(frozen=True, slots=True, eq=False)
class Assembled(Metered):
    """A recording of a kind. Where it is not ``telling`` no reader could be sure of the truth by what was recorded."""

    kind: Kind
    telling: bool


def make_assembled(seed: int, kind: Kind | None = None) -> Assembled:
    """Make a recording of a kind, or of one drawn as well: the same seed always gives the same.

    What is not telling is drawn anew a few times, and then left as it is.
    """
    played: Kind = pick(np.random.default_rng([seed, len(KINDS)]), KINDS) if kind is None else kind
    return make_telling(seed, KINDS.index(played), _RUNNING, partial(_make, played))


def _make(kind: Kind, chance: np.random.Generator, begins_running: bool) -> Assembled:
    boot_s = log_uniform(chance, 0.2, 60)
    length_s = float(np.clip(boot_s * log_uniform(chance, 6, 60), 15, 1800))
    boot_s = min(boot_s, length_s / 6)
    opening_s = boot_s * chance.uniform(0.3, 0.9)
    rate_hz = max(log_uniform(chance, 4, 2000), _OPENING_SAMPLES / opening_s)
    length_s = max(min(length_s, _MOST_SAMPLES / rate_hz), 3 * boot_s)
    device = draw_device(chance, boot_s, length_s)
    story = Story(chance, device, length_s=length_s, opening_s=opening_s, begins_running=begins_running)
    _STORIES[kind](story)
    oversampling = int(np.clip(_FINE_SAMPLES / (rate_hz * story.length_s), 1, _FINEST_SAMPLES))
    drawn_a = story.current_a(rate_hz * oversampling)
    typical_a = max(float(np.median(drawn_a)), 0.02 * float(drawn_a.max()))
    meter = draw_meter(chance, rate_hz, typical_a, float(drawn_a.max()), troubled=kind == "troubled meter")
    known_s = [at_s for restart in story.restarts for at_s in restart]
    readings = read(chance, meter, drawn_a, oversampling, [*known_s, story.onset_s or 0.0])
    return Assembled(
        kind=kind,
        rate_hz=rate_hz,
        held_samples=meter.held_samples,
        t_s=readings.t_s,
        current_a=readings.current_a,
        truth=Truth(onset_s=story.onset_s, restarts=tuple(story.restarts), confusers=(), marks=()),
        telling=(kind in HEALTHY or bool(story.restarts)) and _is_telling(story, meter, readings, typical_a),
    )


def _is_telling(story: Story, meter: Meter, readings: Readings, typical_a: float) -> bool:
    sample_s = meter.held_samples / meter.rate_hz
    if story.onset_s is None:
        return not story.has_openings and (not story.restarts or falls_below_use(readings, story.restarts, sample_s))
    floor_a = 3 * meter.noise_a + meter.step_a + meter.hum_a + abs(meter.offset_a) + 0.02 * typical_a
    boots_s = [story.onset_s, *(again_s for _, again_s in story.restarts)]
    return boots_stand_out(readings, boots_s, story.opening_s, sample_s, floor_a)
