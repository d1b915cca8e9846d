"""Makes a motley recording: draws a device, a size and a meter, plays a kind of story, and measures it."""

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
from wakerail_sim.motley.device import draw_device
from wakerail_sim.motley.faulty import FAULTY, FaultyKind
from wakerail_sim.motley.healthy import HEALTHY, HealthyKind
from wakerail_sim.motley.meter import draw_meter, read
from wakerail_sim.motley.story import Boot, Story
from wakerail_sim.motley.telling import boots_stand_out, falls_below_use

Kind: TypeAlias = FaultyKind | HealthyKind
FAULTY_KINDS: tuple[FaultyKind, ...] = tuple(FAULTY)
HEALTHY_KINDS: tuple[HealthyKind, ...] = tuple(HEALTHY)
KINDS: tuple[Kind, ...] = (*FAULTY_KINDS, *HEALTHY_KINDS)
_STORIES: dict[Kind, Callable[[Story], None]] = dict([*FAULTY.items(), *HEALTHY.items()])
_LOOPS: tuple[Kind, ...] = ("steady loop", "ragged loop", "fast loop", "shorter and shorter", "two causes")
_RUNNING = 0.35  # the share of recordings, of kinds where that may be, that begin after the device did
_MOST_SAMPLES = 300_000
_FINE_SAMPLES = 200_000
_FINEST_SAMPLES = 16
_OPENING_SAMPLES = 12  # an opening of fewer has no shape


@dataclass(frozen=True, slots=True, eq=False)
class Motley(Metered):
    """A recording of a kind. Where it is not ``telling`` no reader could be sure of the truth by what was recorded."""

    kind: Kind
    telling: bool


def make_motley(seed: int, kind: Kind | None = None) -> Motley:
    """Make a recording of a kind, or of one drawn as well: the same seed always gives the same.

    What is not telling is drawn anew a few times, and then left as it is.
    """
    played: Kind = pick(np.random.default_rng([seed, len(KINDS)]), KINDS) if kind is None else kind
    return make_telling(seed, KINDS.index(played), _RUNNING, partial(_make, played))


def _make(kind: Kind, chance: np.random.Generator, begins_running: bool) -> Motley:
    boot_s = log_uniform(chance, 0.05, 100)
    many = kind == "fast loop"
    length_s = boot_s * (chance.uniform(20, 80) if many else log_uniform(chance, 4, 40))
    length_s = float(np.clip(length_s, chance.uniform(20, 60), 600 if chance.random() < 0.95 else 3600))
    boot_s = float(np.clip(boot_s, length_s / (150 if kind in _LOOPS else 2000), length_s / (25 if many else 4)))
    device = draw_device(chance, boot_s, max(boot_s * log_uniform(chance, 0.03, 2), length_s / 300))
    least_hz = _OPENING_SAMPLES / min(device.opening_s(skipped) for skipped in range(device.most_skipped + 1))
    rate_hz = min(2500.0, max(round(min(log_uniform(chance, 5, 1000), log_uniform(chance, 5, 2500)), 1), least_hz))
    length_s = min(length_s, _MOST_SAMPLES / rate_hz)
    oversampling = int(np.clip(_FINE_SAMPLES / (rate_hz * length_s), 1, _FINEST_SAMPLES))
    story = Story(chance, device, rate_hz=rate_hz * oversampling, length_s=length_s, begins_running=begins_running)
    _STORIES[kind](story)
    drawn_a = story.current_a
    typical_a = max(float(np.median(drawn_a)), 0.02 * float(drawn_a.max()))
    meter = draw_meter(chance, rate_hz, typical_a, float(drawn_a.max()), troubled=kind == "troubled meter")
    known_s = [at_s for boot in story.restarts for at_s in (boot.at_s, boot.again_s)]
    readings = read(chance, meter, drawn_a, oversampling, [*known_s, story.onset_s or 0.0])
    sample_s = meter.held_samples / rate_hz
    floor_a = 3 * meter.noise_a + meter.step_a + meter.hum_a + abs(meter.offset_a) + 0.02 * typical_a
    if story.onset_s is None:
        sure = not story.has_openings and (
            kind in HEALTHY or falls_below_use(drawn_a, story.rate_hz, story.restarts, sample_s)
        )
        boots = list(story.restarts)
    else:
        sure = True
        boots = [Boot(0.0, story.onset_s, 0), *story.restarts]
    return Motley(
        kind=kind,
        rate_hz=rate_hz,
        held_samples=meter.held_samples,
        t_s=readings.t_s,
        current_a=readings.current_a,
        truth=Truth(
            onset_s=story.onset_s,
            restarts=tuple((boot.at_s, boot.again_s) for boot in story.restarts),
            confusers=(),
            marks=(),
        ),
        telling=sure
        and (kind in HEALTHY or bool(story.restarts))
        and boots_stand_out(readings, device, boots, sample_s, floor_a),
    )
