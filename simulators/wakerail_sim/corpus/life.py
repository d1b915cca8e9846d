"""What a device draws once it is up: work that comes and goes, sleep, a screen, a radio, a charger's pulses."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wakerail_sim.corpus.case import Case, Confuser, Mark
from wakerail_sim.corpus.edges import Edges, edge, join, pulses
from wakerail_sim.corpus.family import Family
from wakerail_sim.draws import log_uniform
from wakerail_sim.noise import Floats


@dataclass(frozen=True, slots=True)
class Life:
    """The current above standing of a device that is up, and what of it looks like a restart."""

    edges: Edges
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Habits:
    """How this device lives: drawn once, the same after each of its boots. Currents in A above standing."""

    family: Family
    confusers: frozenset[Confuser]
    idle_a: float
    busy_a: float
    busy_s: float
    dark_a: float
    awake_s: float
    asleep_s: float
    wake_burst_a: float
    wake_burst_s: float
    spike_every_s: float
    spike_a: float
    spike_s: float
    duty_every_s: float
    duty_s: float
    duty_a: float
    charge_every_s: float
    charge_s: float
    charge_a: float


def draw_habits(chance: np.random.Generator, family: Family, case: Case) -> Habits:
    """Draw how a device of the family lives. A burst at waking is far shorter than a boot, to be told from one."""
    running_a = family.running_a
    duty_every_s = log_uniform(chance, 0.1, 2.0)
    charge_s = log_uniform(chance, 0.05, 2.0)
    duty = "radio-duty" in case.confusers
    return Habits(
        family=family,
        confusers=frozenset(case.confusers),
        idle_a=family.apart_from_opening(max(0.003, running_a * chance.uniform(0.05, 0.3))) if duty else running_a,
        busy_a=running_a * chance.uniform(0.1, 0.8),
        busy_s=min(log_uniform(chance, 0.1, 10.0), 0.3 * family.busy_every_s),
        dark_a=family.apart_from_opening(running_a * chance.uniform(0.3, 0.6)),
        awake_s=log_uniform(chance, 5.0, 90.0),
        asleep_s=log_uniform(chance, 2.0, 90.0),
        wake_burst_a=running_a * chance.uniform(0.2, 1.5) if chance.random() < 0.5 else 0.0,
        wake_burst_s=min(log_uniform(chance, 0.02, 0.3), 0.15 * family.boot_s),
        spike_every_s=log_uniform(chance, 2.0, 60.0),
        spike_a=running_a * chance.uniform(0.5, 3.0),
        spike_s=log_uniform(chance, 0.003, 0.5),
        duty_every_s=duty_every_s,
        duty_s=min(log_uniform(chance, 0.002, 0.1), 0.4 * duty_every_s),
        duty_a=running_a * chance.uniform(0.5, 2.0),
        charge_every_s=charge_s * log_uniform(chance, 1.5, 10.0),
        charge_s=charge_s,
        charge_a=max(0.02, running_a * chance.uniform(0.3, 2.0)),
    )


def live(chance: np.random.Generator, habits: Habits, start_s: float, end_s: float) -> Life:
    """Return what the device draws from the end of its boot until ``end_s``."""
    parts: list[Edges] = []
    marks: list[Mark] = []
    if end_s <= start_s:
        return Life(join(parts), ())
    woken = False
    for state, from_s, to_s in _states(chance, habits, start_s, end_s):
        parts.append(_state(chance, habits, state, from_s, to_s, woken=woken).cut(to_s))
        woken = state == "sleep-wake"
        if state is not None:
            marks.append(Mark(state, from_s, to_s))
        for kind, made in _extras(chance, habits, state, from_s, to_s):
            parts.append(made.cut(to_s))
            marks += [Mark(kind, float(made.at_s.min()), to_s)] if len(made.at_s) else []
    return Life(join(parts), tuple(marks))


def _states(
    chance: np.random.Generator, habits: Habits, start_s: float, end_s: float
) -> Iterator[tuple[Confuser | None, float, float]]:
    """Yield what the device does from when to when: sleep, be dark, or (None) be awake."""
    rests: list[Confuser] = [kind for kind in ("sleep-wake", "screen-off") if kind in habits.confusers]
    at_s, state = start_s, None
    while at_s < end_s:
        mean_s = habits.awake_s if state is None else habits.asleep_s
        length_s = mean_s * chance.uniform(0.4, 1.6) if rests else end_s - at_s
        yield state, at_s, min(end_s, at_s + length_s)
        at_s += length_s
        state = rests[int(chance.integers(len(rests)))] if rests and state is None else None


def _state(
    chance: np.random.Generator, habits: Habits, state: Confuser | None, from_s: float, to_s: float, *, woken: bool
) -> Edges:
    if state == "sleep-wake":
        return edge(from_s, habits.family.sleep_a)
    level_a = habits.idle_a if state is None else min(habits.dark_a, habits.idle_a)
    parts = [edge(from_s, level_a * chance.uniform(0.98, 1.02))]
    if woken and habits.wake_burst_a:
        parts.append(pulses(np.array([from_s]), np.array([habits.wake_burst_s]), np.array([habits.wake_burst_a])))
    at_s = _at_random(chance, from_s, to_s, habits.family.busy_every_s)
    widths_s = habits.busy_s * chance.exponential(1.0, len(at_s)) + 0.01
    parts.append(pulses(at_s, widths_s, habits.busy_a * chance.uniform(0.3, 1.0, len(at_s)) * level_a / habits.idle_a))
    return join(parts)


def _extras(
    chance: np.random.Generator, habits: Habits, state: Confuser | None, from_s: float, to_s: float
) -> Iterator[tuple[Confuser, Edges]]:
    if "load-spikes" in habits.confusers and state is None:
        at_s = _at_random(chance, from_s, to_s, habits.spike_every_s)
        widths_s = habits.spike_s * chance.uniform(0.5, 1.5, len(at_s))
        yield "load-spikes", pulses(at_s, widths_s, habits.spike_a * chance.uniform(0.5, 1.0, len(at_s)))
    if "radio-duty" in habits.confusers:
        at_s = np.arange(from_s, to_s, habits.duty_every_s)
        heights_a = habits.duty_a * chance.uniform(0.9, 1.1, len(at_s))
        yield "radio-duty", pulses(at_s, np.full(len(at_s), habits.duty_s), heights_a)
    # on a meter that reads a sleep as 0, pulses on a sleeping device would be all that a fast loop shows
    blind = state == "sleep-wake" and "quantised" in habits.confusers
    if "charging-pulses" in habits.confusers and not blind:
        begins_s = from_s + (to_s - from_s) * chance.uniform(0.0, 0.3)
        at_s = np.arange(begins_s, to_s, habits.charge_every_s)
        yield "charging-pulses", pulses(at_s, np.full(len(at_s), habits.charge_s), np.full(len(at_s), habits.charge_a))


def _at_random(chance: np.random.Generator, from_s: float, to_s: float, every_s: float) -> Floats:
    return np.sort(chance.uniform(from_s, to_s, chance.poisson((to_s - from_s) / every_s)))
