"""A probe with a gate array: a short boot, then an even load."""

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
    Rise,
    Sawtooth,
    Telegraph,
    draw_bumps,
    draw_knots,
)
from wakerail_sim.lifelike.stage import Stage


def draw_gate_array_probe(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.6, 1.8)
    stretch = log_uniform(chance, 0.7, 2.5)
    off_a = log_uniform(chance, 0.0001, 0.012)
    reset_a = chance.uniform(0.03, 0.06) * unit_a
    array_a = chance.uniform(0.07, 0.1) * unit_a
    inrush = (Inrush("limited", peak_a=chance.uniform(0.1, 0.16) * unit_a, length_s=chance.uniform(0.002, 0.006)),)
    stages = (
        Stage(
            "rails",
            length_s=0.008 * stretch,
            level_a=0.1 * unit_a,
            profile=Profile("stepped", knots=(0, 0.4, -0.4, 0.1), height_a=0.04 * unit_a),
        ),
        Stage(
            "configure", length_s=chance.uniform(0.2, 0.5) * stretch, level_a=array_a, slope=chance.uniform(-0.01, 0.02)
        ),
        Stage(
            "clock lock",
            length_s=chance.uniform(0.03, 0.1) * stretch,
            level_a=array_a * 1.35,
            decay=Decay(height_a=0.02 * unit_a, tau_s=0.01),
        ),
        Stage(
            "converter calibration",
            length_s=chance.uniform(0.3, 0.9) * stretch,
            level_a=array_a * 1.6,
            profile=Profile("stepped", knots=draw_knots(chance, 9), height_a=0.01 * unit_a),
            sawtooth=Sawtooth(period_s=0.05, height_a=0.01 * unit_a),
        ),
        Stage(
            "soft core",
            length_s=chance.uniform(0.3, 1.2) * stretch,
            level_a=array_a * 1.5,
            cores=Cores(count=1, height_a=0.02 * unit_a, on_s=0.03, off_s=0.04),
            bumps=draw_bumps(chance, 3, width_s=(0.01, 0.06), height_a=(0.01 * unit_a, 0.05 * unit_a)),
        ),
    )
    idle_a = array_a * chance.uniform(1.6, 2.1)
    modes = Modes(
        idle=Stage(
            "ready",
            level_a=idle_a,
            pink=Pink(deviation_a=0.0012 * unit_a),
            bursts=Bursts(rate_hz=0.3, width_s=(0.01, 0.04), height_a=(0.01 * unit_a, 0.02 * unit_a)),
        ),
        active=Stage(
            "sample",
            level_a=idle_a * 1.2,
            periodic=(Periodic(period_s=chance.uniform(0.2, 1), width_s=0.06, height_a=0.05 * unit_a, jitter=0.001),),
            pink=Pink(deviation_a=0.002 * unit_a),
        ),
        busy=Stage(
            "stream",
            level_a=idle_a * 1.4,
            telegraph=Telegraph(on_s=0.02, off_s=0.01, height_a=0.04 * unit_a),
            pink=Pink(deviation_a=0.004 * unit_a),
        ),
        sleep=Stage(
            "standby",
            level_a=array_a * 0.4,
            periodic=(Periodic(period_s=1, width_s=0.01, height_a=0.04 * unit_a, jitter=0.001),),
        ),
    )
    resume = Stage("wake", length_s=0.05, level_a=array_a * 1.3)
    events = (
        Stage(
            "sweep",
            length_s=chance.uniform(1, 3),
            level_a=0.02 * unit_a,
            rise=Rise(height_a=0.06 * unit_a, begin=0, end=1),
        ),
        Stage("relay", length_s=0.2, bumps=(Bump("box", at=0, width_s=0.03, height_a=0.08 * unit_a),)),
    )
    return Device(
        family="gate-array-probe",
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
