"""Draws a device: how it boots, what it does in use, and how much one boot differs from the next."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wakerail_sim.draws import log_uniform, pick
from wakerail_sim.motley.motif import Layer, Motif, Palette, draw_motif, draw_palette
from wakerail_sim.noise import Floats


@dataclass(frozen=True, slots=True)
class State:
    """A motif of use, how long it mostly lasts, and by how much that differs (0 is a rhythm)."""

    motif: Motif
    dwell_s: float
    spread: float


@dataclass(frozen=True, slots=True, eq=False)
class Device:
    """What can be seen of a device.

    ``chain`` has, for each state, how likely each is next; ``dips_s`` is how often use shows a dip, or 0. ``wake`` is
    how use begins after ``sleep``. A warm boot leaves out up to ``most_skipped`` motifs. ``lag_s`` is how fast the
    current follows. The spreads are the most by which a boot's pace, each motif's and the level differ between runs.
    """

    boot: tuple[Motif, ...]
    inrush: bool
    most_skipped: int
    states: tuple[State, ...]
    chain: Floats
    dips_s: float
    sleep: Motif
    wake: tuple[Motif, ...]
    load: Motif
    top_a: float
    standing_a: float
    reset_a: float
    off_a: float
    lag_s: float
    pace_spread: float
    motif_spread: float
    gain_spread: float

    @property
    def boot_s(self) -> float:
        """How long a whole boot takes."""
        return sum(motif.length_s for motif in self.boot)

    def opening_s(self, skipped: int) -> float:
        """Return how much of a boot that begins with this motif must be seen to know it."""
        left_s = [motif.length_s for motif in self.boot[skipped:]]
        first = 3 if self.inrush and not skipped else 2
        opening_s = sum(left_s[:first]) + 0.5 * sum(left_s[first : first + 1])
        return float(np.clip(opening_s, 0.3 * sum(left_s), 0.9 * sum(left_s)))


def draw_device(chance: np.random.Generator, boot_s: float, pace_s: float) -> Device:
    """Draw a device that boots for ``boot_s``, and in use changes about each ``pace_s``."""
    palette = draw_palette(chance)
    off_a = pick(chance, (0.0, palette.low_a * 10 ** chance.uniform(-3, -0.7)))
    standing_a = log_uniform(chance, max(off_a, 0.02 * palette.low_a), palette.low_a)
    inrush = chance.random() < 0.4
    boot = _draw_boot(chance, palette, boot_s, silence_a=pick(chance, (off_a, standing_a)), inrush=inrush)
    states = tuple(_draw_state(chance, palette, boot, pace_s) for _ in range(chance.integers(2, 7)))
    return Device(
        boot=boot,
        inrush=inrush,
        most_skipped=int(chance.integers(0, 3)) if len(boot) > 4 else 0,
        states=states,
        chain=chance.dirichlet(np.full(len(states), log_uniform(chance, 0.2, 3)), len(states)),
        dips_s=max(boot_s, pace_s) * log_uniform(chance, 1, 20) if chance.random() < 0.3 else 0.0,
        sleep=_draw_sleep(chance, palette, pick(chance, (standing_a, off_a, palette.low_a)), pace_s),
        wake=_draw_wake(chance, palette, boot),
        load=draw_motif(chance, palette, pace_s * log_uniform(chance, 0.05, 1), level_a=palette.top_a),
        top_a=palette.top_a,
        standing_a=standing_a,
        reset_a=log_uniform(chance, standing_a, palette.low_a),
        off_a=off_a,
        lag_s=log_uniform(chance, 1e-4, min(0.2, 0.02 * boot_s)),
        pace_spread=chance.uniform(0, 0.08),
        motif_spread=chance.uniform(0, 0.04),
        gain_spread=chance.uniform(0, 0.15),
    )


def _draw_boot(
    chance: np.random.Generator, palette: Palette, boot_s: float, *, silence_a: float, inrush: bool
) -> tuple[Motif, ...]:
    shares = chance.dirichlet(np.full(chance.integers(1, 9), log_uniform(chance, 0.7, 4)))
    boot = [draw_motif(chance, palette, max(float(share), 0.01) * boot_s) for share in shares]
    if len(boot) > 2 and chance.random() < 0.3:
        place = int(chance.integers(1, len(boot)))
        boot[place] = Motif(length_s=boot[place].length_s, level_a=silence_a, texture=0.01)
    if len(boot) > 3 and chance.random() < 0.25:
        first = int(chance.integers(1, len(boot) - 1))
        tried = boot[first : first + int(chance.integers(1, 3))]
        boot[first : first + len(tried)] = tried * int(chance.integers(2, 5))
    if inrush:
        length_s = boot_s * log_uniform(chance, 0.003, 0.15)
        peak_a = palette.top_a * log_uniform(chance, 0.5, 4)
        layer = Layer("peak", peak_a, period_s=length_s * chance.uniform(0.1, 0.5), share=0.5, pattern=None)
        boot.insert(0, Motif(length_s=length_s, level_a=boot[0].level_a, layers=(layer,), texture=palette.texture))
    to_length = boot_s / sum(motif.length_s for motif in boot)
    return tuple(replace(motif, length_s=motif.length_s * to_length) for motif in boot)


def _draw_state(chance: np.random.Generator, palette: Palette, boot: tuple[Motif, ...], pace_s: float) -> State:
    """Draw a state of use, now and then one that is like a motif of the boot."""
    dwell_s = pace_s * log_uniform(chance, 0.1, 5)
    motif = draw_motif(chance, palette, dwell_s)
    if len(boot) > 2 and chance.random() < 0.3:
        motif = pick(chance, boot)
    elif chance.random() < 0.2:
        motif = replace(motif, level_a=boot[0].level_a)
    return State(motif, dwell_s=dwell_s, spread=pick(chance, (0.0, 0.05, 0.5, 1.0)))


def _draw_sleep(chance: np.random.Generator, palette: Palette, level_a: float, pace_s: float) -> Motif:
    if chance.random() < 0.5:
        return Motif(length_s=pace_s, level_a=level_a, texture=palette.texture)
    return draw_motif(chance, palette, pace_s, level_a=level_a)


def _draw_wake(chance: np.random.Generator, palette: Palette, boot: tuple[Motif, ...]) -> tuple[Motif, ...]:
    """Draw an opening that comes again after each sleep, in parts like the boot, but not in all."""
    wake_s = sum(motif.length_s for motif in boot) * log_uniform(chance, 0.1, 2)
    shares = chance.dirichlet(np.full(chance.integers(1, 5), 2.0))
    wake = [draw_motif(chance, palette, max(float(share), 0.02) * wake_s) for share in shares]
    if len(boot) > 2 and len(wake) > 1 and chance.random() < 0.5:
        wake[int(chance.integers(len(wake)))] = pick(chance, boot)
    return tuple(wake)
