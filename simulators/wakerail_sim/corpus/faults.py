"""When a device boots and when that boot ends: the plan of a recording, by its fault."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wakerail_sim.corpus.case import Case
from wakerail_sim.corpus.family import Family, differ
from wakerail_sim.draws import log_uniform

MOST_RESTARTS = 60
_SHORTEST_UP_S = 0.15
_BOOTS_DIFFER = 0.1  # a stage comes no earlier or later than this part of its time, from boot to boot
_AFTER_S = 2.0  # a recording goes on for so long after its last restart, or for as long as it takes to tell


@dataclass(frozen=True, slots=True)
class Plan:
    """When each boot begins (s, the first may be before the recording), when it ends, and when the recording does.

    The last boot's end may lie after the recording's.
    """

    boots: tuple[tuple[float, float], ...]
    end_s: float

    @property
    def restarts(self) -> tuple[tuple[float, float], ...]:
        """When each boot but the last ended, and the next began."""
        return tuple((before[1], after[0]) for before, after in itertools.pairwise(self.boots))


def plan_boots(chance: np.random.Generator, family: Family, case: Case) -> Plan:
    """Plan when the device boots.

    A boot after which the current collapses for long enough to be seen (``Case.blind_s``) lasts at least three and a
    half samples and 0.15 s, or ten samples on a meter that switches ranges. Where no collapse shows, or the recording
    has no first boot to compare with, a boot lasts until two of its stages show; three in a loop without a collapse.
    """
    first_s = chance.uniform(2.0, 6.0)
    if case.fault is None:
        begin_s = -family.boot_s * 1.3 - chance.uniform(1.0, 60.0) if case.begins_running else first_s
        return Plan(((begin_s, math.inf),), case.length_s)
    down_s = _down(chance, case)
    least_s = _least_up(family, case, down_s)
    after_s = max(_AFTER_S, family.telling_s, 12 * case.sample_s)
    ups_s = _ups(chance, family, case, least_s, case.length_s - first_s - 1.2 * down_s - after_s)
    if not _shows(case, down_s):
        ups_s = (_clear_of_opening(family, up_s) for up_s in ups_s)
    up_s = next(ups_s)
    if not case.begins_running:
        begin_s = first_s
    elif case.fault == "fixed-stage":
        begin_s = -up_s * chance.uniform(0.1, 0.6)
    else:
        begin_s = -family.boot_s * 1.3 - chance.uniform(1.0, 60.0)
        up_s = max(2.0, up_s - family.boot_s) - begin_s
    boots: list[tuple[float, float]] = []
    while True:
        ended_s = begin_s + up_s
        again_s = ended_s + down_s * chance.uniform(0.9, 1.1)
        boots.append((begin_s, ended_s))
        if again_s + after_s > case.length_s or len(boots) > MOST_RESTARTS:
            break
        begin_s, up_s = again_s, next(ups_s)
    return Plan(tuple(boots), min(case.length_s, ended_s if case.warm else ended_s + _AFTER_S))


def _down(chance: np.random.Generator, case: Case) -> float:
    """Draw how long the current stays collapsed."""
    if case.warm:
        return chance.uniform(0.1, 0.6) * case.sample_s if chance.random() < 0.5 else 0.0
    down_s = log_uniform(chance, 0.05, 2.0)
    return max(down_s, 1.2 * case.blind_s) if case.begins_running else down_s


def _shows(case: Case, down_s: float) -> bool:
    """Return whether each collapse is long enough to be seen."""
    return 0.9 * down_s >= case.blind_s


def _least_up(family: Family, case: Case, down_s: float) -> float:
    if _shows(case, down_s) and not case.begins_running:
        return max(_SHORTEST_UP_S, (10 if "range-switching" in case.confusers else 3.5) * case.sample_s)
    loops_blindly = case.fault == "fixed-stage" and not _shows(case, down_s)
    return max((family.shape_s if loops_blindly else family.telling_s) * 1.1, 10 * case.sample_s)


def _ups(chance: np.random.Generator, family: Family, case: Case, least_s: float, most_s: float) -> Iterator[float]:
    """Yield how long each boot lasts, from its begin to its end."""
    boot_s = family.boot_s
    run_s = log_uniform(chance, 2.0, 60.0)
    stop_s = log_uniform(chance, least_s, max(least_s, boot_s))
    period_s = chance.uniform(160, 190) if case.length_s > 400 and chance.random() < 0.5 else chance.uniform(8, 60)
    period_s = max(period_s, least_s * 1.1)
    while True:
        match case.fault:
            case "fixed-stage":
                yield max(least_s, stop_s * (1 + 0.005 * chance.standard_normal()))
            case "after-running":
                yield max(least_s, boot_s * 1.1 + run_s * chance.uniform(0.6, 1.4))
            case "watchdog":
                yield max(least_s, period_s * (1 + 0.003 * chance.standard_normal()))
            case "intermittent":
                within = chance.random() < 0.4 and least_s < boot_s
                yield chance.uniform(least_s, boot_s) if within else boot_s * 1.1 + chance.exponential(run_s)
            case _:
                yield chance.uniform(min(least_s, most_s), most_s)
                yield math.inf


def _clear_of_opening(family: Family, up_s: float) -> float:
    """Return ``up_s``, or the next time at which no boot of the family draws as at its begin, so that a break shows."""
    begin_s = 0.0
    for stage in family.stages:
        end_s = begin_s + stage.length_s
        from_s, to_s = begin_s * (1 + _BOOTS_DIFFER), end_s * (1 - _BOOTS_DIFFER)
        apart = all(differ(level_a, family.opening_a) for level_a in (stage.level_a, stage.end_a))
        if apart and max(from_s, up_s) < to_s:
            return max(from_s, up_s)
        begin_s = end_s
    return max(up_s, begin_s * (1 + _BOOTS_DIFFER))
