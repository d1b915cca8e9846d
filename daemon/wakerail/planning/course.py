"""The course of an isolation: what was seen, in its order, and what follows from it.

A course is a fold over its observations and nothing else, so that a wrong answer is undone by leaving it out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from wakerail.planning.belief import IMPOSSIBLE, Belief, Contradiction, prior, weigh
from wakerail.planning.model import FamilyPlan
from wakerail.planning.observations import BootWatched, CheckSeen, Observation, SignSeen, restarts_by_itself
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest


@dataclass(frozen=True)
class Course:
    """An isolation as far as it has come. ``usual_s``: from boot to boot, as the fault showed itself; None if unknown.

    Use ``start`` and ``seen`` to make one: they refuse what cannot be.
    """

    plan: FamilyPlan
    observations: tuple[Observation, ...] = ()
    #: What those that are kept are called by; empty: they are counted from 1. What is seen next has no number yet.
    numbers: tuple[int, ...] = ()

    @cached_property
    def usual_s(self) -> float | None:
        """The longest time from boot to boot that the fault showed with nothing off that restarts the device."""
        intervals = [
            watched.interval_s
            for watched in self.watched
            if watched.interval_s is not None and restarts_by_itself(self.plan, watched.done) is None
        ]
        return max(intervals, default=None)

    @cached_property
    def watched(self) -> tuple[BootWatched, ...]:
        """The tries at booting, in their order."""
        return tuple(one for one in self.observations if isinstance(one, BootWatched))

    @property
    def done(self) -> frozenset[str]:
        """The actions that are done now."""
        return self.watched[-1].done if self.watched else frozenset()

    @cached_property
    def belief(self) -> Belief:
        """How likely each cause is. Raises ConfigInvalid for observations that contradict each other."""
        found: dict[frozenset[str], float] = {}
        for _, weights in self._joint:
            for causes, weight in weights.items():
                found[causes] = found.get(causes, 0.0) + weight
        return Belief(found)

    @cached_property
    def miss(self) -> float:
        """How often a boot misses the fault, as far as this course tells: the mean. Raises as ``belief`` does."""
        return sum(plan.watching.miss * math.fsum(weights.values()) for plan, weights in self._joint)

    @cached_property
    def _joint(self) -> list[tuple[FamilyPlan, Mapping[frozenset[str], float]]]:
        """For each steadiness of the fault the probability of it and of each hypothesis together."""
        start = prior(self.plan).probability
        found: list[tuple[FamilyPlan, Mapping[frozenset[str], float]]] = [
            (plan, {causes: part * share for causes, share in start.items()}) for plan, part in self.plan.steadiness
        ]
        for number, observation in enumerate(self.observations, 1):
            weighed = [(plan, weigh(plan, weights, observation, self.usual_s)) for plan, weights in found]
            total = math.fsum(math.fsum(weights.values()) for _, weights in weighed)
            if total <= IMPOSSIBLE:
                before = "what was seen before" if number > 1 else "what is known of the family"
                says = f"{self._called(number)} ({words(self.plan, observation)}) contradicts {before}"
                raise ConfigInvalid(f"{says}: {Contradiction.WHY}; undo the one that was wrong")
            found = [
                (plan, {causes: weight / total for causes, weight in weights.items()}) for plan, weights in weighed
            ]
        return found

    def _called(self, place: int) -> str:
        if not self.numbers:
            return f"observation {place}"
        return f"observation {self.numbers[place - 1]}" if place <= len(self.numbers) else "this"

    def seen(self, observation: Observation) -> Course:
        """Return the course with one more observation. Raises ConfigInvalid, in one line, for one that cannot be."""
        check(self.plan, observation)
        longer = replace(self, observations=(*self.observations, observation))
        _ = longer.belief
        return longer

    def undone(self, number: int | None = None) -> Course:
        """Return the course without an observation, counted from 1; without the last one if none is named."""
        count = len(self.observations)
        at = count if number is None else number
        if not 1 <= at <= count:
            there = f"there are {count}" if count else "there is none yet"
            raise ConfigInvalid(f"observation {at} cannot be undone; {there}")
        return replace(
            self,
            observations=self.observations[: at - 1] + self.observations[at:],
            numbers=self.numbers[: at - 1] + self.numbers[at:],
        )


def check(plan: FamilyPlan, observation: Observation) -> None:
    """Raise ConfigInvalid, in one line, for an observation that this family's plan does not know or allow."""
    if isinstance(observation, SignSeen):
        _known(observation.sign, [sign.name for sign in plan.signs], "sign", plan)
    elif isinstance(observation, CheckSeen):
        _known(observation.check, [one.name for one in plan.checks], "check", plan)
        _share(observation.failed)
    else:
        _share(observation.shown)
        if observation.interval_s is not None and not observation.interval_s > 0.0:
            raise ConfigInvalid(f"a time from boot to boot of {observation.interval_s:g} s cannot be")
        if observation.boots is not None and observation.boots < 1:
            raise ConfigInvalid(f"a try of {observation.boots} boots cannot be")
        check_done(plan, observation.done)


def check_done(plan: FamilyPlan, done: Iterable[str]) -> None:
    """Raise ConfigInvalid, in one line, if these actions cannot all be done and nothing else, or leave no boot."""
    there = frozenset(done)
    for name in sorted(there):
        _known(name, plan.action, "action", plan)
    for name in sorted(there):
        lacking = sorted(plan.needs[name] - there)
        if lacking:
            raise ConfigInvalid(f"{name} cannot be done now: first {', '.join(lacking)}")
    if not plan.boot_ways(there):
        raise ConfigInvalid(
            f"with {', '.join(sorted(there))} nothing is left to prompt the boot: "
            f"keep one of {', '.join(way.name for way in plan.ways)}"
        )


def opened(plan: FamilyPlan, wanted: Iterable[str]) -> frozenset[str]:
    """Return these actions with those before them that disconnect nothing: who unplugs has taken off the cover."""
    names = frozenset(wanted)
    for name in sorted(names):
        _known(name, plan.action, "action", plan)
    before = frozenset().union(*(plan.needs[name] for name in names))
    return names | {name for name in before if not plan.action[name].disconnects}


def words(plan: FamilyPlan, observation: Observation) -> str:
    """Return an observation as a person would say it."""
    if isinstance(observation, SignSeen):
        return observation.sign
    if isinstance(observation, CheckSeen):
        return f"{observation.check} {'failed' if observation.failed >= 0.5 else 'passed'}"
    off = sorted(name for name in observation.done if plan.action[name].disconnects)
    what = "the fault" if observation.shown >= 0.5 else "a clean boot"
    return f"{what} with {', '.join(off)} off" if off else f"{what} with everything connected"


def _known(name: str, known: Iterable[str], what: str, plan: FamilyPlan) -> None:
    names = list(known)
    if name not in names:
        raise ConfigInvalid(f"{name!r} is no {what} of {plan.family}; {nearest(name, names)}")


def _share(value: float) -> None:
    if not 0.0 <= value <= 1.0:
        raise ConfigInvalid(f"a certainty of {value:g} cannot be; from 0 to 1")
