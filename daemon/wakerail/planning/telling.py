"""The next step in one sentence: what to do, and why this."""

from __future__ import annotations

from collections.abc import Sequence

from wakerail.planning.course import Course
from wakerail.planning.model import Check

#: A cause that is likelier than all others together.
_STANDS_OUT = 0.5


def tell_try(course: Course, to_do: Sequence[str], to_undo: Sequence[str], time_s: float, why: str) -> str:
    """Return what to do for a try and why; ``why`` is empty where it is to split what is left."""
    plan = course.plan
    deeds = [plan.action[name].title for name in to_do]
    back = [f"the {name.replace('-', ' ')}" for name in to_undo]
    if back:
        deeds.insert(0, "put back " + listed(back))
    what = _joined(deeds) if deeds else "boot once more as it is"
    moved = {cause for name in (*to_do, *to_undo) for cause in plan.action[name].disconnects}
    likely = course.belief.of_any(moved) if moved else 0.0
    reasons = [minutes(time_s), why or _why(likely, alone=len(moved) == 1, back=bool(back), deeds=bool(deeds))]
    if moved:
        together = " together" if len(moved) > 1 else ""
        reasons.insert(0, f"{percent(likely)} likely{together}")
    if plan.watching.boots > 1:
        reasons.insert(-1, f"{plan.watching.boots} boots")
    return f"{what[:1].upper()}{what[1:]}: {', '.join(reasons)}."


def _why(likely: float, *, alone: bool, back: bool, deeds: bool) -> str:
    """Return why to try it: one that stands out is to be caught, others are to be told apart."""
    if not deeds:
        return "to be sure of the last result"
    if not alone or likely < _STANDS_OUT:
        return "splits the rest best"
    return "to see whether the fault comes back with it" if back else "to see whether the fault leaves with it"


def _joined(deeds: Sequence[str]) -> str:
    """Return deeds in a row, each verb said once as long as it stays the same."""
    said, before = [], ""
    for deed in deeds:
        verb, the, what = deed.partition(" the ")
        said.append(f"the {what}" if the and verb == before else deed)
        before = verb
    return listed(said)


def tell_check(course: Course, check: Check, why: str = "saves more than it takes") -> str:
    """Return which check to run and why."""
    chance = sum(share * check.fails.given(causes) for causes, share in course.belief.probability.items())
    return f"Run the {check.name}: {percent(chance)} likely to fail, {minutes(check.time_s)}, {why}."


def listed(words: Sequence[str]) -> str:
    """Return words in a row, the last one joined by 'and'."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def percent(share: float) -> str:
    """Return a share as a whole number of percent, as nobody knows it better; never 0 or 100 unless it is."""
    shown = min(max(round(100.0 * share), 1), 99) if 0.0 < share < 1.0 else round(100.0 * share)
    return f"{shown} %"


def minutes(time_s: float) -> str:
    """Return a time in minutes as one says it at the bench."""
    return f"{max(round(time_s / 60.0), 1)} min"
