"""What to do next in an isolation, and why; or how it ended."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wakerail.planning.belief import Belief, update
from wakerail.planning.course import Course
from wakerail.planning.ending import (
    Ending,
    boots_together_again,
    early_ending,
    first_clean,
    gone,
    has_come_back,
    named,
    nothing_left,
)
from wakerail.planning.exact import MOST_CANDIDATES, ExactPlan
from wakerail.planning.lookahead import LookAhead
from wakerail.planning.model import Check
from wakerail.planning.observations import BootWatched, CheckSeen
from wakerail.planning.problem import Layout, Problem, bits
from wakerail.planning.telling import tell_check, tell_try

#: Candidates that are together this share of what may be wrong at the end are left out of the reckoning.
_LEFT_OUT = 0.2
#: A boot that was read with less certainty than this is worth more of its kind.
_SURE_ENOUGH, _SHOWN = 0.8, 0.5
#: So many boots with nothing changed are enough that all of them are wrong together no more often than this.
_WRONG_TOGETHER = 1e-3


@dataclass(frozen=True, slots=True)
class Try:
    """Do and undo these actions in this order, and watch a boot. ``notes``: what the device then does with no fault."""

    to_do: tuple[str, ...]
    to_undo: tuple[str, ...]
    done: frozenset[str]
    time_s: float
    why: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RunCheck:
    """Run a check with a verdict of its own."""

    check: str
    time_s: float
    why: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Advice:
    """The causes with their shares, likeliest first, and what is next: a try, a check, or the end.

    expected_s: the expected cost from here to a confirmed cause, risk included. exact: whether it was reckoned exactly
    (under the planning's own assumptions) or by look-ahead.
    """

    ranked: tuple[tuple[str, float], ...]
    next: Try | RunCheck | Ending
    expected_s: float
    exact: bool


def advise(course: Course) -> Advice:
    """Return what to do next in a course."""
    belief, plan = course.belief, course.plan
    ranked = tuple(belief.ranked)
    left_out = _LEFT_OUT * (1.0 - plan.confirm)
    layout = Layout(plan, course.usual_s)
    problem = layout.problem(belief, left_out=left_out)
    done = sum(1 << number for number, name in enumerate(problem.actions) if name in course.done)
    cleared = first_clean(course) is not None
    place, sure = _leading(course, problem)
    leading = problem.candidates[place]
    if boots_together_again(course):
        ended = gone(course)
        again = make_try(course, problem, done, done, "to see whether the fault is gone with everything connected")
        return Advice(ranked, ended or again, 0.0 if ended else again.time_s, exact=False)
    if sure >= plan.confirm:
        return _at_the_end(course, problem, place, done, ranked)
    ended = early_ending(course, leading)
    if ended is not None:
        return Advice(ranked, ended, 0.0, exact=True)
    told = _has_told(course)
    expected_s, after, exact = _best_try(problem, done, cleared, told)
    if after is None and told:  # nothing else can be done than to boot once more
        expected_s, after, exact = _best_try(problem, done, cleared, told=False)
    if after is None:  # what is left to tell are two causes at once, each pair unlikely
        problem = layout.problem(belief, left_out=left_out, pairs_from=0.0)
        expected_s, after, exact = _best_try(problem, done, cleared, told)
    check = _worthwhile_check(course, layout, problem, done, cleared)
    if check is not None:
        saving_s, best = check
        run = RunCheck(best.name, best.time_s, tell_check(course, best))
        return Advice(ranked, run, max(expected_s - saving_s, best.time_s), exact=False)
    if after is None:
        return Advice(ranked, nothing_left(course, leading), 0.0, exact=exact)
    return Advice(ranked, make_try(course, problem, done, after), expected_s, exact=exact)


def _leading(course: Course, problem: Problem) -> tuple[int, float]:
    """Return the place of the likeliest candidate and how likely it is; two causes at once only if likely enough."""
    sure = [
        problem.weights[place] if len(problem.cuts[place]) > 1 else course.belief.of_any(causes)
        for place, causes in enumerate(problem.candidates)
    ]
    pair = [place for place, cuts in enumerate(problem.cuts) if len(cuts) > 1 and sure[place] >= course.plan.confirm]
    alone = [place for place, cuts in enumerate(problem.cuts) if len(cuts) < 2]
    best = max(pair or alone or range(len(sure)), key=lambda place: sure[place])
    return best, sure[best]


def _has_told(course: Course) -> bool:
    """Return whether to boot once more with nothing changed would tell nothing that is in doubt.

    It would not where the last boot came out as all else says it must, or where as many boots with the same done have
    told what such boots can.
    """
    if _doubt(course) <= 1.0 - course.plan.confirm:
        return True
    watching = course.plan.watching
    wrong = max(watching.miss, watching.false)
    enough = 2 if wrong <= 0.0 else max(2, math.ceil(math.log(_WRONG_TOGETHER) / math.log(wrong)))
    last = [one for one in course.observations[-enough:] if isinstance(one, BootWatched)]
    sure = all(max(one.shown, 1.0 - one.shown) >= _SURE_ENOUGH for one in last)
    return len(last) == enough and sure and len({one.done for one in last}) == 1


def _doubt(course: Course) -> float:
    """Return how likely the last boot told the wrong thing of the fault, given all that was seen; 1 if none was."""
    if not course.observations or not isinstance(last := course.observations[-1], BootWatched):
        return 1.0
    off = course.plan.off(last.done)
    is_off = sum(share for causes, share in course.belief.probability.items() if causes <= off)
    return is_off if last.shown >= _SHOWN else 1.0 - is_off


def _best_try(problem: Problem, done: int, cleared: bool, told: bool) -> tuple[float, int | None, bool]:
    """Return the expected cost to a confirmed cause, what is done for the next try, and whether that is exact.

    ``told``: what is done now was just tried enough. Results are taken to be certain from now on, so that to boot once
    more would seem to tell the rest for nothing.
    """
    if len(problem.candidates) <= MOST_CANDIDATES:
        reckoned = ExactPlan(problem, told)
        return reckoned.cost_s(problem.all, done, cleared), reckoned.best(problem.all, done, cleared), True
    weighted, after = LookAhead(problem, done, cleared=cleared, told=told).found
    return weighted / problem.weight(problem.all), after, False


def _at_the_end(
    course: Course, problem: Problem, place: int, done: int, ranked: tuple[tuple[str, float], ...]
) -> Advice:
    """Return what is still owed for a candidate that is likely enough: to see the fault leave, and come back."""
    leading = problem.candidates[place]
    pair = len(problem.cuts[place]) > 1
    clean_at = first_clean(course, leading)
    if problem.cuts[place] and not has_come_back(course, leading):
        if clean_at is None:
            move = problem.unplugging(place, done)
            why = "to see the fault leave with it"
        else:
            move = problem.replugging(place, done) if problem.reversal(place, done) else None
            why = "to see the fault come back with it"
        if move is not None and (clean_at is None or problem.off(done) >> place & 1):
            expected_s = problem.finish(place, done, clean_at is not None)
            return Advice(ranked, make_try(course, problem, done, move[1], why), expected_s, exact=True)
    if len(leading) > 1 and not pair and max(course.belief.of_cause[cause] for cause in leading) < course.plan.confirm:
        for check in _checks_left(course):
            if len({check.fails.given({cause}) for cause in leading}) > 1:
                why = "tells apart what no unplugging can"
                return Advice(
                    ranked, RunCheck(check.name, check.time_s, tell_check(course, check, why)), 0.0, exact=True
                )
    return Advice(ranked, early_ending(course, leading) or named(course, leading, pair=pair), 0.0, exact=True)


def _checks_left(course: Course) -> list[Check]:
    """Return the checks that were not run yet."""
    run = {one.check for one in course.observations if isinstance(one, CheckSeen)}
    return [check for check in course.plan.checks if check.name not in run]


def _worthwhile_check(
    course: Course, layout: Layout, problem: Problem, done: int, cleared: bool
) -> tuple[float, Check] | None:
    """Return the check that saves most and how much, compared by runs; None if none pays its time."""
    checks = _checks_left(course)
    if not checks:
        return None
    plan, belief = course.plan, course.belief
    now_s = LookAhead(problem, done, cleared=cleared).rough_s
    best: tuple[float, Check] | None = None
    for check in checks:
        after_s = check.time_s
        chance = sum(share * check.fails.given(causes) for causes, share in belief.probability.items())
        for failed, weight in ((1.0, chance), (0.0, 1.0 - chance)):
            if weight > 0.0:
                then = update(plan, belief, CheckSeen(check.name, failed), course.usual_s)
                if _surest(then, problem) >= plan.confirm:
                    continue  # it would be named at once
                left = layout.problem(then, left_out=_LEFT_OUT * (1.0 - plan.confirm))
                after_s += weight * LookAhead(left, done, cleared=cleared).rough_s
        saving_s = now_s - after_s
        if saving_s > 0.0 and (best is None or saving_s > best[0]):
            best = saving_s, check
    return best


def _surest(belief: Belief, problem: Problem) -> float:
    """Return how likely the likeliest candidate is."""
    return max(
        belief.of_any(causes) if len(causes) > 1 else sum(belief.of_cause[cause] for cause in causes)
        for causes in problem.candidates
    )


def make_try(course: Course, problem: Problem, done: int, after: int, why: str = "") -> Try:
    """Return the try that comes from one set of done actions to another, in an order that is possible."""
    plan = course.plan
    names = {problem.actions[place] for place in bits(after)}
    before = {problem.actions[place] for place in bits(done)}

    def depth(name: str) -> tuple[int, str]:
        return len(plan.needs[name]), name

    to_do = tuple(sorted(names - before, key=depth))
    to_undo = tuple(sorted(before - names, key=depth, reverse=True))
    time_s = plan.watching.try_s
    time_s += sum(plan.action[name].do_s for name in to_do) + sum(plan.action[name].undo_s for name in to_undo)
    off = plan.off(to_do)
    notes = tuple(effect.says for effect in plan.missing if effect.without in off)
    return Try(to_do, to_undo, frozenset(names), time_s, tell_try(course, to_do, to_undo, time_s, why), notes)
