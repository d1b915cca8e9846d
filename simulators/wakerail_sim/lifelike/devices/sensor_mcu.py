"""A sensor node: a small controller with a radio that sleeps most of the time."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.devices.device import Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import Bump, Bursts, Decay, Periodic, Pink, Profile, Sawtooth, Telegraph, draw_knots
from wakerail_sim.lifelike.stage import Stage


def draw_sensor_mcu(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.5, 1.8) * 0.001
    stretch = log_uniform(chance, 0.6, 2.2)
    off_a = log_uniform(chance, 2e-06, 0.0003)
    reset_a = chance.uniform(1.5, 6) * unit_a
    processor_a = chance.uniform(12, 16) * unit_a
    inrush = (
        Inrush("capacitor", peak_a=chance.uniform(30, 120) * unit_a, length_s=log_uniform(chance, 0.0004, 0.004)),
    )
    stages = [
        Stage("power-on", length_s=0.012 * stretch, level_a=chance.uniform(2, 5) * unit_a),
        Stage("rom", length_s=0.05 * stretch, level_a=chance.uniform(7, 11) * unit_a),
        Stage(
            "image check",
            length_s=chance.uniform(0.12, 0.4) * stretch,
            level_a=processor_a,
            sawtooth=Sawtooth(period_s=chance.uniform(0.008, 0.03), height_a=chance.uniform(3, 7) * unit_a),
            profile=Profile("linear", knots=draw_knots(chance, 7), height_a=0.8 * unit_a),
        ),
        Stage(
            "system start",
            length_s=chance.uniform(0.12, 0.35) * stretch,
            level_a=processor_a + 2 * unit_a,
            profile=Profile("stepped", knots=draw_knots(chance, 12), height_a=1.2 * unit_a),
            telegraph=Telegraph(on_s=0.004, off_s=0.01, height_a=2 * unit_a),
        ),
        Stage(
            "radio calibration",
            length_s=chance.uniform(0.015, 0.05) * stretch,
            level_a=chance.uniform(28, 40) * unit_a,
            bumps=(Bump("box", at=0.4, width_s=0.004, height_a=-6 * unit_a),),
        ),
        Stage(
            "sensor warm",
            length_s=chance.uniform(0.08, 0.3) * stretch,
            level_a=processor_a + chance.uniform(-4, 4) * unit_a,
            decay=Decay(height_a=3 * unit_a, tau_s=0.03),
            profile=Profile("linear", knots=draw_knots(chance, 5, smooth=True), height_a=unit_a),
        ),
    ]
    if chance.random() < 0.5:
        stages.append(
            Stage(
                "join",
                length_s=chance.uniform(0.3, 1.2) * stretch,
                level_a=chance.uniform(22, 28) * unit_a,
                periodic=(
                    Periodic(period_s=chance.uniform(0.05, 0.15), width_s=0.004, height_a=10 * unit_a, jitter=0.1),
                ),
            )
        )
    radio_a = chance.uniform(20, 30) * unit_a
    modes = Modes(
        idle=Stage(
            "receive",
            level_a=radio_a,
            pink=Pink(deviation_a=0.15 * unit_a),
            bursts=Bursts(rate_hz=1.5, width_s=(0.002, 0.006), height_a=(3 * unit_a, 8 * unit_a)),
            periodic=(Periodic(period_s=log_uniform(chance, 0.5, 3), width_s=0.006, height_a=6 * unit_a, jitter=0.01),),
        ),
        active=Stage(
            "work",
            level_a=radio_a * 0.8,
            telegraph=Telegraph(on_s=0.02, off_s=0.06, height_a=6 * unit_a),
            pink=Pink(deviation_a=0.3 * unit_a),
        ),
        busy=Stage(
            "transmit",
            level_a=radio_a,
            periodic=(Periodic(period_s=chance.uniform(0.08, 0.3), width_s=0.02, height_a=12 * unit_a, jitter=0.02),),
            pink=Pink(deviation_a=0.3 * unit_a),
        ),
        sleep=Stage(
            "sleep",
            level_a=chance.uniform(0.1, 4) * unit_a,
            periodic=(
                Periodic(period_s=log_uniform(chance, 0.12, 2), width_s=0.005, height_a=15 * unit_a, jitter=0.003),
                Periodic(period_s=log_uniform(chance, 3, 20), width_s=0.03, height_a=26 * unit_a, jitter=0.01),
            ),
        ),
    )
    resume = Stage("wake", length_s=0.02, level_a=processor_a)
    events = (
        Stage(
            "transmit",
            length_s=0.12,
            bumps=(
                Bump("box", at=0, width_s=0.02, height_a=processor_a),
                Bump("box", at=0.2, width_s=0.06, height_a=18 * unit_a),
                Bump("box", at=0.75, width_s=0.02, height_a=8 * unit_a),
            ),
        ),
        Stage(
            "measure",
            length_s=0.6,
            bumps=(
                Bump("box", at=0, width_s=0.5, height_a=5 * unit_a),
                Bump("hump", at=0.3, width_s=0.2, height_a=6 * unit_a),
            ),
        ),
    )
    return Device(
        family="sensor-mcu",
        traits=traits,
        off_a=off_a,
        reset_a=reset_a,
        inrush=inrush,
        stages=tuple(stages),
        modes=modes,
        resume=resume,
        events=events,
        recovery=draw_recovery(chance, stages, kept=3),
    )
