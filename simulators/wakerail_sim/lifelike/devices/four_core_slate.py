"""A slate: four cores, a large lit panel, camera, radio; a long boot of many stages."""

from __future__ import annotations

from typing import Literal

import numpy as np

from wakerail_sim.draws import log_uniform, pick
from wakerail_sim.lifelike.devices.device import Device, Inrush, Modes, draw_recovery, draw_traits
from wakerail_sim.lifelike.features import (
    Bump,
    Bursts,
    Cores,
    Decay,
    Frames,
    Periodic,
    Pink,
    Profile,
    Rise,
    Sawtooth,
    Wobble,
    draw_bumps,
    draw_knots,
)
from wakerail_sim.lifelike.stage import Stage


def draw_four_core_slate(chance: np.random.Generator) -> Device:
    """Draw one of these: ``unit_a`` scales its currents, ``stretch`` the times that its software takes."""
    traits = draw_traits(chance)
    unit_a = log_uniform(chance, 0.6, 1.5)
    stretch = log_uniform(chance, 0.5, 1.5)
    off_a = log_uniform(chance, 0.0001, 0.004)
    reset_a = chance.uniform(0.02, 0.08) * unit_a
    light_a = chance.uniform(0.1, 0.25) * unit_a
    core_a = chance.uniform(0.07, 0.14) * unit_a
    base_a = chance.uniform(0.1, 0.16) * unit_a
    kinds: tuple[Literal["capacitor", "limited"], ...] = ("capacitor", "limited")
    inrush = [
        Inrush(pick(chance, kinds), peak_a=chance.uniform(0.8, 2.2) * unit_a, length_s=chance.uniform(0.002, 0.009))
    ]
    if chance.random() < 0.6:
        inrush.append(
            Inrush("second-rail", peak_a=chance.uniform(0.3, 0.7) * unit_a, length_s=chance.uniform(0.001, 0.004))
        )
    stages = (
        Stage(
            "sequence",
            length_s=chance.uniform(0.04, 0.15),
            level_a=0.03 * unit_a,
            profile=Profile("stepped", knots=(0, 0.3, 0.6, 1.0), height_a=0.05 * unit_a),
        ),
        Stage("rom", length_s=chance.uniform(0.1, 0.4), level_a=chance.uniform(0.07, 0.11) * unit_a),
        Stage(
            "memory training",
            length_s=chance.uniform(0.25, 0.7),
            level_a=chance.uniform(0.16, 0.24) * unit_a,
            sawtooth=Sawtooth(period_s=chance.uniform(0.03, 0.08), height_a=0.05 * unit_a),
            profile=Profile("stepped", knots=draw_knots(chance, 6), height_a=0.02 * unit_a),
        ),
        Stage(
            "loader",
            length_s=chance.uniform(0.8, 2.5) * stretch,
            level_a=chance.uniform(0.18, 0.26) * unit_a,
            profile=Profile("stepped", knots=draw_knots(chance, 10), height_a=0.03 * unit_a),
            sawtooth=Sawtooth(period_s=0.11, height_a=0.02 * unit_a),
            bumps=draw_bumps(chance, 4, width_s=(0.02, 0.1), height_a=(0.03 * unit_a, 0.15 * unit_a)),
        ),
        Stage(
            "logo",
            length_s=chance.uniform(0.3, 0.8),
            level_a=base_a + 0.06 * unit_a,
            rise=Rise(height_a=light_a * 0.7, begin=0.1, end=0.6),
        ),
        Stage(
            "unpack",
            length_s=chance.uniform(0.4, 1.2) * stretch,
            level_a=base_a + light_a * 0.7 + core_a * 0.9,
            sawtooth=Sawtooth(period_s=0.06, height_a=0.03 * unit_a),
        ),
        Stage(
            "kernel",
            length_s=chance.uniform(1.0, 3) * stretch,
            level_a=base_a + light_a * 0.7,
            cores=Cores(count=4, height_a=core_a * 0.8, on_s=0.05, off_s=0.09),
            profile=Profile("stepped", knots=draw_knots(chance, 14), height_a=0.05 * unit_a),
            bursts=Bursts(rate_hz=8, width_s=(0.004, 0.02), height_a=(0.05 * unit_a, 0.2 * unit_a)),
        ),
        Stage(
            "services",
            length_s=chance.uniform(3, 9) * stretch,
            level_a=base_a + light_a * 0.8,
            cores=Cores(count=4, height_a=core_a, on_s=0.12, off_s=0.07),
            pink=Pink(deviation_a=0.03 * unit_a),
            profile=Profile("linear", knots=draw_knots(chance, 20, smooth=True), height_a=0.07 * unit_a),
            bursts=Bursts(rate_hz=5, width_s=(0.01, 0.06), height_a=(0.05 * unit_a, 0.3 * unit_a)),
        ),
        Stage(
            "radio",
            length_s=chance.uniform(1, 3),
            level_a=base_a + light_a,
            cores=Cores(count=3, height_a=core_a, on_s=0.08, off_s=0.12),
            bumps=draw_bumps(chance, 6, width_s=(0.02, 0.15), height_a=(0.1 * unit_a, 0.4 * unit_a)),
        ),
        Stage(
            "shell",
            length_s=chance.uniform(2, 6) * stretch,
            level_a=base_a + light_a,
            decay=Decay(height_a=0.22 * unit_a, tau_s=2.0),
            cores=Cores(count=3, height_a=core_a, on_s=0.06, off_s=0.15),
            frames=Frames(height_a=0.04 * unit_a),
            pink=Pink(deviation_a=0.02 * unit_a),
        ),
    )
    modes = Modes(
        idle=Stage(
            "home",
            level_a=base_a * 0.5 + light_a,
            cores=Cores(count=2, height_a=core_a * 0.6, on_s=0.02, off_s=0.5),
            pink=Pink(deviation_a=0.008 * unit_a),
            periodic=(Periodic(period_s=1.28, width_s=0.02, height_a=0.1 * unit_a, jitter=0.01),),
            bursts=Bursts(rate_hz=0.3, width_s=(0.05, 0.5), height_a=(0.05 * unit_a, 0.2 * unit_a)),
        ),
        active=Stage(
            "scroll",
            level_a=base_a + light_a,
            frames=Frames(height_a=0.12 * unit_a),
            cores=Cores(count=2, height_a=core_a * 0.8, on_s=0.04, off_s=0.12),
            pink=Pink(deviation_a=0.02 * unit_a),
        ),
        busy=Stage(
            "load",
            level_a=base_a + light_a,
            cores=Cores(count=4, height_a=core_a, on_s=0.6, off_s=0.12),
            pink=Pink(deviation_a=0.03 * unit_a),
            wobble=Wobble(period_s=chance.uniform(6, 15), height_a=0.02 * unit_a),
        ),
        sleep=Stage(
            "suspend",
            level_a=chance.uniform(0.006, 0.02) * unit_a,
            periodic=(
                Periodic(period_s=log_uniform(chance, 0.6, 2.6), width_s=0.03, height_a=0.08 * unit_a, jitter=0.01),
            ),
            bursts=Bursts(rate_hz=0.05, width_s=(0.2, 0.8), height_a=(0.08 * unit_a, 0.15 * unit_a)),
        ),
    )
    resume = Stage(
        "resume",
        length_s=chance.uniform(0.3, 0.7),
        level_a=base_a + 0.1 * unit_a,
        cores=Cores(count=2, height_a=core_a, on_s=0.05, off_s=0.08),
        rise=Rise(height_a=light_a, begin=0.4, end=1.0),
    )
    events = (
        Stage(
            "camera",
            length_s=chance.uniform(2.5, 5),
            level_a=0.18 * unit_a,
            bumps=(
                Bump("hump", at=0.02, width_s=0.15, height_a=0.3 * unit_a),
                Bump("decay", at=0.7, width_s=0.1, height_a=0.7 * unit_a),
            ),
            frames=Frames(height_a=0.08 * unit_a),
            pink=Pink(deviation_a=0.02 * unit_a),
        ),
        Stage(
            "app start",
            length_s=chance.uniform(1.2, 2.4),
            bumps=(
                Bump("box", at=0, width_s=0.25, height_a=0.3 * unit_a),
                Bump("hump", at=0.15, width_s=0.7, height_a=0.28 * unit_a),
                Bump("decay", at=0.5, width_s=0.2, height_a=0.25 * unit_a),
                *draw_bumps(chance, 6, width_s=(0.01, 0.1), height_a=(0.05 * unit_a, 0.2 * unit_a)),
            ),
        ),
        Stage(
            "vibration",
            length_s=0.5,
            bumps=(
                Bump("decay", at=0, width_s=0.03, height_a=0.1 * unit_a),
                Bump("box", at=0, width_s=0.35, height_a=0.09 * unit_a),
            ),
        ),
        Stage(
            "speaker",
            length_s=chance.uniform(2, 5),
            level_a=0.03 * unit_a,
            bursts=Bursts(rate_hz=9, width_s=(0.02, 0.2), height_a=(0.03 * unit_a, 0.2 * unit_a)),
            pink=Pink(deviation_a=0.03 * unit_a),
        ),
        Stage(
            "transmit",
            length_s=1.2,
            bumps=draw_bumps(chance, 9, width_s=(0.004, 0.09), height_a=(0.15 * unit_a, 0.5 * unit_a)),
        ),
        Stage("torch", length_s=chance.uniform(1, 4), level_a=0.25 * unit_a, slope=-0.06, settle_s=0.01),
    )
    return Device(
        family="four-core-slate",
        traits=traits,
        off_a=off_a,
        reset_a=reset_a,
        inrush=tuple(inrush),
        stages=stages,
        modes=modes,
        resume=resume,
        events=events,
        light_a=light_a,
        recovery=draw_recovery(chance, stages, kept=5),
    )
