"""How an isolation ends: a confirmed cause, the board itself, or no conclusion and why."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from wakerail.planning.course import Course
from wakerail.planning.model import CauseSort
from wakerail.planning.observations import BootWatched, in_boots, tells
from wakerail.planning.telling import percent

#: Contrary results as many as these come by chance in fewer than this share of isolations: something else is wrong.
_CONTRARY = 1e-3
#: A second cause is mentioned from this probability on.
_WORTH_TELLING = 0.1
#: A fault is gone that does not show in so many boots on end, and in so many tries where each has several boots; three
#: miss one that comes in three of five boots in 6 of 100 cases.
_LEAST_TOGETHER, _LEAST_TRIES = 3, 2
#: Causes that are less likely are no hint at a contact.
_HINTED = 0.2


class EndSort(StrEnum):
    """The ways in which an isolation ends."""

    CONFIRMED = "confirmed"
    BOARD = "the board itself"
    INCONCLUSIVE = "inconclusive"


@dataclass(frozen=True, slots=True)
class Ending:
    """The end: what is named (empty if inconclusive; several if nothing tells them apart), how sure, and a sentence."""

    sort: EndSort
    causes: tuple[str, ...]
    probability: float
    says: str


def shows(watched: BootWatched) -> bool:
    """Return whether a try rather showed the fault than not."""
    return watched.shown >= 0.5


def first_clean(course: Course, causes: frozenset[str] | None = None) -> int | None:
    """Return which try was the first clean one with something off, or with all of these causes off; None if none."""
    for number, watched in enumerate(course.watched):
        off = course.plan.off(watched.done)
        if not shows(watched) and off and (causes is None or causes <= off) and _tells(course, watched):
            return number
    return None


def has_come_back(course: Course, causes: frozenset[str]) -> bool:
    """Return whether the fault was seen with these causes connected, after a clean try without them."""
    clean_at = first_clean(course, causes)
    return clean_at is not None and any(
        shows(watched) and not causes & course.plan.off(watched.done) for watched in course.watched[clean_at:]
    )


def boots_together_again(course: Course) -> int:
    """Return how many boots on end, the newest, were clean with everything connected again, though the fault showed.

    0 unless a boot was clean with something off before: then it was that, or a contact that has been seated since.
    """
    clean = 0
    for watched in reversed(course.watched):
        if course.plan.off(watched.done) or shows(watched):
            break
        clean += watched.boots or course.plan.watching.boots
    return clean if any(map(shows, course.watched)) and first_clean(course) is not None else 0


def gone(course: Course) -> Ending | None:
    """Return the end of a course whose fault is gone with everything connected again; None while that is not sure."""
    clean = boots_together_again(course)
    if clean < max(_LEAST_TOGETHER, _LEAST_TRIES * course.plan.watching.boots):
        return None
    moved = frozenset[str]().union(*(course.plan.off(watched.done) for watched in course.watched))
    likely = [course.plan.cause[one].title for one, share in course.belief.ranked if one in moved and share >= _HINTED]
    where = f", likeliest of {' or '.join(likely[:2])}" if likely else ""
    says = (
        f"The fault is gone with everything connected again, {clean} boots on end: perhaps a bad contact{where}, "
        "seated by now. Look at that connector, clean it, and watch the device for long; or it comes and goes: more "
        "boots in each try."
    )
    return Ending(EndSort.INCONCLUSIVE, (), course.belief.of_any(frozenset({course.belief.ranked[0][0]})), says)


def early_ending(course: Course, leading: frozenset[str]) -> Ending | None:
    """Return why going on makes no sense, None if it does. ``leading`` are the likeliest causes, not told apart."""
    sure = course.belief.of_any(leading)
    if _never_shown(course):
        says = (
            "The fault does not show with everything connected; nothing can be isolated. "
            "Watch longer, or more boots in each try."
        )
        return Ending(EndSort.INCONCLUSIVE, (), sure, says)
    if contrary_chance(course, leading) < _CONTRARY:
        titles = " or ".join(sorted(course.plan.cause[cause].title for cause in leading))
        says = (
            f"The results contradict each other: for the likeliest cause, {titles}, so many contrary ones come by "
            "chance in fewer than 1 of 1000 isolations. Undo a wrong answer, or watch more boots in each try."
        )
        return Ending(EndSort.INCONCLUSIVE, (), sure, says)
    return None


def nothing_left(course: Course, leading: frozenset[str]) -> Ending:
    """Return the end of a course in which no try tells more, and the likeliest causes are not likely enough."""
    sure = course.belief.of_any(leading)
    titles = " or ".join(sorted(course.plan.cause[cause].title for cause in leading))
    says = (
        f"No try tells more: {titles} is likeliest at {percent(sure)}, "
        f"and {percent(course.plan.confirm)} are wanted to name it."
    )
    return Ending(EndSort.INCONCLUSIVE, (), sure, says)


def named(course: Course, leading: frozenset[str], *, pair: bool = False) -> Ending:
    """Return the end of a course in which these causes are likely enough: both of a pair, else one or the other."""
    plan, belief = course.plan, course.belief
    order = tuple(sorted(leading, key=lambda cause: (-belief.of_cause[cause], cause)))
    alone = not pair and belief.of_cause[order[0]] >= plan.confirm
    causes = order[:1] if alone else order
    sure = belief.probability.get(leading, 0.0) if pair else belief.of_any(causes)
    on_board = not leading & plan.removable and all(plan.cause[one].sort is not CauseSort.PART for one in leading)
    if on_board and not (alone and plan.cause[order[0]].sort is not CauseSort.BOARD):
        says = f"The board itself, {percent(belief.of_any(order))} sure: the fault stays with whatever is unplugged."
        if len(order) > 1:
            parts = (f"{plan.cause[one].title} {percent(belief.of_cause[one])}" for one in order)
            says += f" On it: {', '.join(parts)}."
        return Ending(EndSort.BOARD, order, belief.of_any(order), says)
    titles = (" and " if pair else " or ").join(plan.cause[cause].title for cause in causes)
    how = "by elimination" if first_clean(course, leading) is None else "the fault left with it"
    if has_come_back(course, leading):
        how += " and came back with it"
    if pair:
        how = how.replace(" it", " them")
    elif not alone:
        how += "; nothing tells them apart"
    says = f"{titles[:1].upper()}{titles[1:]}, {percent(sure)} sure: {how}{_perhaps(course, causes)}."
    return Ending(EndSort.CONFIRMED, causes, sure, says)


def _perhaps(course: Course, causes: tuple[str, ...]) -> str:
    """Return what may well be at fault beside the one cause that is named."""
    if len(causes) > 1:
        return ""
    beside = {
        cause: share
        for pair, share in course.belief.probability.items()
        if len(pair) > 1 and causes[0] in pair and share >= _WORTH_TELLING
        for cause in pair - {causes[0]}
    }
    told = [f"{course.plan.cause[cause].title} as well ({percent(share)})" for cause, share in sorted(beside.items())]
    return f"; perhaps {', '.join(told)}" if told else ""


def contrary_chance(course: Course, causes: frozenset[str]) -> float:
    """Return how likely at least as many contrary tries are as there were, if these causes are at fault.

    Each try has its own chance to be contrary, so the number of them has a Poisson binomial distribution.
    """
    plan = course.plan.missed_in(course.miss)
    count, chances = 0, [1.0]
    for watched in course.watched:
        if not _tells(course, watched):
            continue
        gone = causes <= plan.off(watched.done)
        watching = in_boots(plan, watched)
        rate = watching.try_false if gone else watching.try_miss
        count += shows(watched) == gone
        chances = [
            (chances[number] if number < len(chances) else 0.0) * (1.0 - rate)
            + (chances[number - 1] * rate if number else 0.0)
            for number in range(len(chances) + 1)
        ]
    return sum(chances[count:])


def _tells(course: Course, watched: BootWatched) -> bool:
    return tells(course.plan, watched.done, course.usual_s)


def _never_shown(course: Course) -> bool:
    """Return whether the fault was never seen, in as many boots with everything connected as a try has."""
    if any(shows(watched) for watched in course.watched):
        return False
    at_rest = [watched for watched in course.watched if not course.plan.off(watched.done)]
    boots = course.plan.watching.boots
    return bool(at_rest) and sum(watched.boots or boots for watched in at_rest) >= boots
