"""The isolation as a problem of numbers: candidates, actions and costs, in bits.

Planning takes one cause to be at fault and every result from now on to be certain; what results are really worth is
the belief's business, which gives the weights anew after each of them. A set is a whole number with a bit for each
of its members: a candidate's bit in sets of candidates, an action's bit in sets of actions.
"""

from __future__ import annotations

import functools
import itertools
import operator
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from wakerail.planning.belief import Belief
from wakerail.planning.model import FamilyPlan
from wakerail.planning.observations import tells

#: Two causes at once are planned for from this probability on.
LIKELY_PAIR = 0.02


def bits(mask: int) -> Iterator[int]:
    """Yield the places of the bits that are set, lowest first."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


@dataclass(frozen=True)
class Problem:
    """Candidates with their weights; actions with what they need and cost.

    A candidate is a set of causes that no action tells apart, or a pair. ``cuts`` holds, for each, sets of actions: it
    is off while of each of them one is done; without any it can never be off. ``needs`` and ``carries`` are for each
    action the actions that must be done with it, and those that must be undone with it, itself included. ``ways``:
    for each way to prompt the boot the actions that take it away. ``spoils``: actions with which a try tells nothing.
    """

    candidates: tuple[frozenset[str], ...]
    weights: tuple[float, ...]
    cuts: tuple[tuple[int, ...], ...]
    actions: tuple[str, ...]
    needs: tuple[int, ...]
    carries: tuple[int, ...]
    do_s: tuple[float, ...]
    undo_s: tuple[float, ...]
    ways: tuple[int, ...]
    spoils: int
    try_s: float
    reversal_s: float

    @property
    def all(self) -> int:
        """The set of all candidates."""
        return (1 << len(self.candidates)) - 1

    @cached_property
    def cut_by(self) -> tuple[int, ...]:
        """For each candidate the actions that have to do with its being off."""
        return tuple(functools.reduce(operator.or_, cuts, 0) for cuts in self.cuts)

    @cached_property
    def cheapest(self) -> tuple[int, ...]:
        """For each candidate the actions that disconnect it soonest; none for what can never be off."""
        return tuple(
            functools.reduce(operator.or_, (1 << min(bits(cut), key=lambda one: self.do_s[one]) for cut in cuts), 0)
            for cuts in self.cuts
        )

    def left(self, suspects: int) -> Problem:
        """Return the problem of these candidates alone."""
        keep = list(bits(suspects))
        return replace(
            self,
            candidates=tuple(self.candidates[one] for one in keep),
            weights=tuple(self.weights[one] for one in keep),
            cuts=tuple(self.cuts[one] for one in keep),
        )

    def weight(self, suspects: int) -> float:
        """Return the weight of a set of candidates."""
        return sum(self.weights[one] for one in bits(suspects))

    def off(self, done: int) -> int:
        """Return the candidates that are disconnected while these actions are done."""
        found = 0
        for bit, cut in self._by_one:
            if done & cut:
                found |= bit
        for bit, cuts in self._by_several:
            if all(done & cut for cut in cuts):
                found |= bit
        return found

    @cached_property
    def _by_one(self) -> tuple[tuple[int, int], ...]:
        """The candidates, each as its bit, that one set of actions disconnects."""
        return tuple((1 << one, cuts[0]) for one, cuts in enumerate(self.cuts) if len(cuts) == 1)

    @cached_property
    def _by_several(self) -> tuple[tuple[int, tuple[int, ...]], ...]:
        return tuple((1 << one, cuts) for one, cuts in enumerate(self.cuts) if len(cuts) > 1)

    def bearing(self, suspects: int) -> int:
        """Return the actions that disconnect any of these candidates."""
        found = 0
        for one in bits(suspects):
            found |= self.cut_by[one]
        return found

    def allowed(self, done: int) -> bool:
        """Return whether a boot can be prompted with these actions done, and tells something."""
        return not done & self.spoils and any(not done & way for way in self.ways)

    def move(self, done: int, to_do: int, to_undo: int) -> int | None:
        """Return the actions done after some were done and others undone, with all that goes with them.

        Nothing else changes unless a way to prompt the boot must be given back; the cheapest is. None if it cannot be.
        """
        after = done
        for action in bits(to_undo | (self.spoils & done)):
            after &= ~self.carries[action]
        for action in bits(to_do):
            after |= self.needs[action]
        if after & to_undo or after & self.spoils:
            return None
        if self.allowed(after):
            return after
        found: list[tuple[float, int]] = []
        for way in self.ways:
            given_back = after
            for action in bits(way & after):
                given_back &= ~self.carries[action]
            if given_back & to_do == to_do and self.allowed(given_back):
                found.append((self.cost_s(done, given_back), given_back))
        return min(found)[1] if found else None

    def cost_s(self, done: int, after: int) -> float:
        """Return what it costs to come from one set of done actions to another."""
        return sum(self.do_s[one] for one in bits(after & ~done)) + sum(self.undo_s[one] for one in bits(done & ~after))

    def unplugging(self, candidate: int, done: int) -> tuple[float, int] | None:
        """Return how a candidate is disconnected, its cost and what is done then; None if it cannot be."""
        to_do = self.cheapest[candidate]
        after = self.move(done, to_do, 0) if to_do else None
        return None if after is None else (self.cost_s(done, after), after)

    def replugging(self, candidate: int, done: int) -> tuple[float, int] | None:
        """Return how a candidate is connected again, its cost and what is done then; None if it cannot be."""
        after = self.move(done, 0, self.cut_by[candidate])
        return None if after is None else (self.cost_s(done, after), after)

    def reversal(self, candidate: int, done: int) -> float:
        """Return what it costs to see the fault come back with a candidate; 0 if that is not cheap."""
        back = self.replugging(candidate, done)
        cost_s = 0.0 if back is None else back[0] + self.try_s
        return cost_s if cost_s <= self.reversal_s else 0.0

    def finish(self, candidate: int, done: int, cleared: bool) -> float:
        """Return what it still costs to confirm the one candidate that is left.

        ``cleared``: a boot was clean before, with it off. The fault must leave with it, and come back if that is
        cheap; what cannot be disconnected is named by elimination.
        """
        if self.off(done) >> candidate & 1:
            return self.reversal(candidate, done)
        if cleared:
            return 0.0
        away = self.unplugging(candidate, done)
        return 0.0 if away is None else away[0] + self.try_s + self.reversal(candidate, away[1])


@dataclass(frozen=True)
class Layout:
    """What a family's plan gives to every problem of it, whatever the belief; made once for all that are compared.

    ``usual_s`` is the time from boot to boot that the fault has shown, as far as it is known.
    """

    plan: FamilyPlan
    usual_s: float | None
    _known: dict[frozenset[str], tuple[int, ...]] = field(default_factory=dict)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The actions in their order; an action's place in it is its bit."""
        return tuple(action.name for action in self.plan.actions)

    @cached_property
    def needs(self) -> Mapping[str, int]:
        """What must be done with each action."""
        return {name: self._set(self.plan.needs[name]) for name in self.names}

    @cached_property
    def spoils(self) -> int:
        """The actions with which a try tells nothing."""
        plan, usual_s = self.plan, self.usual_s
        return self._set(
            name
            for name in self.names
            if not tells(plan, plan.needs[name], usual_s) and tells(plan, plan.needs[name] - {name}, usual_s)
        )

    @cached_property
    def ways(self) -> tuple[int, ...]:
        """For each way to prompt the boot the actions that take it away."""
        return tuple(
            self._set(action.name for action in self.plan.actions if action.disconnects & way.through)
            for way in self.plan.ways
        )

    @cached_property
    def cut(self) -> Mapping[str, int]:
        """For each cause the actions that disconnect it and may be done in a try."""
        plan = self.plan
        possible = [
            one
            for one in plan.actions
            if plan.boot_ways(plan.needs[one.name]) and not self.needs[one.name] & self.spoils
        ]
        return {
            cause.name: self._set(one.name for one in possible if cause.name in one.disconnects)
            for cause in plan.causes
        }

    @cached_property
    def _undone_with(self) -> tuple[int, ...]:
        return tuple(self._set(other for other in self.names if name in self.plan.needs[other]) for name in self.names)

    def cuts(self, causes: frozenset[str]) -> tuple[int, ...]:
        """Return the sets of actions of which one each must be done for these causes to be off; none if they cannot."""
        if causes not in self._known:
            cuts = tuple(sorted({self.cut[cause] for cause in causes}))
            together = len(cuts) < 2 or self._possible_together(cuts)
            self._known[causes] = cuts if together and 0 not in cuts else ()
        return self._known[causes]

    def problem(self, belief: Belief, *, left_out: float = 0.0, pairs_from: float = LIKELY_PAIR) -> Problem:
        """Return the problem for a belief; the unlikeliest candidates are left out, ``left_out`` of all at most.

        Two causes at once are a candidate of their own from the probability ``pairs_from`` on, else left to the belief.
        """
        plan, cut = self.plan, self.cut
        weights: dict[tuple[int, ...], float] = {}
        for causes, share in belief.probability.items():
            cuts = self.cuts(causes)
            if len(cuts) < 2 or share >= pairs_from:
                weights[cuts] = weights.get(cuts, 0.0) + share
        named = {
            cuts: frozenset(name for name in cut if cut[name] in cuts)
            if cuts
            else frozenset(name for name in cut if not cut[name])
            for cuts in weights
        }
        row = sorted(weights, key=lambda cuts: (-weights[cuts], cuts))
        rest = left_out
        while len(row) > 1 and weights[row[-1]] <= rest:
            rest -= weights[row.pop()]
        return Problem(
            candidates=tuple(named[cuts] for cuts in row),
            weights=tuple(weights[cuts] for cuts in row),
            cuts=tuple(row),
            actions=self.names,
            needs=tuple(self.needs[name] for name in self.names),
            carries=self._undone_with,
            do_s=tuple(plan.cost_s(action) for action in plan.actions),
            undo_s=tuple(action.undo_s for action in plan.actions),
            ways=self.ways,
            spoils=self.spoils,
            try_s=plan.watching.try_s,
            reversal_s=plan.reversal_s,
        )

    def _set(self, names: Iterable[str]) -> int:
        wanted = frozenset(names)
        return sum(1 << place for place, name in enumerate(self.names) if name in wanted)

    def _possible_together(self, cuts: tuple[int, ...]) -> bool:
        """Return whether something can be done of each of these sets of actions with a way left to prompt the boot."""
        needs, ways = [self.needs[name] for name in self.names], self.ways
        for chosen in itertools.product(*(bits(cut) for cut in cuts)):
            done = functools.reduce(operator.or_, (needs[place] for place in chosen))
            if any(not done & way for way in ways):
                return True
        return False


def make_problem(plan: FamilyPlan, belief: Belief, usual_s: float | None, *, left_out: float = 0.0) -> Problem:
    """Return the problem for a belief, see ``Layout``."""
    return Layout(plan, usual_s).problem(belief, left_out=left_out)
