"""A router with beacons, which waits a while for a key before it boots."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import log_uniform, pick
from wakerail_sim.lifelike.devices.device import Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import (
    Bump,
    Bursts,
    Cores,
    Decay,
    Periodic,
    Pink,
    Profile,
    Sawtooth,
    Telegraph,
    draw_bumps,
    draw_knots,
)
from wakerail_sim.lifelike.stage import Stage


def draw_pocket_router(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.6, 1.5)
    stretch = log_uniform(chance, 0.5, 1.3)
    off_a = log_uniform(chance, 1e-05, 0.005)
    reset_a = chance.uniform(0.06, 0.14) * unit_a
    processor_a = chance.uniform(0.22, 0.3) * unit_a
    inrush = (Inrush("capacitor", peak_a=chance.uniform(1.0, 2.5) * unit_a, length_s=chance.uniform(0.001, 0.006)),)
    stages = (
        Stage("rom", length_s=chance.uniform(0.1, 0.3), level_a=0.12 * unit_a),
        Stage(
            "memory",
            length_s=chance.uniform(0.1, 0.4),
            level_a=0.2 * unit_a,
            sawtooth=Sawtooth(period_s=0.04, height_a=0.03 * unit_a),
        ),
        Stage(
            "countdown",
            length_s=pick(chance, (1.0, 2.0, 3.0, 5.0)),
            level_a=chance.uniform(0.15, 0.19) * unit_a,
            periodic=(Periodic(period_s=1.0, width_s=0.012, height_a=0.02 * unit_a, jitter=0.0005),),
        ),
        Stage(
            "unpack",
            length_s=chance.uniform(1.5, 4) * stretch,
            level_a=processor_a,
            sawtooth=Sawtooth(period_s=0.21, height_a=0.035 * unit_a),
        ),
        Stage(
            "kernel",
            length_s=chance.uniform(2, 5) * stretch,
            level_a=processor_a * 0.92,
            cores=Cores(count=1, height_a=0.06 * unit_a, on_s=0.05, off_s=0.05),
            profile=Profile("stepped", knots=draw_knots(chance, 16), height_a=0.025 * unit_a),
        ),
        Stage(
            "ports",
            length_s=chance.uniform(0.6, 1.6),
            level_a=processor_a * 1.05,
            profile=Profile("stepped", knots=(0, 1, 2, 3, 4), height_a=0.02 * unit_a),
        ),
        Stage(
            "overlay",
            length_s=chance.uniform(1.5, 6) * stretch,
            level_a=processor_a * 1.1,
            cores=Cores(count=1, height_a=0.07 * unit_a, on_s=0.25, off_s=0.08),
            bursts=Bursts(rate_hz=4, width_s=(0.01, 0.05), height_a=(0.02 * unit_a, 0.08 * unit_a)),
        ),
        Stage(
            "radio calibration",
            length_s=chance.uniform(1, 3),
            level_a=processor_a * 1.15,
            bumps=draw_bumps(chance, 7, width_s=(0.03, 0.2), height_a=(0.06 * unit_a, 0.3 * unit_a)),
        ),
        Stage(
            "services",
            length_s=chance.uniform(3, 9) * stretch,
            level_a=processor_a * 1.3,
            decay=Decay(height_a=0.06 * unit_a, tau_s=2),
            cores=Cores(count=1, height_a=0.08 * unit_a, on_s=0.12, off_s=0.15),
            periodic=(Periodic(period_s=0.1024, width_s=0.003, height_a=0.12 * unit_a, jitter=0.002),),
        ),
    )
    idle_a = processor_a * 1.25
    modes = Modes(
        idle=Stage(
            "idle",
            level_a=idle_a,
            periodic=(Periodic(period_s=0.1024, width_s=0.003, height_a=0.12 * unit_a, jitter=0.001),),
            cores=Cores(count=1, height_a=0.06 * unit_a, on_s=0.02, off_s=0.4),
            pink=Pink(deviation_a=0.004 * unit_a),
        ),
        active=Stage(
            "traffic",
            level_a=idle_a * 1.05,
            periodic=(Periodic(period_s=0.1024, width_s=0.003, height_a=0.12 * unit_a, jitter=0.001),),
            telegraph=Telegraph(on_s=0.01, off_s=0.03, height_a=0.1 * unit_a),
            cores=Cores(count=1, height_a=0.07 * unit_a, on_s=0.05, off_s=0.15),
            pink=Pink(deviation_a=0.012 * unit_a),
        ),
        busy=Stage(
            "load",
            level_a=idle_a * 1.15,
            telegraph=Telegraph(on_s=0.03, off_s=0.01, height_a=0.12 * unit_a),
            cores=Cores(count=1, height_a=0.08 * unit_a, on_s=0.4, off_s=0.06),
            pink=Pink(deviation_a=0.02 * unit_a),
        ),
        sleep=Stage(
            "economy",
            level_a=processor_a * 0.6,
            periodic=(Periodic(period_s=0.3072, width_s=0.003, height_a=0.1 * unit_a, jitter=0.001),),
        ),
    )
    resume = Stage(
        "radio on",
        length_s=0.8,
        level_a=processor_a,
        bumps=draw_bumps(chance, 4, width_s=(0.02, 0.1), height_a=(0.05 * unit_a, 0.2 * unit_a)),
    )
    events = (
        Stage(
            "scan",
            length_s=2,
            level_a=0.03 * unit_a,
            bumps=draw_bumps(chance, 11, width_s=(0.03, 0.12), height_a=(0.06 * unit_a, 0.2 * unit_a)),
        ),
        Stage(
            "app start",
            length_s=1.6,
            bumps=(
                Bump("box", at=0, width_s=0.8, height_a=0.08 * unit_a),
                Bump("hump", at=0.3, width_s=0.5, height_a=0.05 * unit_a),
                *draw_bumps(chance, 4, width_s=(0.02, 0.1), height_a=(0.02 * unit_a, 0.07 * unit_a)),
            ),
        ),
        Stage(
            "stick",
            length_s=chance.uniform(3, 10),
            level_a=0.09 * unit_a,
            decay=Decay(height_a=0.2 * unit_a, tau_s=0.01),
            bursts=Bursts(rate_hz=6, width_s=(0.01, 0.06), height_a=(0.02 * unit_a, 0.08 * unit_a)),
        ),
    )
    return Device(
        family="pocket-router",
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
