"""A logger on a linear supply, with a resistive part that draws whenever power is there."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.devices.device import Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import Bump, Bursts, Decay, Periodic, Pink, Telegraph, draw_bumps
from wakerail_sim.lifelike.stage import Stage


def draw_linear_logger(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.5, 1.8) * 0.001
    stretch = log_uniform(chance, 0.6, 2)
    resistive_a = chance.uniform(8, 25) * unit_a
    off_a = log_uniform(chance, 0.02, 1.0) * unit_a
    reset_a = resistive_a + chance.uniform(1, 3) * unit_a
    inrush = (Inrush("capacitor", peak_a=chance.uniform(60, 200) * unit_a, length_s=log_uniform(chance, 0.003, 0.03)),)
    processor_a = chance.uniform(9, 16) * unit_a
    stages = (
        Stage("power-on", length_s=0.03 * stretch, level_a=resistive_a + 1.5 * unit_a, settle_s=0.004),
        Stage(
            "self test",
            length_s=chance.uniform(0.3, 0.7) * stretch,
            level_a=resistive_a + processor_a,
            bumps=(
                Bump("box", at=0.1, width_s=0.08, height_a=8 * unit_a),
                Bump("box", at=0.4, width_s=0.08, height_a=8 * unit_a),
                Bump("box", at=0.7, width_s=0.08, height_a=8 * unit_a),
            ),
        ),
        Stage(
            "card",
            length_s=chance.uniform(0.4, 1.2) * stretch,
            level_a=resistive_a + processor_a * 0.9,
            bursts=Bursts(rate_hz=10, width_s=(0.005, 0.04), height_a=(6 * unit_a, 25 * unit_a)),
            bumps=draw_bumps(chance, 5, width_s=(0.01, 0.05), height_a=(8 * unit_a, 30 * unit_a)),
        ),
        Stage(
            "converter settling",
            length_s=chance.uniform(0.5, 1.5) * stretch,
            level_a=resistive_a + processor_a * 0.6,
            decay=Decay(height_a=6 * unit_a, tau_s=0.25),
        ),
        Stage(
            "lamp test",
            length_s=chance.uniform(0.3, 0.8),
            level_a=resistive_a + processor_a * 0.6 + chance.uniform(8, 20) * unit_a,
        ),
    )
    idle_a = resistive_a + processor_a * 0.5
    modes = Modes(
        idle=Stage(
            "log",
            level_a=idle_a,
            periodic=(Periodic(period_s=1.0, width_s=0.02, height_a=5 * unit_a, jitter=0.0005),),
            pink=Pink(deviation_a=0.1 * unit_a),
        ),
        active=Stage(
            "log fast",
            level_a=idle_a + 2 * unit_a,
            periodic=(Periodic(period_s=0.1, width_s=0.012, height_a=6 * unit_a, jitter=0.001),),
            bursts=Bursts(rate_hz=0.3, width_s=(0.03, 0.2), height_a=(8 * unit_a, 25 * unit_a)),
        ),
        busy=Stage(
            "dump", level_a=idle_a + 5 * unit_a, telegraph=Telegraph(on_s=0.05, off_s=0.04, height_a=12 * unit_a)
        ),
        sleep=Stage(
            "low",
            level_a=resistive_a + 0.4 * unit_a,
            periodic=(Periodic(period_s=log_uniform(chance, 1, 6), width_s=0.02, height_a=processor_a, jitter=0.001),),
        ),
    )
    resume = Stage("wake", length_s=0.03, level_a=resistive_a + processor_a)
    events = (
        Stage(
            "card", length_s=0.5, bumps=draw_bumps(chance, 5, width_s=(0.02, 0.1), height_a=(10 * unit_a, 28 * unit_a))
        ),
        Stage("lamp", length_s=chance.uniform(1, 5), level_a=chance.uniform(8, 18) * unit_a),
    )
    return Device(
        family="linear-logger",
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
