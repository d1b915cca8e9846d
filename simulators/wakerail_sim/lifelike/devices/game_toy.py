"""A game toy: cartridges, a lit screen, sound."""

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


def draw_game_toy(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.6, 1.6)
    stretch = log_uniform(chance, 0.6, 1.6)
    off_a = log_uniform(chance, 1e-06, 0.001)
    reset_a = chance.uniform(0.012, 0.04) * unit_a
    inrush = (Inrush("limited", peak_a=chance.uniform(0.3, 0.9) * unit_a, length_s=chance.uniform(0.002, 0.01)),)
    processor_a = chance.uniform(0.06, 0.1) * unit_a
    light_a = chance.uniform(0.04, 0.09) * unit_a
    stages = (
        Stage("rom", length_s=chance.uniform(0.04, 0.15), level_a=0.03 * unit_a),
        Stage(
            "cartridge check",
            length_s=chance.uniform(0.2, 0.6) * stretch,
            level_a=processor_a * 0.8,
            sawtooth=Sawtooth(period_s=0.025, height_a=0.015 * unit_a),
            profile=Profile("stepped", knots=draw_knots(chance, 5), height_a=0.006 * unit_a),
        ),
        Stage(
            "screen",
            length_s=chance.uniform(0.15, 0.4),
            level_a=processor_a,
            rise=Rise(height_a=light_a, begin=0, end=0.6),
        ),
        Stage(
            "jingle",
            length_s=chance.uniform(1.0, 2.4),
            level_a=processor_a + light_a,
            bumps=tuple(
                Bump("decay", at=k / 6, width_s=0.12, height_a=chance.uniform(0.02, 0.06) * unit_a) for k in range(5)
            ),
            frames=Frames(height_a=0.015 * unit_a),
        ),
        Stage(
            "load",
            length_s=chance.uniform(0.6, 2.5) * stretch,
            level_a=processor_a * 1.4 + light_a,
            sawtooth=Sawtooth(period_s=0.17, height_a=0.03 * unit_a),
            slope=0.05,
        ),
        Stage(
            "menu in",
            length_s=chance.uniform(0.5, 1.2),
            level_a=processor_a + light_a,
            decay=Decay(height_a=0.05 * unit_a, tau_s=0.3),
            frames=Frames(height_a=0.03 * unit_a),
        ),
    )
    idle_a = processor_a + light_a
    modes = Modes(
        idle=Stage(
            "menu", level_a=idle_a, frames=Frames(height_a=0.02 * unit_a), pink=Pink(deviation_a=0.002 * unit_a)
        ),
        active=Stage(
            "play",
            level_a=idle_a * 1.15,
            frames=Frames(height_a=0.05 * unit_a),
            pink=Pink(deviation_a=0.01 * unit_a),
            bursts=Bursts(rate_hz=3, width_s=(0.03, 0.2), height_a=(0.01 * unit_a, 0.05 * unit_a)),
        ),
        busy=Stage(
            "play hard",
            level_a=idle_a * 1.4,
            frames=Frames(height_a=0.06 * unit_a),
            pink=Pink(deviation_a=0.015 * unit_a),
            bursts=Bursts(rate_hz=5, width_s=(0.03, 0.2), height_a=(0.01 * unit_a, 0.06 * unit_a)),
        ),
        sleep=Stage(
            "sleep",
            level_a=chance.uniform(0.002, 0.01) * unit_a,
            periodic=(Periodic(period_s=2.0, width_s=0.005, height_a=0.02 * unit_a, jitter=0.001),),
        ),
    )
    resume = Stage("resume", length_s=0.2, level_a=idle_a)
    events = (
        Stage(
            "vibration",
            length_s=0.5,
            bumps=(
                Bump("decay", at=0, width_s=0.03, height_a=0.1 * unit_a),
                Bump("box", at=0, width_s=0.35, height_a=0.07 * unit_a),
            ),
        ),
        Stage(
            "speaker",
            length_s=2,
            level_a=0.02 * unit_a,
            bursts=Bursts(rate_hz=9, width_s=(0.03, 0.2), height_a=(0.02 * unit_a, 0.08 * unit_a)),
        ),
        Stage(
            "app start",
            length_s=1.6,
            bumps=(
                Bump("box", at=0, width_s=1.1, height_a=0.05 * unit_a),
                Bump("hump", at=0.05, width_s=0.5, height_a=0.05 * unit_a),
                *draw_bumps(chance, 4, width_s=(0.02, 0.08), height_a=(0.02 * unit_a, 0.05 * unit_a)),
            ),
        ),
    )
    return Device(
        family="game-toy",
        traits=traits,
        off_a=off_a,
        reset_a=reset_a,
        inrush=inrush,
        stages=stages,
        modes=modes,
        resume=resume,
        events=events,
        light_a=light_a,
        recovery=draw_recovery(chance, stages, kept=2),
    )
