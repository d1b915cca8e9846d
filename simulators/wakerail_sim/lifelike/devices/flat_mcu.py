"""A controller that is up within milliseconds and then draws evenly: hardly a boot to see."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.devices.device import Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import Bump, Bursts, Periodic
from wakerail_sim.lifelike.stage import Stage


def draw_flat_mcu(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.5, 3) * 0.001
    stretch = log_uniform(chance, 0.7, 2.0)
    off_a = log_uniform(chance, 1e-06, 0.0005)
    reset_a = chance.uniform(0.5, 2.5) * unit_a
    inrush = (Inrush("capacitor", peak_a=chance.uniform(25, 90) * unit_a, length_s=log_uniform(chance, 0.0005, 0.003)),)
    run_a = chance.uniform(7, 14) * unit_a
    stages = (
        Stage("power-on", length_s=0.005 * stretch, level_a=chance.uniform(1.5, 3.5) * unit_a),
        Stage("clock", length_s=0.004 * stretch, level_a=chance.uniform(4, 6) * unit_a),
        Stage("copy", length_s=0.008 * stretch, level_a=run_a * chance.uniform(1.2, 1.7), slope=0.08),
        Stage("init", length_s=0.006 * stretch, level_a=run_a * chance.uniform(1.05, 1.5)),
    )
    modes = Modes(
        idle=Stage(
            "flat",
            level_a=run_a,
            bursts=Bursts(rate_hz=0.2, width_s=(0.002, 0.01), height_a=(0.1 * run_a, 0.3 * run_a)),
        ),
        active=Stage(
            "flat working",
            level_a=run_a * 1.15,
            periodic=(Periodic(period_s=1.0, width_s=0.003, height_a=0.3 * run_a, jitter=0.001),),
        ),
        busy=Stage(
            "lamp", level_a=run_a, periodic=(Periodic(period_s=1.0, width_s=0.1, height_a=0.9 * run_a, jitter=0.0005),)
        ),
        sleep=Stage(
            "sleep",
            level_a=chance.uniform(0.05, 0.5) * unit_a,
            periodic=(Periodic(period_s=log_uniform(chance, 0.25, 4), width_s=0.004, height_a=run_a, jitter=0.002),),
        ),
    )
    resume = Stage("wake", length_s=0.003, level_a=run_a)
    events = (
        Stage(
            "relay",
            length_s=chance.uniform(0.2, 2),
            bumps=(
                Bump("box", at=0, width_s=chance.uniform(0.15, 1.2), height_a=run_a * chance.uniform(1, 3)),
                Bump("decay", at=0, width_s=0.02, height_a=run_a),
            ),
        ),
        Stage("beep", length_s=0.15, bumps=(Bump("box", at=0, width_s=0.1, height_a=run_a * chance.uniform(0.4, 2)),)),
    )
    return Device(
        family="flat-mcu",
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
