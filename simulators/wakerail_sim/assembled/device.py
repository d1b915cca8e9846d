"""Draws a device: its parts, in what order a boot and a wake-up call them up, and when each comes and goes in use."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wakerail_sim.assembled.source import Source, draw_source
from wakerail_sim.draws import log_uniform
from wakerail_sim.noise import Floats

_FEWEST_PARTS, _MOST_PARTS = 2, 7
_FEWEST_WORKS, _MOST_WORKS = 1, 5


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A part of a device: called up so long after a boot began or the device woke (s); in a boot always, or never.

    In use it is on for about ``on_s`` and off for about ``away_s``, evenly if it is ``timed``; ``away_s`` is 0 for one
    that stays on.
    """

    source: Source
    in_boot: bool
    booted_s: float
    woken_s: float
    on_s: float
    away_s: float
    timed: bool
    on_asleep: bool


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """What a boot does once: it begins and ends so long after the boot began (s)."""

    source: Source
    begin_s: float
    end_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Device:
    """What a device is made of, and what it draws without any of it.

    ``core`` is on whenever the device runs, ``asleep`` in its place while it sleeps. ``load`` is what it can just bear.
    ``pace`` and ``haste`` are by how much (natural log) a whole boot and each of its steps differ from run to run.
    """

    boot_s: float
    core: Source
    asleep: Source
    parts: tuple[Part, ...]
    works: tuple[Work, ...]
    load: Source
    level_a: float
    standing_a: float
    off_a: float
    reset_a: float
    lag_s: float
    inrush_a: float
    pace: float
    haste: float


def draw_device(chance: np.random.Generator, boot_s: float, length_s: float) -> Device:
    """Draw a device that boots in about that time."""
    level_a = log_uniform(chance, 5e-3, 3.0)
    count = int(chance.integers(_FEWEST_PARTS, _MOST_PARTS + 1))
    shares = chance.dirichlet(np.full(count + 1, 1.2))
    core = draw_source(chance, level_a * max(0.08, shares[0]), 0.3 * boot_s)
    asleep = draw_source(chance, level_a * log_uniform(chance, 2e-3, 0.15), 0.3 * boot_s)
    standing_a = level_a * (log_uniform(chance, 1e-5, 0.03) if chance.random() < 0.7 else 0.0)
    return Device(
        boot_s=boot_s,
        core=core,
        asleep=asleep,
        parts=tuple(_draw_part(chance, level_a * share, boot_s, length_s) for share in shares[1:]),
        works=_draw_works(chance, level_a, boot_s),
        load=draw_source(chance, level_a * log_uniform(chance, 0.3, 2), 0.2 * boot_s),
        level_a=level_a,
        standing_a=standing_a,
        off_a=standing_a * chance.uniform(0, 1),
        reset_a=core.level_a * log_uniform(chance, 0.1, 1),
        lag_s=boot_s * (log_uniform(chance, 1e-4, 0.01) if chance.random() < 0.5 else 0.0),
        inrush_a=level_a * (log_uniform(chance, 0.3, 5) if chance.random() < 0.3 else 0.0),
        pace=log_uniform(chance, 1e-3, 0.06),
        haste=log_uniform(chance, 1e-3, 0.06),
    )


def _draw_part(chance: np.random.Generator, level_a: float, boot_s: float, length_s: float) -> Part:
    spell_s = log_uniform(chance, 0.2 * boot_s, max(0.3 * boot_s, 0.3 * length_s))
    return Part(
        source=draw_source(chance, level_a, 0.2 * boot_s),
        in_boot=bool(chance.random() < 0.75),
        booted_s=boot_s * chance.uniform(0.03, 0.95),
        woken_s=boot_s * chance.uniform(0, 0.2),
        on_s=spell_s,
        away_s=spell_s * log_uniform(chance, 0.1, 8) if chance.random() < 0.6 else 0.0,
        timed=bool(chance.random() < 0.3),
        on_asleep=bool(chance.random() < 0.1),
    )


def _draw_works(chance: np.random.Generator, level_a: float, boot_s: float) -> tuple[Work, ...]:
    """Draw what a boot does once, one after the other with pauses, or beside one another."""
    edges_s: Floats = boot_s * np.sort(chance.uniform(0, 1, 2 * int(chance.integers(_FEWEST_WORKS, _MOST_WORKS + 1))))
    if chance.random() < 0.6:
        edges_s[0] = 0.0
    works = []
    for begin_s, end_s in edges_s.reshape(-1, 2).tolist():
        source = draw_source(chance, level_a * log_uniform(chance, 0.1, 1), end_s - begin_s)
        works.append(Work(source, begin_s, end_s))
    return tuple(works)
