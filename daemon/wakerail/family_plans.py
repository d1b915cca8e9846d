"""The plan section of a device family, config/devices/*.yaml: what its isolation is planned from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from wakerail.planning.model import (
    Action,
    BootWay,
    Cause,
    CauseSort,
    Check,
    FamilyPlan,
    Likelihood,
    MissingEffect,
    Sign,
    Watching,
)
from wakerail_kit.hints import nearest
from wakerail_kit.yamldoc import Section, load_yaml

_LONGEST_S = 86400.0


def load_family_plan(file: Path) -> FamilyPlan | None:
    """Read the plan of a family; None if it has none. Raises ConfigInvalid with every mistake of the section."""
    doc = load_yaml(file)
    doc.top.leave_open()
    plan = read_plan(doc.top) if "plan" in doc.top else None
    doc.finish()
    return plan


def load_family_plans(folder: Path) -> dict[str, FamilyPlan]:
    """Read the plans of all families of a folder that have one, by family."""
    plans = (load_family_plan(file) for file in sorted(folder.glob("*.yaml")))
    return {plan.family: plan for plan in plans if plan is not None}


def read_plan(top: Section) -> FamilyPlan:
    """Read the plan of a family's file, noting every mistake at its line."""
    section = top.section("plan")
    cause_sections = section.sections("causes")
    causes = _causes(section, cause_sections)
    action_sections = section.sections("actions")
    actions = _actions(action_sections, causes)
    _check_parts(cause_sections, causes, actions)
    watch = section.section("watch")
    plan = FamilyPlan(
        family=top.name("family"),
        causes=tuple(causes.values()),
        actions=tuple(actions.values()),
        ways=_ways(section, causes),
        watching=Watching(
            time_s=watch.quantity("time", "s", low=1.0, high=_LONGEST_S),
            miss=watch.quantity("miss", "1", low=0.0, high=0.5),
            false=watch.quantity("false", "1", low=0.0, high=0.5),
            comes_and_goes=watch.quantity("comes-and-goes", "1", default=0.0, low=0.0, high=1.0),
        ),
        missing=_missing(section, causes),
        checks=tuple(
            Check(one.name("check"), one.quantity("time", "s", low=0.0, high=_LONGEST_S), _likely(one, "fails", causes))
            for one in section.sections("checks", default=())
        ),
        signs=tuple(
            Sign(one.name("sign"), _likely(one, "seen", causes)) for one in section.sections("signs", default=())
        ),
        pairs=section.quantity("pairs", "1", default=0.0, low=0.0, high=0.5),
        confirm=section.quantity("confirm", "1", default=0.95, low=0.5, high=1.0),
        damage_s=section.quantity("damage", "s", default=3600.0, low=0.0),
        reversal_s=section.quantity("reversal", "s", default=360.0, low=0.0),
        strength=section.quantity("strength", "1", default=20.0, low=1.0),
    )
    _check_order(section, action_sections, plan)
    return plan


def _causes(section: Section, sections: list[Section]) -> dict[str, Cause]:
    causes: dict[str, Cause] = {}
    for one in sections:
        sort = one.text("sort", one_of=[sort.value for sort in CauseSort])
        name = _new_name(one, "cause", causes)
        weight = one.quantity("weight", "1", low=0.0)
        if weight == 0.0 and "weight" in one:
            one.note("weight", "0 says that it never is the cause; give it a small weight, or leave the cause out")
        known = sort in {each.value for each in CauseSort}
        causes[name] = Cause(name, CauseSort(sort) if known else CauseSort.PART, weight, one.text("says", default=""))
    if "causes" in section and not any(cause.sort is CauseSort.BOARD for cause in causes.values()):
        section.note("causes", "none is of the sort 'board'; what is not unplugged must be there to be named")
    return causes


