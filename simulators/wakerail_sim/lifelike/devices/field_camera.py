"""A camera: a lens on a stepping motor, a sensor, a flash to charge."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.devices.device import Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import (
    Bump,
    Bursts,
    Decay,
    Frames,
    Periodic,
    Pink,
    Profile,
    Rise,
    Sawtooth,
    draw_bumps,
    draw_knots,
)
from wakerail_sim.lifelike.stage import Stage


def draw_field_camera(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.6, 1.6)
    stretch = log_uniform(chance, 0.6, 1.5)
    off_a = log_uniform(chance, 2e-05, 0.002)
    reset_a = chance.uniform(0.01, 0.05) * unit_a
    processor_a = chance.uniform(0.2, 0.32) * unit_a
    inrush = (
        Inrush("limited", peak_a=chance.uniform(0.5, 1.3) * unit_a, length_s=chance.uniform(0.003, 0.015)),
        Inrush("second-rail", peak_a=0.4 * unit_a, length_s=0.003),
    )
    steps = int(chance.integers(10, 26))
    lens_s = chance.uniform(0.5, 1.2)
    stages = (
        Stage("rom", length_s=chance.uniform(0.05, 0.15), level_a=0.06 * unit_a),
        Stage(
            "firmware",
            length_s=chance.uniform(0.2, 0.7) * stretch,
            level_a=chance.uniform(0.12, 0.17) * unit_a,
            sawtooth=Sawtooth(period_s=0.03, height_a=0.03 * unit_a),
            slope=0.05,
        ),
        Stage(
            "lens out",
            length_s=lens_s,
            level_a=processor_a * 0.7,
            bumps=tuple(
                Bump(
                    "saw",
                    at=step / steps,
                    width_s=lens_s / steps * 0.6,
                    height_a=0.16 * unit_a * (1.5 if step == 0 else 1),
                )
                for step in range(steps)
            ),
        ),
        Stage(
            "sensor on",
            length_s=chance.uniform(0.15, 0.4),
            level_a=processor_a * 0.9,
            profile=Profile("stepped", knots=draw_knots(chance, 5), height_a=0.04 * unit_a),
        ),
        Stage(
            "panel",
            length_s=chance.uniform(0.2, 0.5),
            level_a=processor_a,
            rise=Rise(height_a=0.1 * unit_a, begin=0, end=0.8),
        ),
        Stage(
            "flash charge",
            length_s=chance.uniform(0.8, 2.5),
            level_a=processor_a + 0.12 * unit_a + 0.22 * unit_a,
            slope=-0.1,
            periodic=(Periodic(period_s=0.02, width_s=0.008, height_a=0.05 * unit_a, jitter=0.02),),
        ),
        Stage(
            "live start",
            length_s=chance.uniform(0.3, 0.9) * stretch,
            level_a=processor_a + 0.12 * unit_a,
            decay=Decay(height_a=0.1 * unit_a, tau_s=0.3),
            frames=Frames(height_a=0.06 * unit_a),
        ),
    )
    modes = Modes(
        idle=Stage(
            "live",
            level_a=processor_a + 0.1 * unit_a,
            frames=Frames(height_a=0.06 * unit_a),
            pink=Pink(deviation_a=0.006 * unit_a),
        ),
        active=Stage(
            "focus",
            level_a=processor_a + 0.12 * unit_a,
            frames=Frames(height_a=0.07 * unit_a),
            bursts=Bursts(rate_hz=2, width_s=(0.03, 0.12), height_a=(0.04 * unit_a, 0.14 * unit_a)),
            pink=Pink(deviation_a=0.01 * unit_a),
        ),
        busy=Stage(
            "film",
            level_a=processor_a + 0.22 * unit_a,
            periodic=(Periodic(period_s=1 / 30, width_s=0.018, height_a=0.12 * unit_a, jitter=0.01),),
            sawtooth=Sawtooth(period_s=1.1, height_a=0.03 * unit_a),
            pink=Pink(deviation_a=0.01 * unit_a),
        ),
        sleep=Stage(
            "doze",
            level_a=chance.uniform(0.01, 0.03) * unit_a,
            periodic=(
                Periodic(period_s=log_uniform(chance, 0.5, 3), width_s=0.006, height_a=0.03 * unit_a, jitter=0.02),
            ),
        ),
    )
    resume = Stage("wake", length_s=0.35, level_a=processor_a)
    events = (
        Stage(
            "shot",
            length_s=3.2,
            bumps=(
                Bump("hump", at=0, width_s=0.12, height_a=0.1 * unit_a),
                Bump("decay", at=0.05, width_s=0.03, height_a=0.35 * unit_a),
                Bump("box", at=0.08, width_s=0.5, height_a=0.13 * unit_a),
                Bump("saw", at=0.15, width_s=chance.uniform(0.9, 2.2), height_a=0.26 * unit_a),
            ),
        ),
        Stage(
            "zoom",
            length_s=1.2,
            bumps=tuple(Bump("saw", at=step / 14, width_s=0.05, height_a=0.15 * unit_a) for step in range(12)),
        ),
        Stage(
            "app start",
            length_s=1.5,
            bumps=(
                Bump("box", at=0, width_s=0.5, height_a=0.12 * unit_a),
                Bump("hump", at=0.4, width_s=0.4, height_a=0.1 * unit_a),
                *draw_bumps(chance, 4, width_s=(0.01, 0.05), height_a=(0.03 * unit_a, 0.1 * unit_a)),
            ),
        ),
    )
    return Device(
        family="field-camera",
        traits=traits,
        off_a=off_a,
        reset_a=reset_a,
        inrush=inrush,
        stages=stages,
        modes=modes,
        resume=resume,
        events=events,
        light_a=0.1 * unit_a,
        recovery=draw_recovery(chance, stages, kept=2),
    )
