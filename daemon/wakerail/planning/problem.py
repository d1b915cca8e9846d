"""The isolation as a problem of numbers: candidates, actions and costs, in bits.

Planning takes one cause to be at fault and every result from now on to be certain; what results are really worth is
the belief's business, which gives the weights anew after each of them. A set is a whole number with a bit for each
of its members: a candidate's bit in sets of candidates, an action's bit in sets of actions.
"""

from __future__ import annotations

import functools
import itertools
import operator
from collections.abc import Iterator
from dataclasses import dataclass, replace
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
        for one, cuts in enumerate(self.cuts):
            if cuts and all(done & cut for cut in cuts):
                found |= 1 << one
        return found

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


def make_problem(
    plan: FamilyPlan, belief: Belief, usual_s: float | None, *, left_out: float = 0.0, pairs_from: float = LIKELY_PAIR
) -> Problem:
    """Return the problem for a belief; the unlikeliest candidates are left out, ``left_out`` of all together at most.

    Two causes at once are a candidate of their own from the probability ``pairs_from`` on, else left to the belief.
    ``usual_s`` is the time from boot to boot that the fault has shown, as far as it is known.
    """
    names = [action.name for action in plan.actions]
    place = {name: 1 << number for number, name in enumerate(names)}
    needs = {name: sum(place[other] for other in plan.needs[name]) for name in names}
    spoils = sum(
        place[name]
        for name in names
        if not tells(plan, plan.needs[name], usual_s) and tells(plan, plan.needs[name] - {name}, usual_s)
    )
    possible = [name for name in names if plan.boot_ways(plan.needs[name]) and not needs[name] & spoils]
    cut = {
        cause.name: sum(place[name] for name in possible if cause.name in plan.action[name].disconnects)
        for cause in plan.causes
    }
    weights: dict[tuple[int, ...], float] = {}
    for causes, share in belief.probability.items():
        cuts = tuple(sorted({cut[cause] for cause in causes}))
        if 0 in cuts or (len(cuts) > 1 and not _possible_together(plan, cuts)):
            cuts = ()
        if len(cuts) < 2 or share >= pairs_from:
            weights[cuts] = weights.get(cuts, 0.0) + share
    named = {
        cuts: frozenset(name for name in cut if cut[name] in cuts) if cuts else frozenset(n for n in cut if not cut[n])
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
        actions=tuple(names),
        needs=tuple(needs[name] for name in names),
        carries=tuple(sum(place[other] for other in names if name in plan.needs[other]) for name in names),
        do_s=tuple(plan.cost_s(plan.action[name]) for name in names),
        undo_s=tuple(plan.action[name].undo_s for name in names),
        ways=tuple(
            sum(place[name] for name in names if plan.action[name].disconnects & way.through) for way in plan.ways
        ),
        spoils=spoils,
        try_s=plan.watching.try_s,
        reversal_s=plan.reversal_s,
    )


def _possible_together(plan: FamilyPlan, cuts: tuple[int, ...]) -> bool:
    """Return whether something can be done of each of these sets of actions with a way left to prompt the boot."""
    names = [action.name for action in plan.actions]
    return any(
        plan.boot_ways(frozenset().union(*(plan.needs[names[place]] for place in chosen)))
        for chosen in itertools.product(*(bits(cut) for cut in cuts))
    )
