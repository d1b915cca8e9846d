"""Makes a recording from its case: the device's current by its plan, then the meter's view of it."""

from __future__ import annotations

import numpy as np

from wakerail_sim.corpus import meter
from wakerail_sim.corpus.boots import make_boot
from wakerail_sim.corpus.case import LIFE_CONFUSERS, Case, Confuser, Mark, Recording, Truth
from wakerail_sim.corpus.edges import Curve, Edges, join
from wakerail_sim.corpus.family import Family, draw_family
from wakerail_sim.corpus.faults import Plan, plan_boots
from wakerail_sim.corpus.life import draw_habits, live
from wakerail_sim.noise import Floats

_SET_V, _LEAD_OHM = 3.85, 0.06


def make_recording(case: Case, seed: int) -> Recording:
    """Make the recording of a case: the same seed always gives the same device, life and readings.

    What a technician with a plot could not tell is left out: a boot has at least three stages that can be seen at the
    rate, and opens with a level other than the running one; a warm restart breaks off where the device does not draw
    as it does at the begin of its boot; no gap hides a restart; where a meter reads a sleep as 0, no charger pulses
    into it. How short a boot may be is said at ``faults.plan_boots``.
    """
    device, course, metering = (np.random.default_rng([seed, stream]) for stream in range(3))
    family = draw_family(device, case)
    habits = draw_habits(device, family, case)
    plan = plan_boots(device, family, case)
    parts: list[Edges] = []
    marks: list[Mark] = []
    for number, (begin_s, ended_s) in enumerate(plan.boots):
        boot = make_boot(course, family, begin_s, warm=case.warm and number > 0)
        until_s = min(ended_s, plan.end_s + 1.0)
        life = live(course, habits, boot.end_s, until_s)
        parts += [boot.edges.cut(until_s), life.edges]
        marks += life.marks
    t_s, drawn_a = meter.sample(metering, Curve(join(parts)), family, case, plan.end_s)
    current_a, switches = meter.read(metering, t_s, drawn_a, family, case)
    kept, gaps = meter.lose(metering, t_s, case, _telling(plan, family, case))
    seen = tuple(mark for mark in (*marks, *switches, *gaps) if mark.end_s > 0 and mark.start_s < plan.end_s)
    return Recording(
        t_s=t_s[kept],
        current_a=current_a[kept],
        voltage_v=_voltage(metering, drawn_a, case)[kept] if case.with_voltage else None,
        truth=Truth(
            onset_s=plan.boots[0][0] if plan.boots[0][0] >= 0 else None,
            restarts=plan.restarts,
            confusers=_shown(case, seen),
            marks=tuple(sorted(seen, key=lambda mark: mark.start_s)),
        ),
    )


def _telling(plan: Plan, family: Family, case: Case) -> list[tuple[float, float]]:
    """Return when a gap would hide a boot or a restart."""
    before_s = max(0.5, 3 * case.sample_s)
    after_s = family.telling_s if case.warm else max(1.0, 6 * case.sample_s)
    begins_s = [(plan.boots[0][0], plan.boots[0][0]), *plan.restarts]
    return [(at_s - before_s, again_s + after_s) for at_s, again_s in begins_s]


def _shown(case: Case, marks: tuple[Mark, ...]) -> tuple[Confuser, ...]:
    """Return the case's confusers without those that did not come about."""
    timed = {*LIFE_CONFUSERS, "range-switching", "gaps"}
    marked = {mark.kind for mark in marks}
    return tuple(kind for kind in case.confusers if kind not in timed or kind in marked)


def _voltage(chance: np.random.Generator, drawn_a: Floats, case: Case) -> Floats:
    noise_v = case.noise * 0.001 * chance.standard_normal(len(drawn_a))
    return np.round(_SET_V - _LEAD_OHM * drawn_a + noise_v, 3)
