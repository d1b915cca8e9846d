"""A position tag behind a converter that works in bursts at light load."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.devices.device import BurstSupply, Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import Bump, Bursts, Periodic, Pink, Profile, Rise, Sawtooth, Telegraph, draw_knots
from wakerail_sim.lifelike.stage import Stage


def draw_burst_supply_tag(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.6, 2) * 0.001
    stretch = log_uniform(chance, 0.6, 1.6)
    off_a = log_uniform(chance, 1e-05, 0.0008)
    reset_a = chance.uniform(2, 5) * unit_a
    inrush = (Inrush("limited", peak_a=chance.uniform(50, 120) * unit_a, length_s=chance.uniform(0.005, 0.02)),)
    burst_supply = BurstSupply(
        limit_a=chance.uniform(14, 30) * unit_a,
        frequency_hz=log_uniform(chance, 40, 400),
        depth=chance.uniform(0.25, 0.85),
    )
    processor_a = chance.uniform(18, 30) * unit_a
    stages = (
        Stage(
            "soft start",
            length_s=chance.uniform(0.01, 0.03),
            level_a=4 * unit_a,
            rise=Rise(height_a=6 * unit_a, begin=0, end=1),
        ),
        Stage("rom", length_s=chance.uniform(0.08, 0.2) * stretch, level_a=chance.uniform(8, 12) * unit_a),
        Stage(
            "load",
            length_s=chance.uniform(0.3, 0.9) * stretch,
            level_a=processor_a,
            sawtooth=Sawtooth(period_s=0.04, height_a=4 * unit_a),
        ),
        Stage(
            "positioning firmware",
            length_s=chance.uniform(0.4, 1) * stretch,
            level_a=processor_a * 1.3,
            profile=Profile("stepped", knots=draw_knots(chance, 8), height_a=3 * unit_a),
        ),
        Stage(
            "scheduler",
            length_s=chance.uniform(0.2, 0.6) * stretch,
            level_a=processor_a * 0.8,
            telegraph=Telegraph(on_s=0.01, off_s=0.02, height_a=5 * unit_a),
        ),
        Stage(
            "acquire",
            length_s=chance.uniform(1.5, 4) * stretch,
            level_a=processor_a * 1.7,
            pink=Pink(deviation_a=0.6 * unit_a),
            periodic=(Periodic(period_s=0.25, width_s=0.05, height_a=6 * unit_a, jitter=0.005),),
            slope=-0.06,
        ),
    )
    modes = Modes(
        idle=Stage(
            "track",
            level_a=chance.uniform(8, 13) * unit_a,
            periodic=(Periodic(period_s=1.0, width_s=0.12, height_a=16 * unit_a, jitter=0.001),),
            pink=Pink(deviation_a=0.2 * unit_a),
        ),
        active=Stage(
            "navigate",
            level_a=processor_a,
            periodic=(Periodic(period_s=1.0, width_s=0.2, height_a=10 * unit_a, jitter=0.001),),
            telegraph=Telegraph(on_s=0.02, off_s=0.1, height_a=4 * unit_a),
        ),
        busy=Stage(
            "report",
            level_a=processor_a * 1.4,
            bursts=Bursts(rate_hz=4, width_s=(0.01, 0.1), height_a=(10 * unit_a, 40 * unit_a)),
            pink=Pink(deviation_a=unit_a),
        ),
        sleep=Stage(
            "sleep",
            level_a=chance.uniform(0.5, 2) * unit_a,
            periodic=(Periodic(period_s=log_uniform(chance, 1, 8), width_s=0.03, height_a=12 * unit_a, jitter=0.003),),
        ),
    )
    resume = Stage("wake", length_s=0.08, level_a=processor_a)
    events = (
        Stage(
            "transmit",
            length_s=1.1,
            bumps=(
                Bump("hump", at=0, width_s=0.2, height_a=20 * unit_a),
                Bump("box", at=0.3, width_s=0.5, height_a=45 * unit_a),
            ),
        ),
        Stage(
            "buzz",
            length_s=0.5,
            bumps=(
                Bump("box", at=0, width_s=0.3, height_a=20 * unit_a),
                Bump("decay", at=0, width_s=0.02, height_a=15 * unit_a),
            ),
        ),
    )
    return Device(
        family="burst-supply-tag",
        traits=traits,
        off_a=off_a,
        reset_a=reset_a,
        inrush=inrush,
        stages=stages,
        modes=modes,
        resume=resume,
        events=events,
        burst_supply=burst_supply,
        recovery=draw_recovery(chance, stages, kept=3),
    )
