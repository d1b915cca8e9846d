"""Made-up device families: the shape of a family's boot, and what it draws once it is up."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from wakerail_sim.corpus.case import Case
from wakerail_sim.draws import log_uniform

SHORTEST_BOOT_S, LONGEST_BOOT_S = 0.5, 60.0
SHORTEST_STAGE_S, LONGEST_STAGE_S = 0.05, 20.0
_HIGHEST_A, _LOWEST_A = 2.0, 0.005
_ONSET_RISE_S = 0.02  # power comes on fast, whatever the stage does then
_BOOT_SAMPLES = 14  # a boot of fewer samples has no shape
CONTRAST = 1.4  # what neighbouring levels must differ by, as a ratio, for anyone to see two stages


@dataclass(frozen=True, slots=True)
class BootStage:
    """One stage: how long (s), the current at its begin and end (A above standing) and how fast it gets there (s).

    Bursts come on top, ``burst_a`` high for ``burst_s``, every ``burst_every_s``, evenly or at random; none if 0.
    """

    length_s: float
    level_a: float
    end_a: float
    rise_s: float
    bursts: Literal["none", "even", "random"]
    burst_a: float
    burst_s: float
    burst_every_s: float


@dataclass(frozen=True, slots=True)
class Family:
    """A device family. Currents are above standing, in A; spreads are relative standard deviations from boot to boot.

    ``contrast_a`` is the least difference between levels that has to be seen, ``telling_s`` how much of a boot shows
    two of its stages: by then it can be told from the device's running on. ``shape_s`` shows three: a loop of so much
    can be told from a stage with bursts.
    """

    stages: tuple[BootStage, ...]
    inrush_a: float
    inrush_s: float
    standing_a: float
    running_a: float
    sleep_a: float
    level_spread: float
    length_spread: float
    ripple: float
    ripple_hz: float
    busy_every_s: float
    contrast_a: float
    telling_s: float
    shape_s: float

    @property
    def boot_s(self) -> float:
        """How long a boot takes."""
        return sum(stage.length_s for stage in self.stages)

    @property
    def opening_a(self) -> float:
        """The level at which a boot begins."""
        return self.stages[0].level_a

    def apart_from_opening(self, level_a: float) -> float:
        """Return the level, or one below the opening's if it could be taken for that."""
        return level_a if differ(level_a, self.opening_a) else self.opening_a / (1.05 * CONTRAST)


def draw_family(chance: np.random.Generator, case: Case) -> Family:
    """Draw a family whose boot a technician could make out on a plot of such a recording."""
    lowest_a, contrast_a = _least_levels(case)
    running_a = log_uniform(chance, max(lowest_a * 2, contrast_a * 2), 1.0)
    seen_s = max(SHORTEST_STAGE_S, 3.5 * case.sample_s)
    while True:
        lengths_s = _draw_lengths(chance, case, seen_s)
        levels_a = np.clip(running_a * np.exp(chance.uniform(-1.4, 0.8, len(lengths_s))), lowest_a, _HIGHEST_A)
        seen = [place for place, length_s in enumerate(lengths_s) if length_s >= seen_s]
        if lengths_s[0] < seen_s or len(seen) < 3:
            continue
        shown_a = [*(float(levels_a[place]) for place in seen), running_a]
        if all(differ(a, b, contrast_a) for a, b in itertools.pairwise(shown_a)) and differ(
            shown_a[0], running_a, contrast_a
        ):
            break
    first, *others = (
        _draw_stage(chance, length_s, float(level_a)) for length_s, level_a in zip(lengths_s, levels_a, strict=True)
    )
    stages = (replace(first, rise_s=min(first.rise_s, _ONSET_RISE_S)), *others)
    telling_s, shape_s = (sum(lengths_s[:place]) + max(0.5 * lengths_s[place], seen_s) for place in seen[1:3])
    standing_a = chance.uniform(0.002, 0.005) if chance.random() < 0.15 else chance.uniform(0.0, 0.001)
    return Family(
        stages=stages,
        inrush_a=float(min(3.0, running_a * chance.uniform(0.5, 4))) if chance.random() < 0.5 else 0.0,
        inrush_s=log_uniform(chance, 0.0005, 0.006),
        standing_a=min(standing_a, 0.5 * min(shown_a)),
        running_a=running_a,
        sleep_a=log_uniform(chance, 0.002, min(0.03, 0.3 * running_a, shown_a[0] / (1.05 * CONTRAST)))
        if "sleep-wake" in case.confusers
        else 0.0,
        level_spread=chance.uniform(0.002, 0.03),
        length_spread=chance.uniform(0.002, 0.03),
        ripple=chance.uniform(0.0, 0.03),
        ripple_hz=log_uniform(chance, 1.0, 40.0),
        busy_every_s=log_uniform(chance, 1.0, 60.0),
        contrast_a=min([abs(a - b) for a, b in itertools.pairwise(shown_a)]),
        telling_s=telling_s,
        shape_s=shape_s,
    )


def _least_levels(case: Case) -> tuple[float, float]:
    """Return the lowest level of a boot, and the least step in it, that such a recording shows (A)."""
    if "quantised" in case.confusers:
        return 0.04, 0.03
    if not {"sleep-wake", "drift", "hum", "range-switching"}.isdisjoint(case.confusers):
        return 0.02, 0.01
    return _LOWEST_A, 0.002


def differ(one_a: float, other_a: float, contrast_a: float = 0.0) -> bool:
    """Return whether anyone can see that two levels are two; by at least ``contrast_a`` and by ratio."""
    low_a, high_a = sorted((one_a, other_a))
    return high_a >= CONTRAST * low_a and high_a - low_a >= contrast_a


def _draw_lengths(chance: np.random.Generator, case: Case, seen_s: float) -> list[float]:
    """Draw how long the stages take; some may be too short to be seen at this rate."""
    count = int(chance.integers(3, 9))
    shortest_s = max(SHORTEST_BOOT_S, _BOOT_SAMPLES * case.sample_s, 2.5 * seen_s)
    boot_s = log_uniform(chance, shortest_s, max(shortest_s, min(LONGEST_BOOT_S, case.length_s / 4)))
    shares = chance.dirichlet(np.full(count, 1.2))
    return [float(length_s) for length_s in np.clip(boot_s * shares, SHORTEST_STAGE_S, LONGEST_STAGE_S)]


def _draw_stage(chance: np.random.Generator, length_s: float, level_a: float) -> BootStage:
    ramps = chance.random() < 0.25
    bursts: Literal["none", "even", "random"] = "none"
    kind = chance.random()
    if length_s > 0.5 and kind < 0.45:
        bursts = "even" if kind < 0.2 else "random"
    every_s = log_uniform(chance, 0.08, min(1.0, max(0.1, length_s / 4)))
    return BootStage(
        length_s=length_s,
        level_a=level_a,
        end_a=level_a * (chance.uniform(0.85, 1.2) if ramps else 1.0),
        rise_s=min(log_uniform(chance, 0.001, 0.2), 0.2 * length_s),
        bursts=bursts,
        burst_a=level_a * chance.uniform(0.15, 0.6),
        burst_s=every_s * chance.uniform(0.05, 0.4),
        burst_every_s=every_s,
    )
