"""A reader with an ink panel, which takes power only to change the page."""

from __future__ import annotations

import math

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.devices.device import Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import (
    Bump,
    Bursts,
    Cores,
    Periodic,
    Pink,
    Profile,
    Sawtooth,
    draw_bumps,
    draw_knots,
)
from wakerail_sim.lifelike.stage import Stage


def draw_ink_reader(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.6, 1.6)
    stretch = log_uniform(chance, 0.6, 1.5)
    off_a = log_uniform(chance, 2e-05, 0.0012)
    reset_a = chance.uniform(0.006, 0.03) * unit_a
    processor_a = chance.uniform(0.12, 0.2) * unit_a
    inrush = (Inrush("capacitor", peak_a=chance.uniform(0.3, 0.9) * unit_a, length_s=chance.uniform(0.001, 0.005)),)
    splash_s = chance.uniform(1.2, 2)
    stages = (
        Stage("rom", length_s=chance.uniform(0.1, 0.3), level_a=0.04 * unit_a),
        Stage(
            "loader",
            length_s=chance.uniform(0.3, 1.0) * stretch,
            level_a=0.09 * unit_a,
            profile=Profile("stepped", knots=draw_knots(chance, 8), height_a=0.012 * unit_a),
        ),
        Stage(
            "splash",
            length_s=splash_s,
            level_a=0.1 * unit_a,
            bumps=_refresh(chance, 22, at_s=0.3, of_s=splash_s, lasts_s=0.6, height_a=0.3 * unit_a),
        ),
        Stage(
            "kernel",
            length_s=chance.uniform(1, 3) * stretch,
            level_a=processor_a,
            cores=Cores(count=1, height_a=0.05 * unit_a, on_s=0.05, off_s=0.06),
            profile=Profile("stepped", knots=draw_knots(chance, 14), height_a=0.02 * unit_a),
            bursts=Bursts(rate_hz=7, width_s=(0.003, 0.03), height_a=(0.02 * unit_a, 0.08 * unit_a)),
        ),
        Stage(
            "file system check",
            length_s=chance.uniform(0.5, 2.5) * stretch,
            level_a=processor_a * 0.8,
            sawtooth=Sawtooth(period_s=0.09, height_a=0.04 * unit_a),
            periodic=(Periodic(period_s=0.31, width_s=0.02, height_a=0.06 * unit_a, jitter=0.05),),
        ),
        Stage(
            "library",
            length_s=chance.uniform(1, 4) * stretch,
            level_a=processor_a,
            cores=Cores(count=1, height_a=0.07 * unit_a, on_s=0.2, off_s=0.07),
            pink=Pink(deviation_a=0.008 * unit_a),
            bumps=_refresh(chance, 26, at_s=0.8, of_s=4, lasts_s=0.7, height_a=0.3 * unit_a),
        ),
    )
    modes = Modes(
        idle=Stage(
            "page wait",
            level_a=chance.uniform(0.006, 0.03) * unit_a,
            periodic=(Periodic(period_s=chance.uniform(0.8, 2), width_s=0.008, height_a=0.04 * unit_a, jitter=0.03),),
            bursts=Bursts(rate_hz=0.1, width_s=(0.03, 0.2), height_a=(0.04 * unit_a, 0.1 * unit_a)),
        ),
        active=Stage(
            "reading",
            level_a=processor_a * 0.4,
            cores=Cores(count=1, height_a=0.07 * unit_a, on_s=0.03, off_s=0.25),
            pink=Pink(deviation_a=0.003 * unit_a),
        ),
        busy=Stage(
            "index",
            level_a=processor_a,
            cores=Cores(count=1, height_a=0.07 * unit_a, on_s=0.4, off_s=0.1),
            pink=Pink(deviation_a=0.008 * unit_a),
        ),
        sleep=Stage(
            "sleep",
            level_a=log_uniform(chance, 0.0003, 0.002) * unit_a,
            periodic=(
                Periodic(period_s=log_uniform(chance, 5, 20), width_s=0.05, height_a=0.05 * unit_a, jitter=0.01),
            ),
        ),
    )
    resume = Stage("wake", length_s=0.2, level_a=processor_a * 0.7)
    events = (
        Stage(
            "page",
            length_s=1.4,
            bumps=(
                Bump("hump", at=0, width_s=0.25, height_a=0.1 * unit_a),
                Bump("box", at=0.1, width_s=0.2, height_a=0.06 * unit_a),
                *_refresh(chance, 20, at_s=0.35, of_s=1.4, lasts_s=chance.uniform(0.3, 0.75), height_a=0.28 * unit_a),
            ),
        ),
        Stage(
            "app start",
            length_s=2.2,
            bumps=(
                Bump("box", at=0, width_s=1.0, height_a=0.11 * unit_a),
                *_refresh(chance, 24, at_s=1.1, of_s=2.2, lasts_s=0.7, height_a=0.3 * unit_a),
            ),
        ),
        Stage(
            "sync",
            length_s=3.0,
            level_a=0.06 * unit_a,
            bumps=draw_bumps(chance, 12, width_s=(0.01, 0.1), height_a=(0.05 * unit_a, 0.22 * unit_a)),
        ),
    )
    return Device(
        family="ink-reader",
        traits=traits,
        off_a=off_a,
        reset_a=reset_a,
        inrush=inrush,
        stages=stages,
        modes=modes,
        resume=resume,
        events=events,
        recovery=draw_recovery(chance, stages, kept=3),
    )


def _refresh(
    chance: np.random.Generator, steps: int, *, at_s: float, of_s: float, lasts_s: float, height_a: float
) -> tuple[Bump, ...]:
    """Return the steps of a page change that begins at ``at_s`` of a stage of ``of_s`` and takes ``lasts_s``."""
    step_s = lasts_s / steps
    return tuple(
        Bump(
            "saw",
            at=(at_s + step * step_s) / of_s,
            width_s=step_s * 0.55,
            height_a=height_a * (0.55 + 0.45 * math.sin(3.1 * (step + 0.5) / steps)) * chance.uniform(0.8, 1.1),
        )
        for step in range(steps)
    )
