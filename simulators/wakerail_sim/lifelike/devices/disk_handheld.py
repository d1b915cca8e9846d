"""A handheld with a spinning disk and a fan."""

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
    Sawtooth,
    SpinUp,
    Wobble,
    draw_bumps,
    draw_knots,
)
from wakerail_sim.lifelike.stage import Stage


def draw_disk_handheld(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.7, 1.6)
    stretch = log_uniform(chance, 0.6, 1.5)
    off_a = log_uniform(chance, 0.0002, 0.008)
    reset_a = chance.uniform(0.03, 0.1) * unit_a
    spin_a = chance.uniform(0.5, 0.9) * unit_a
    platter_a = chance.uniform(0.16, 0.28) * unit_a
    processor_a = chance.uniform(0.15, 0.3) * unit_a
    inrush = (Inrush("limited", peak_a=chance.uniform(1.0, 2.0) * unit_a, length_s=chance.uniform(0.004, 0.012)),)
    stages = (
        Stage(
            "rom",
            length_s=chance.uniform(0.15, 0.5),
            level_a=0.1 * unit_a,
            profile=Profile("stepped", knots=draw_knots(chance, 5), height_a=0.02 * unit_a),
        ),
        Stage(
            "selftest",
            length_s=chance.uniform(0.4, 1.2) * stretch,
            level_a=processor_a,
            sawtooth=Sawtooth(period_s=0.13, height_a=0.03 * unit_a),
            bumps=draw_bumps(chance, 3, width_s=(0.03, 0.1), height_a=(0.03 * unit_a, 0.1 * unit_a)),
        ),
        Stage(
            "spin up",
            length_s=chance.uniform(2.2, 4.5),
            level_a=processor_a * 0.7 + platter_a,
            spin_up=SpinUp(height_a=spin_a, tau_s=chance.uniform(1.2, 2.2)),
            wobble=Wobble(period_s=0.008, height_a=0.01 * unit_a),
        ),
        Stage(
            "seek calibration",
            length_s=chance.uniform(0.4, 1),
            level_a=processor_a * 0.7 + platter_a,
            periodic=(
                Periodic(period_s=chance.uniform(0.03, 0.07), width_s=0.009, height_a=0.25 * unit_a, jitter=0.02),
            ),
        ),
        Stage(
            "load",
            length_s=chance.uniform(1.5, 4) * stretch,
            level_a=processor_a + platter_a,
            bursts=Bursts(rate_hz=25, width_s=(0.004, 0.012), height_a=(0.12 * unit_a, 0.3 * unit_a)),
            cores=Cores(count=1, height_a=0.1 * unit_a, on_s=0.04, off_s=0.06),
            profile=Profile("stepped", knots=draw_knots(chance, 10), height_a=0.04 * unit_a),
        ),
        Stage(
            "fan",
            length_s=chance.uniform(0.8, 1.5),
            level_a=processor_a + platter_a + 0.05 * unit_a,
            decay=Decay(height_a=0.15 * unit_a, tau_s=0.35),
            bursts=Bursts(rate_hz=12, width_s=(0.004, 0.012), height_a=(0.1 * unit_a, 0.25 * unit_a)),
        ),
        Stage(
            "desktop",
            length_s=chance.uniform(1.5, 5) * stretch,
            level_a=processor_a * 1.1 + platter_a + 0.06 * unit_a,
            decay=Decay(height_a=0.1 * unit_a, tau_s=1.5),
            cores=Cores(count=1, height_a=0.14 * unit_a, on_s=0.1, off_s=0.1),
            bursts=Bursts(rate_hz=10, width_s=(0.004, 0.012), height_a=(0.1 * unit_a, 0.25 * unit_a)),
            pink=Pink(deviation_a=0.01 * unit_a),
        ),
    )
    idle_a = processor_a * 0.8 + platter_a + 0.05 * unit_a
    modes = Modes(
        idle=Stage(
            "idle",
            level_a=idle_a,
            bursts=Bursts(rate_hz=1.5, width_s=(0.004, 0.012), height_a=(0.1 * unit_a, 0.25 * unit_a)),
            pink=Pink(deviation_a=0.006 * unit_a),
            cores=Cores(count=1, height_a=0.08 * unit_a, on_s=0.03, off_s=0.5),
        ),
        active=Stage(
            "work",
            level_a=idle_a * 1.1,
            bursts=Bursts(rate_hz=8, width_s=(0.004, 0.012), height_a=(0.1 * unit_a, 0.25 * unit_a)),
            cores=Cores(count=1, height_a=0.14 * unit_a, on_s=0.1, off_s=0.2),
            pink=Pink(deviation_a=0.015 * unit_a),
        ),
        busy=Stage(
            "busy",
            level_a=idle_a * 1.3,
            bursts=Bursts(rate_hz=15, width_s=(0.004, 0.012), height_a=(0.1 * unit_a, 0.25 * unit_a)),
            cores=Cores(count=1, height_a=0.12 * unit_a, on_s=0.6, off_s=0.1),
            pink=Pink(deviation_a=0.015 * unit_a),
        ),
        sleep=Stage(
            "standby",
            level_a=chance.uniform(0.02, 0.05) * unit_a,
            periodic=(Periodic(period_s=log_uniform(chance, 1, 5), width_s=0.02, height_a=0.05 * unit_a, jitter=0.01),),
        ),
    )
    resume = Stage(
        "resume",
        length_s=chance.uniform(1.5, 2.5),
        level_a=processor_a * 0.6 + platter_a,
        spin_up=SpinUp(height_a=spin_a * 0.8, tau_s=1.0),
    )
    events = (
        Stage(
            "disk park",
            length_s=chance.uniform(6, 15),
            level_a=-platter_a,
            settle_s=0.05,
            bumps=(Bump("box", at=0.0, width_s=0.05, height_a=0.1 * unit_a),),
        ),
        Stage(
            "fan boost",
            length_s=chance.uniform(5, 20),
            level_a=0.09 * unit_a,
            decay=Decay(height_a=0.12 * unit_a, tau_s=0.4),
            settle_s=0.02,
        ),
        Stage(
            "app start",
            length_s=1.8,
            bumps=(
                Bump("hump", at=0, width_s=0.9, height_a=0.18 * unit_a),
                *draw_bumps(chance, 14, width_s=(0.005, 0.012), height_a=(0.12 * unit_a, 0.28 * unit_a)),
            ),
        ),
        Stage(
            "speaker",
            length_s=3,
            level_a=0.02 * unit_a,
            bursts=Bursts(rate_hz=8, width_s=(0.03, 0.2), height_a=(0.02 * unit_a, 0.14 * unit_a)),
        ),
    )
    return Device(
        family="disk-handheld",
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
