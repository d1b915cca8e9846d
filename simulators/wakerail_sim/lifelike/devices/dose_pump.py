"""A dosing pump: a small controller, a display and a motor that finds its home."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.devices.device import Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import Bump, Periodic, Pink, Profile, Rise, SpinUp, Wobble, draw_bumps, draw_knots
from wakerail_sim.lifelike.stage import Stage


def draw_dose_pump(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.6, 1.6)
    stretch = log_uniform(chance, 0.6, 1.5)
    off_a = log_uniform(chance, 1e-05, 0.001)
    reset_a = chance.uniform(0.004, 0.015) * unit_a
    inrush = (Inrush("capacitor", peak_a=chance.uniform(0.2, 0.6) * unit_a, length_s=chance.uniform(0.002, 0.01)),)
    processor_a = chance.uniform(0.03, 0.05) * unit_a
    stages = (
        Stage("controller", length_s=chance.uniform(0.05, 0.15), level_a=0.015 * unit_a),
        Stage(
            "checks",
            length_s=chance.uniform(0.6, 1.5) * stretch,
            level_a=processor_a,
            profile=Profile("stepped", knots=draw_knots(chance, 9), height_a=0.006 * unit_a),
            bumps=draw_bumps(chance, 3, width_s=(0.02, 0.06), height_a=(0.01 * unit_a, 0.03 * unit_a)),
        ),
        Stage(
            "beep",
            length_s=0.5,
            level_a=processor_a,
            bumps=(
                Bump("box", at=0.1, width_s=0.12, height_a=0.05 * unit_a),
                Bump("box", at=0.5, width_s=0.12, height_a=0.05 * unit_a),
            ),
        ),
        Stage(
            "display",
            length_s=chance.uniform(0.3, 0.7),
            level_a=processor_a,
            rise=Rise(height_a=0.03 * unit_a, begin=0, end=0.5),
        ),
        Stage(
            "home motor",
            length_s=chance.uniform(1.5, 3.5),
            level_a=processor_a + 0.03 * unit_a + 0.07 * unit_a,
            spin_up=SpinUp(height_a=0.2 * unit_a, tau_s=0.06),
            wobble=Wobble(period_s=chance.uniform(0.08, 0.2), height_a=0.012 * unit_a),
            slope=0.04,
            bumps=(Bump("triangle", at=0.93, width_s=0.12, height_a=0.14 * unit_a),),
        ),
        Stage(
            "prime",
            length_s=chance.uniform(0.8, 2) * stretch,
            level_a=processor_a + 0.03 * unit_a,
            periodic=(Periodic(period_s=0.2, width_s=0.05, height_a=0.12 * unit_a, jitter=0.01),),
        ),
    )
    idle_a = processor_a * 0.6 + 0.03 * unit_a
    modes = Modes(
        idle=Stage(
            "wait",
            level_a=idle_a,
            pink=Pink(deviation_a=0.0006 * unit_a),
            periodic=(Periodic(period_s=1, width_s=0.01, height_a=0.012 * unit_a, jitter=0.001),),
        ),
        active=Stage(
            "dose",
            level_a=idle_a,
            periodic=(Periodic(period_s=chance.uniform(0.8, 4), width_s=0.1, height_a=0.12 * unit_a, jitter=0.01),),
            pink=Pink(deviation_a=0.001 * unit_a),
        ),
        busy=Stage(
            "bolus",
            level_a=idle_a + 0.06 * unit_a,
            wobble=Wobble(period_s=0.15, height_a=0.012 * unit_a),
            pink=Pink(deviation_a=0.003 * unit_a),
        ),
        sleep=Stage(
            "sleep",
            level_a=chance.uniform(0.0005, 0.003) * unit_a,
            periodic=(
                Periodic(period_s=log_uniform(chance, 1, 5), width_s=0.008, height_a=0.02 * unit_a, jitter=0.002),
            ),
        ),
    )
    resume = Stage("wake", length_s=0.15, level_a=processor_a)
    events = (
        Stage(
            "alarm",
            length_s=1.6,
            bumps=tuple(Bump("box", at=k * 0.25, width_s=0.2, height_a=0.06 * unit_a) for k in range(4)),
        ),
        Stage(
            "motor",
            length_s=chance.uniform(0.8, 2.5),
            level_a=0.07 * unit_a,
            spin_up=SpinUp(height_a=0.2 * unit_a, tau_s=0.06),
            wobble=Wobble(period_s=0.12, height_a=0.012 * unit_a),
        ),
    )
    return Device(
        family="dose-pump",
        traits=traits,
        off_a=off_a,
        reset_a=reset_a,
        inrush=inrush,
        stages=stages,
        modes=modes,
        resume=resume,
        events=events,
        light_a=0.03 * unit_a,
        recovery=draw_recovery(chance, stages, kept=2),
    )