def _actions(sections: list[Section], causes: Mapping[str, Cause]) -> dict[str, Action]:
    actions: dict[str, Action] = {}
    for one in sections:
        name = _new_name(one, "action", actions)
        actions[name] = Action(
            name=name,
            disconnects=_known(one, "disconnects", causes, "cause"),
            do_s=one.quantity("time", "s", low=0.0, high=_LONGEST_S),
            undo_s=one.quantity("back", "s", low=0.0, high=_LONGEST_S),
            risk=one.quantity("risk", "1", default=0.0, low=0.0, high=1.0),
            after=frozenset(one.texts("after", default=())),
            says=one.text("says", default=""),
        )
        for cause in sorted(actions[name].disconnects):
            if causes[cause].sort is CauseSort.BOARD:
                one.note("disconnects", f"{cause} is of the sort 'board', which nothing disconnects")
    needed = {other for action in actions.values() for other in action.after}
    for one in sections:
        action = actions[one.peek("action")]
        for other in sorted(action.after - actions.keys()):
            one.note("after", f"{other!r} is no action here; {nearest(other, actions)}")
        if not action.disconnects and action.name not in needed:
            one.note(
                "action", f"{action.name} disconnects nothing and no action comes after it; name what it disconnects"
            )
    return actions


def _check_parts(sections: list[Section], causes: Mapping[str, Cause], actions: Mapping[str, Action]) -> None:
    """Note parts that nothing disconnects."""
    off = frozenset().union(*(action.disconnects for action in actions.values()))
    for one in sections:
        cause = causes[one.peek("cause")]
        if cause.sort is CauseSort.PART and cause.name not in off:
            one.note("cause", f"{cause.name} is a part, and no action disconnects it")


def _ways(section: Section, causes: Mapping[str, Cause]) -> tuple[BootWay, ...]:
    if "boot-by" not in section:
        section.note("boot-by", "is missing: without a way to prompt the boot nothing can be tried; name at least one")
        section.raw("boot-by", None)
        return ()
    ways = tuple(
        BootWay(one.text("way"), _known(one, "through", causes, "cause")) for one in section.sections("boot-by")
    )
    if not ways:
        section.note("boot-by", "is empty: without a way to prompt the boot nothing can be tried; name at least one")
    return ways


def _missing(section: Section, causes: Mapping[str, Cause]) -> tuple[MissingEffect, ...]:
    effects = []
    for one in section.sections("missing", default=()):
        (without,) = _known(one, "without", causes, "cause", default=None) or {""}
        restarts_s = None
        if "restarts" in one:
            span = one.section("restarts")
            restarts_s = (span.quantity("from", "s", low=0.0), span.quantity("to", "s", low=0.0))
            if restarts_s[0] >= restarts_s[1]:
                span.note("to", "is not above 'from'; no restart would fit")
        effects.append(MissingEffect(without, one.text("says"), restarts_s))
    return tuple(effects)


def _likely(section: Section, key: str, causes: Mapping[str, Cause]) -> Likelihood:
    named = section.section(key)
    of_cause = {}
    for name in named:
        of_cause[name] = named.quantity(name, "1", low=0.0, high=1.0)
        if name not in causes:
            named.note(name, f"is no cause here; {nearest(name, causes)}")
    return Likelihood(of_cause, section.quantity("otherwise", "1", low=0.0, high=1.0))


def _known(section: Section, key: str, known: Mapping[str, object], what: str, default: object = ()) -> frozenset[str]:
    names = section.texts(key) if default is None else section.texts(key, default=default)
    for name in names:
        if name not in known:
            section.note(key, f"{name!r} is no {what} here; {nearest(name, known)}")
    return frozenset(name for name in names if name in known)


def _new_name(section: Section, key: str, taken: Iterable[str]) -> str:
    name = section.name(key)
    if name in taken:
        section.note(key, f"{name!r} is there twice; give each a name of its own")
    return name


def _check_order(section: Section, sections: list[Section], plan: FamilyPlan) -> None:
    """Note an order in a circle, and actions that leave no way to prompt the boot."""
    if any(action.after - plan.action.keys() for action in plan.actions):
        return
    try:
        needs = plan.needs
    except ValueError as wrong:
        section.note("actions", f"their order goes in a circle: {wrong}")
        return
    for one in sections:
        action = plan.action[one.peek("action")]
        if plan.ways and not plan.boot_ways(needs[action.name]):
            kept = ", ".join(way.name for way in plan.ways)
            one.note("action", f"{action.name} leaves no way to prompt the boot ({kept}); add a way, or leave it out")
