"""Random device families for the planning benchmark, hidden causes in them, and the orders that hands go by."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

from wakerail.planning.advice import advise
from wakerail.planning.course import Course
from wakerail.planning.ending import Ending, early_ending
from wakerail.planning.model import Action, BootWay, Cause, CauseSort, FamilyPlan, Watching
from wakerail.planning.observations import BootWatched, tells

MOST_TRIES = 80

Order = Callable[[Course], frozenset[str]]


def draw_family(seed: int, candidates: int, error: float = 0.0, confirm: float = 0.95) -> FamilyPlan:
    """Return a family with so many candidates, the board among them: two covers, a fifth of the cables over another."""
    draw = random.Random(seed)
    causes = [Cause("board", CauseSort.BOARD, draw.uniform(0.1, 0.4) * candidates)]
    actions = [
        Action("cover", frozenset(), draw.uniform(60, 240), draw.uniform(60, 180), 0.005),
        Action("shield", frozenset(), draw.uniform(60, 300), draw.uniform(60, 240), 0.005, frozenset({"cover"})),
    ]
    for number in range(candidates - 1):
        name = f"part-{number}"
        causes.append(Cause(name, CauseSort.PART, draw.lognormvariate(0.0, 1.0)))
        after = {draw.choice(["cover", "cover", "shield"])}
        if number and draw.random() < 0.2:
            after.add(f"part-{draw.randrange(number)}")
        times = draw.uniform(30, 300), draw.uniform(30, 240)
        actions.append(Action(name, frozenset({name}), *times, draw.uniform(0.0, 0.03), frozenset(after)))
    watching = Watching(draw.uniform(60, 240), error, error)
    return FamilyPlan("drawn", tuple(causes), tuple(actions), (BootWay("pads"),), watching, confirm=confirm)


def planned(course: Course) -> frozenset[str]:
    """What the plan does next."""
    step = advise(course).next
    assert not isinstance(step, Ending)
    return step.done  # type: ignore[union-attr]  # the families have no checks


def likeliest_first(course: Course) -> frozenset[str]:
    """Take off one part after another, the likeliest first, and leave them off."""
    return _one_more(course, lambda name: -course.belief.share[name])


def cheapest_first(course: Course) -> frozenset[str]:
    """Take off one part after another, the one that costs least first, and leave them off."""
    plan = course.plan

    def cost_s(cause: str) -> float:
        return sum(plan.cost_s(plan.action[one]) for one in needs(plan, cause) - course.done)

    return _one_more(course, cost_s)


def halving(course: Course) -> frozenset[str]:
    """Have off what is at fault with a chance of one half, likeliest first."""
    plan, share = course.plan, course.belief.share
    done: frozenset[str] = frozenset()
    for cause in sorted(plan.removable, key=lambda one: -share[one]):
        more = done | needs(plan, cause)
        before, after = (sum(share[one] for one in plan.off(some)) for some in (done, more))
        if _can_be(course, more) and abs(after - 0.5) < abs(before - 0.5):
            done = more
    return done


def needs(plan: FamilyPlan, cause: str) -> frozenset[str]:
    """Return what is done to take a cause off, by the first action that does it."""
    action = next(one for one in plan.actions if cause in one.disconnects)
    return plan.needs[action.name]


def _can_be(course: Course, done: frozenset[str]) -> bool:
    """Return whether a boot can be prompted with these actions done, and tells something."""
    return bool(course.plan.boot_ways(done)) and tells(course.plan, done, course.usual_s)


def _one_more(course: Course, key: Callable[[str], float]) -> frozenset[str]:
    """Take off one part more; once the fault seems to have left, leave off only the likeliest of those that are off.

    Where one part more would leave no way to prompt the boot, or tell nothing, that part is tried alone.
    """
    plan, share = course.plan, course.belief.share
    off = plan.off(course.done)
    left = [cause for cause in plan.removable - off if share[cause] >= 0.01]
    if left and sum(share[cause] for cause in off) <= 0.5:
        for cause in sorted(left, key=lambda cause: (key(cause), cause)):
            for done in (course.done | needs(plan, cause), needs(plan, cause)):
                if _can_be(course, done):
                    return done
    suspects = sorted((cause for cause in off if share[cause] >= 0.01), key=lambda cause: -share[cause])
    alone = [needs(plan, cause) for cause in suspects if plan.off(needs(plan, cause)) != off]
    return next((done for done in alone if _can_be(course, done)), course.done)


ORDERS: dict[str, Order] = {"likeliest": likeliest_first, "cheapest": cheapest_first, "halving": halving}


@dataclass(frozen=True, slots=True)
class Isolated:
    """One isolation: its cost, risk included, and whether the right cause was named, a wrong one, or none."""

    cost_s: float
    right: bool
    wrong: bool


def isolate(plan: FamilyPlan, cause: str, seed: int, order: Order) -> Isolated:
    """Isolate a hidden cause by an order. All orders share the belief, the rule for the end, and the reversal.

    Whether a boot's verdict is wrong comes from the seed and the number of the try, the same for all orders.
    """
    draw = random.Random(seed)
    course, cost_s = Course(plan), 0.0
    for _ in range(MOST_TRIES):
        likely = max(course.belief.of_cause.values())
        leading = max(course.belief.of_cause, key=lambda name: course.belief.of_cause[name])
        if likely >= plan.confirm or early_ending(course, frozenset({leading})) is not None:
            step = advise(course).next
            if isinstance(step, Ending):
                return Isolated(cost_s, cause in step.causes, bool(step.causes) and cause not in step.causes)
            done = step.done  # type: ignore[union-attr]
        else:
            done = order(course)
        cost_s += sum(plan.cost_s(plan.action[name]) for name in done - course.done)
        cost_s += sum(plan.action[name].undo_s for name in course.done - done) + plan.watching.try_s
        connected = cause not in plan.off(done)
        wrong = draw.random() < (plan.watching.miss if connected else plan.watching.false)
        course = course.seen(BootWatched(done, float(connected != wrong)))
    return Isolated(cost_s, right=False, wrong=False)
