"""An ear piece: a sound processor and a short-range radio."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.devices.device import Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import (
    Bump,
    Bursts,
    Decay,
    Periodic,
    Pink,
    Profile,
    Sawtooth,
    draw_bumps,
    draw_knots,
)
from wakerail_sim.lifelike.stage import Stage


def draw_ear_piece(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.6, 1.7) * 0.001
    stretch = log_uniform(chance, 0.6, 1.5)
    off_a = log_uniform(chance, 1e-06, 5e-05)
    reset_a = chance.uniform(0.5, 1.5) * unit_a
    inrush = (Inrush("capacitor", peak_a=chance.uniform(25, 70) * unit_a, length_s=log_uniform(chance, 0.0005, 0.003)),)
    radio_a = 6 * unit_a
    stages = (
        Stage("rom", length_s=0.03 * stretch, level_a=3 * unit_a),
        Stage(
            "flash",
            length_s=chance.uniform(0.1, 0.25) * stretch,
            level_a=chance.uniform(5, 7) * unit_a,
            sawtooth=Sawtooth(period_s=0.012, height_a=1.6 * unit_a),
        ),
        Stage(
            "dsp load",
            length_s=chance.uniform(0.15, 0.35) * stretch,
            level_a=chance.uniform(8, 11) * unit_a,
            slope=0.08,
            profile=Profile("stepped", knots=draw_knots(chance, 6), height_a=0.6 * unit_a),
        ),
        Stage(
            "codec",
            length_s=chance.uniform(0.05, 0.12) * stretch,
            level_a=7 * unit_a,
            decay=Decay(height_a=8 * unit_a, tau_s=0.012),
        ),
        Stage(
            "chime",
            length_s=chance.uniform(0.5, 1.1),
            level_a=9 * unit_a,
            bumps=(
                Bump("hump", at=0.05, width_s=0.2, height_a=6 * unit_a),
                Bump("hump", at=0.35, width_s=0.2, height_a=8 * unit_a),
                Bump("hump", at=0.65, width_s=0.25, height_a=7 * unit_a),
            ),
        ),
        Stage(
            "seek peer",
            length_s=chance.uniform(0.4, 1.0) * stretch,
            level_a=radio_a,
            periodic=(Periodic(period_s=0.0225, width_s=0.003, height_a=8 * unit_a, jitter=0.04),),
            bursts=Bursts(rate_hz=6, width_s=(0.005, 0.02), height_a=(2 * unit_a, 6 * unit_a)),
        ),
    )
    modes = Modes(
        idle=Stage(
            "linked",
            level_a=1.4 * unit_a,
            periodic=(Periodic(period_s=chance.uniform(0.09, 0.5), width_s=0.003, height_a=7 * unit_a, jitter=0.003),),
            pink=Pink(deviation_a=0.03 * unit_a),
        ),
        active=Stage(
            "stream",
            level_a=radio_a,
            periodic=(
                Periodic(period_s=chance.uniform(0.0075, 0.02), width_s=0.0025, height_a=6 * unit_a, jitter=0.02),
            ),
            pink=Pink(deviation_a=0.25 * unit_a),
        ),
        busy=Stage(
            "call",
            level_a=radio_a * 1.3,
            periodic=(Periodic(period_s=0.00375 * 2, width_s=0.003, height_a=7 * unit_a, jitter=0.02),),
            pink=Pink(deviation_a=0.35 * unit_a),
        ),
        sleep=Stage(
            "case",
            level_a=log_uniform(chance, 0.02, 0.2) * unit_a,
            periodic=(Periodic(period_s=log_uniform(chance, 1, 4), width_s=0.004, height_a=4 * unit_a, jitter=0.01),),
        ),
    )
    resume = Stage("wake", length_s=0.05, level_a=5 * unit_a)
    events = (
        Stage(
            "prompt",
            length_s=1.0,
            level_a=2 * unit_a,
            bumps=(
                Bump("hump", at=0.1, width_s=0.15, height_a=5 * unit_a),
                Bump("hump", at=0.4, width_s=0.25, height_a=7 * unit_a),
            ),
        ),
        Stage(
            "transmit",
            length_s=0.4,
            level_a=3 * unit_a,
            bumps=draw_bumps(chance, 6, width_s=(0.004, 0.03), height_a=(4 * unit_a, 9 * unit_a)),
        ),
        Stage("lamp", length_s=0.3, bumps=(Bump("box", at=0, width_s=0.1, height_a=3 * unit_a),)),
    )
    return Device(
        family="ear-piece",
        traits=traits,
        off_a=off_a,
        reset_a=reset_a,
        inrush=inrush,
        stages=stages,
        modes=modes,
        resume=resume,
        events=events,
        recovery=draw_recovery(chance, stages, kept=2),
    )
