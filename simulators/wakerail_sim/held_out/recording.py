"""Makes a held-out recording: draws a device and a meter for a kind, plays it, and measures."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wakerail_sim.corpus import Truth
from wakerail_sim.draws import pick
from wakerail_sim.held_out.current import draw_current
from wakerail_sim.held_out.devices import DEVICES
from wakerail_sim.held_out.devices.device import Device, Family
from wakerail_sim.held_out.draws import clipped
from wakerail_sim.held_out.firmware.boot import boot
from wakerail_sim.held_out.kinds import KINDS, Kind, is_faulty, seed_of
from wakerail_sim.held_out.machine import Machine
from wakerail_sim.held_out.meter import METERS, Meter
from wakerail_sim.held_out.play import LONGEST_S, SHORTEST_S, Played, play
from wakerail_sim.held_out.readings import read
from wakerail_sim.held_out.scenes import SCENES, set_up
from wakerail_sim.held_out.source import connect
from wakerail_sim.held_out.telling import seen_restarts
from wakerail_sim.metered import Metered

_ATTEMPTS = 12
_LAST_ATTEMPT = 99  # its number
_MOST_SAMPLES = 590_000
_FINE_HZ = 1000.0


@dataclass(frozen=True, slots=True, eq=False)
class HeldOut(Metered):
    """A recording of a kind. ``seen`` is False for each restart that no reader could know by what was recorded."""

    kind: Kind
    device: Family
    seen: tuple[bool, ...]

    @property
    def telling(self) -> bool:
        """Whether each restart can be seen."""
        return all(self.seen)


@dataclass(frozen=True, slots=True, eq=False)
class _Take:
    """What was played for a recording, how it is to be measured, and whether it fits its kind.

    What is left of ``chance`` is for the measurement. The source limits the current to about ``limit_a``, if it does.
    """

    chance: np.random.Generator
    kind: Kind
    meter: Meter
    rate_hz: float
    limit_a: float | None
    played: Played
    fit: bool


def make_held_out(seed: int, kind: Kind | None = None) -> HeldOut:
    """Make the recording of a kind, or of one drawn as well: the same seed always gives the same.

    It is tried anew until it fits its kind; the last try counts whether it does or not.
    """
    takes = (_take(seed, kind, attempt) for attempt in range(_ATTEMPTS))
    return _measure(next((take for take in takes if take.fit), None) or _take(seed, kind, _LAST_ATTEMPT))


def _take(seed: int, asked: Kind | None, attempt: int) -> _Take:
    kind: Kind = pick(np.random.default_rng([seed, 5]), KINDS) if asked is None else asked
    scene = SCENES[kind]
    chance = np.random.default_rng([seed, seed_of(asked), attempt, 77])
    device = pick(chance, [device for device in DEVICES if scene.suits(device)])
    meter = pick(chance, [meter for meter in METERS if meter.usable_hz(device)])
    rate_hz = pick(chance, meter.usable_hz(device))
    length_s = _draw_length(chance, device, rate_hz, sleeps=scene.sleeps)
    setting = set_up(kind, Machine(device, chance, boot), length_s)
    connection = connect(setting, np.random.default_rng([seed, 9, attempt]))
    played = play(setting, rate_hz, faulty=is_faulty(kind))
    return _Take(chance, kind, meter, rate_hz, connection.limit_a, played, connection.boots and played.fit)


def _draw_length(chance: np.random.Generator, device: Device, rate_hz: float, *, sleeps: bool) -> float:
    """Draw how long it should get (s): several boots, and long enough to sleep a few times if it ``sleeps``."""
    length_s = device.boot_s * chance.uniform(5, 22) * pick(chance, (0.7, 1, 1.5))
    length_s = clipped(length_s, SHORTEST_S, LONGEST_S)
    if sleeps:
        length_s = max(length_s, min(LONGEST_S, 6 * float(np.mean(device.idle_s))))
    return min(length_s, _MOST_SAMPLES / rate_hz)


def _measure(take: _Take) -> HeldOut:
    played, rate_hz = take.played, take.rate_hz
    machine, happened = played.machine, played.happened
    oversampling = max(2, math.ceil(_FINE_HZ / rate_hz))
    fine_hz = rate_hz * oversampling
    t_s = played.begin_s + np.arange(int(played.length_s * fine_hz)) / fine_hz
    drawn_a = draw_current(machine, take.chance, t_s, fine_hz, take.limit_a)
    readings = read(take.chance, take.meter, rate_hz, drawn_a, oversampling, machine.device.boot_s)
    restarts = tuple((float(restart.begin_s), float(restart.end_s)) for restart in happened.restarts)
    return HeldOut(
        kind=take.kind,
        device=machine.device.family,
        rate_hz=rate_hz,
        held_samples=readings.held_samples,
        t_s=readings.t_s,
        current_a=readings.current_a,
        truth=Truth(onset_s=played.onset_s, restarts=restarts, confusers=(), marks=()),
        seen=seen_restarts(readings, rate_hz, happened),
    )
