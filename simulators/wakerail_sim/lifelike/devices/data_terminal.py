"""A data terminal: one core, a panel with a light, a radio."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.devices.device import Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import (
    Bump,
    Bursts,
    Cores,
    Decay,
    Periodic,
    Pink,
    Profile,
    Pwm,
    Rise,
    Sawtooth,
    draw_bumps,
    draw_knots,
)
from wakerail_sim.lifelike.stage import Stage


def draw_data_terminal(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.6, 1.6)
    stretch = log_uniform(chance, 0.5, 1.8)
    off_a = log_uniform(chance, 5e-05, 0.003)
    reset_a = chance.uniform(0.01, 0.04) * unit_a
    processor_a = chance.uniform(0.1, 0.16) * unit_a
    light_a = chance.uniform(0.06, 0.16) * unit_a
    inrush = (Inrush("limited", peak_a=chance.uniform(0.25, 0.6) * unit_a, length_s=chance.uniform(0.004, 0.02)),)
    stages = (
        Stage("rom", length_s=chance.uniform(0.06, 0.2), level_a=0.035 * unit_a),
        Stage(
            "loader",
            length_s=chance.uniform(0.4, 1.0) * stretch,
            level_a=chance.uniform(0.06, 0.09) * unit_a,
            profile=Profile("stepped", knots=draw_knots(chance, 9), height_a=0.008 * unit_a),
            bumps=draw_bumps(chance, 3, width_s=(0.01, 0.06), height_a=(0.01 * unit_a, 0.04 * unit_a)),
        ),
        Stage(
            "memory",
            length_s=chance.uniform(0.1, 0.3),
            level_a=chance.uniform(0.11, 0.15) * unit_a,
            sawtooth=Sawtooth(period_s=0.02, height_a=0.015 * unit_a),
        ),
        Stage(
            "unpack",
            length_s=chance.uniform(0.7, 2.0) * stretch,
            level_a=processor_a,
            sawtooth=Sawtooth(period_s=chance.uniform(0.05, 0.15), height_a=0.03 * unit_a),
            slope=0.05,
        ),
        Stage(
            "kernel",
            length_s=chance.uniform(0.8, 2.2) * stretch,
            level_a=processor_a * chance.uniform(0.8, 1.1),
            profile=Profile("stepped", knots=draw_knots(chance, 18), height_a=0.02 * unit_a),
            cores=Cores(count=1, height_a=0.03 * unit_a, on_s=0.02, off_s=0.05),
            bursts=Bursts(rate_hz=6, width_s=(0.004, 0.03), height_a=(0.02 * unit_a, 0.07 * unit_a)),
        ),
        Stage(
            "panel",
            length_s=chance.uniform(0.3, 0.7),
            level_a=processor_a + 0.02 * unit_a,
            rise=Rise(height_a=light_a, begin=0.1, end=0.9),
            bumps=draw_bumps(chance, 2, width_s=(0.02, 0.05), height_a=(0.02 * unit_a, 0.05 * unit_a)),
        ),
        Stage(
            "radio firmware",
            length_s=chance.uniform(0.5, 1.2) * stretch,
            level_a=processor_a + light_a,
            profile=Profile("linear", knots=draw_knots(chance, 8), height_a=0.02 * unit_a),
            bumps=draw_bumps(chance, 4, width_s=(0.02, 0.08), height_a=(0.05 * unit_a, 0.18 * unit_a)),
            bursts=Bursts(rate_hz=4, width_s=(0.005, 0.03), height_a=(0.02 * unit_a, 0.06 * unit_a)),
        ),
        Stage(
            "application",
            length_s=chance.uniform(1, 3) * stretch,
            level_a=processor_a * 0.85 + light_a,
            decay=Decay(height_a=0.05 * unit_a, tau_s=0.8),
            cores=Cores(count=1, height_a=0.06 * unit_a, on_s=0.06, off_s=0.1),
            pink=Pink(deviation_a=0.006 * unit_a),
        ),
    )
    backlight = None
    if chance.random() >= 0.5:
        backlight = Pwm(frequency_hz=chance.uniform(190, 420), duty=chance.uniform(0.4, 0.8), height_a=light_a * 0.6)
    idle_a = processor_a * 0.55 + light_a * (0.6 if backlight else 1)
    modes = Modes(
        idle=Stage(
            "idle",
            level_a=idle_a,
            cores=Cores(count=1, height_a=0.03 * unit_a, on_s=0.02, off_s=0.4),
            pink=Pink(deviation_a=0.003 * unit_a),
            periodic=(
                Periodic(period_s=chance.uniform(0.1, 0.31), width_s=0.004, height_a=0.05 * unit_a, jitter=0.01),
            ),
            pwm=backlight,
        ),
        active=Stage(
            "active",
            level_a=idle_a * 1.1,
            cores=Cores(count=1, height_a=0.06 * unit_a, on_s=0.05, off_s=0.12),
            pink=Pink(deviation_a=0.006 * unit_a),
            bursts=Bursts(rate_hz=3, width_s=(0.01, 0.05), height_a=(0.03 * unit_a, 0.1 * unit_a)),
            pwm=backlight,
        ),
        busy=Stage(
            "busy",
            level_a=idle_a * 1.4,
            cores=Cores(count=1, height_a=0.05 * unit_a, on_s=0.3, off_s=0.1),
            pink=Pink(deviation_a=0.01 * unit_a),
            pwm=backlight,
        ),
        sleep=Stage(
            "suspend",
            level_a=chance.uniform(0.004, 0.02) * unit_a,
            periodic=(
                Periodic(period_s=log_uniform(chance, 0.3, 3), width_s=0.012, height_a=0.06 * unit_a, jitter=0.01),
            ),
        ),
    )
    resume = Stage(
        "resume",
        length_s=chance.uniform(0.25, 0.6),
        level_a=processor_a * 0.9,
        rise=Rise(height_a=light_a * 0.6, begin=0.5, end=1),
        bumps=draw_bumps(chance, 2, width_s=(0.02, 0.05), height_a=(0.03 * unit_a, 0.1 * unit_a)),
    )
    events = (
        Stage(
            "scan",
            length_s=1.2,
            bumps=(
                Bump("box", at=0, width_s=chance.uniform(0.2, 0.7), height_a=0.15 * unit_a),
                Bump("hump", at=0.1, width_s=0.15, height_a=0.08 * unit_a),
                Bump("box", at=0.6, width_s=0.09, height_a=0.06 * unit_a),
            ),
        ),
        Stage(
            "app start",
            length_s=1.5,
            bumps=(
                Bump("box", at=0, width_s=0.3, height_a=0.07 * unit_a),
                Bump("hump", at=0.25, width_s=0.5, height_a=0.09 * unit_a),
                Bump("decay", at=0.6, width_s=0.1, height_a=0.1 * unit_a),
                *draw_bumps(chance, 4, width_s=(0.01, 0.06), height_a=(0.02 * unit_a, 0.07 * unit_a)),
            ),
        ),
        Stage(
            "transmit",
            length_s=0.5,
            bumps=draw_bumps(chance, 5, width_s=(0.005, 0.05), height_a=(0.08 * unit_a, 0.22 * unit_a)),
        ),
        Stage(
            "vibration",
            length_s=0.4,
            bumps=(
                Bump("decay", at=0, width_s=0.03, height_a=0.09 * unit_a),
                Bump("box", at=0, width_s=0.3, height_a=0.07 * unit_a),
            ),
        ),
    )
    return Device(
        family="data-terminal",
        traits=traits,
        off_a=off_a,
        reset_a=reset_a,
        inrush=inrush,
        stages=stages,
        modes=modes,
        resume=resume,
        events=events,
        light_a=light_a,
        recovery=draw_recovery(chance, stages, kept=3),
    )
