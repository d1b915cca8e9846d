"""A radio modem that searches, joins and then listens now and then."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.lifelike.devices.device import Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import (
    Bump,
    Bursts,
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


def draw_cell_modem(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.7, 1.5)
    stretch = log_uniform(chance, 0.6, 1.5)
    off_a = log_uniform(chance, 5e-06, 0.003)
    reset_a = chance.uniform(0.002, 0.012) * unit_a
    inrush = (Inrush("capacitor", peak_a=chance.uniform(0.2, 0.9) * unit_a, length_s=chance.uniform(0.001, 0.005)),)
    stages = (
        Stage("rom", length_s=chance.uniform(0.1, 0.3), level_a=0.03 * unit_a, settle_s=0.005),
        Stage(
            "firmware",
            length_s=chance.uniform(0.5, 1.4) * stretch,
            level_a=chance.uniform(0.06, 0.09) * unit_a,
            profile=Profile("stepped", knots=draw_knots(chance, 10), height_a=0.012 * unit_a),
            sawtooth=Sawtooth(period_s=0.05, height_a=0.014 * unit_a),
        ),
        Stage(
            "radio calibration",
            length_s=chance.uniform(0.15, 0.4),
            level_a=chance.uniform(0.1, 0.14) * unit_a,
            bumps=draw_bumps(chance, 5, width_s=(0.006, 0.03), height_a=(0.03 * unit_a, 0.1 * unit_a)),
        ),
        Stage(
            "card",
            length_s=chance.uniform(0.3, 0.8) * stretch,
            level_a=0.05 * unit_a,
            telegraph=Telegraph(on_s=0.02, off_s=0.04, height_a=0.02 * unit_a),
        ),
        Stage(
            "search",
            length_s=chance.uniform(2.5, 4.5),
            level_a=0.05 * unit_a,
            rise=Rise(height_a=0.03 * unit_a, begin=0, end=1),
            bursts=Bursts(rate_hz=9, width_s=(0.01, 0.05), height_a=(0.03 * unit_a, 0.16 * unit_a)),
            periodic=(Periodic(period_s=chance.uniform(0.1, 0.2), width_s=0.02, height_a=0.05 * unit_a, jitter=0.08),),
        ),
        Stage(
            "wait",
            length_s=chance.uniform(1, 2.5),
            level_a=0.05 * unit_a,
            bursts=Bursts(rate_hz=3, width_s=(0.01, 0.04), height_a=(0.01 * unit_a, 0.05 * unit_a)),
        ),
        Stage(
            "join",
            length_s=chance.uniform(0.8, 1.8),
            level_a=0.055 * unit_a,
            bumps=(
                Bump("hump", at=0.1, width_s=0.15, height_a=0.16 * unit_a),
                Bump("box", at=0.35, width_s=0.2, height_a=0.32 * unit_a),
                Bump("box", at=0.62, width_s=0.15, height_a=0.3 * unit_a),
                Bump("box", at=0.85, width_s=0.05, height_a=0.12 * unit_a),
            ),
        ),
    )
    modes = Modes(
        idle=Stage(
            "paging",
            level_a=chance.uniform(0.012, 0.03) * unit_a,
            periodic=(
                Periodic(period_s=chance.uniform(0.64, 2.56), width_s=0.025, height_a=0.045 * unit_a, jitter=0.003),
            ),
            bursts=Bursts(rate_hz=0.08, width_s=(0.02, 0.1), height_a=(0.05 * unit_a, 0.16 * unit_a)),
            pink=Pink(deviation_a=0.0012 * unit_a),
        ),
        active=Stage(
            "connected",
            level_a=0.05 * unit_a,
            telegraph=Telegraph(on_s=0.03, off_s=0.04, height_a=0.02 * unit_a),
            bursts=Bursts(rate_hz=1.5, width_s=(0.003, 0.03), height_a=(0.05 * unit_a, 0.25 * unit_a)),
            pink=Pink(deviation_a=0.003 * unit_a),
        ),
        busy=Stage(
            "upload",
            level_a=0.09 * unit_a,
            telegraph=Telegraph(on_s=0.01, off_s=0.008, height_a=0.25 * unit_a),
            pink=Pink(deviation_a=0.012 * unit_a),
        ),
        sleep=Stage(
            "power save",
            level_a=log_uniform(chance, 0.0005, 0.003),
            periodic=(
                Periodic(period_s=log_uniform(chance, 5, 20), width_s=0.05, height_a=0.04 * unit_a, jitter=0.002),
            ),
        ),
    )
    resume = Stage(
        "wake",
        length_s=0.3,
        level_a=0.05 * unit_a,
        bursts=Bursts(rate_hz=8, width_s=(0.01, 0.03), height_a=(0.02 * unit_a, 0.08 * unit_a)),
    )
    events = (
        Stage(
            "transmit",
            length_s=1.0,
            level_a=0.03 * unit_a,
            bumps=(
                Bump("hump", at=0.05, width_s=0.12, height_a=0.2 * unit_a),
                Bump("box", at=0.3, width_s=0.25, height_a=0.28 * unit_a),
                Bump("box", at=0.65, width_s=0.06, height_a=0.24 * unit_a),
            ),
        ),
        Stage(
            "message",
            length_s=0.6,
            level_a=0.03 * unit_a,
            bumps=draw_bumps(chance, 4, width_s=(0.01, 0.05), height_a=(0.1 * unit_a, 0.3 * unit_a)),
        ),
    )
    return Device(
        family="cell-modem",
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
