"""The next try where exact reckoning would take too long: one step reckoned fully, the rest by runs.

Candidates are put in a row, most weight for the cost first (the ratio ordering, optimal for single parts: J. B. Kadane
and H. A. Simon, 1977; D. Heckerman, J. S. Breese and K. Rommelse, Commun. ACM 38(3), 1995). Tries are then taken
to split a run of that row into its beginning and its end, one off and the other on, down to single candidates:
halving and single parts are both such splits. The best of all plans of that form follows by dynamic programming over
runs in about n^3 steps. Several rows are tried. For the next try itself, what is opened, what lies over what, and what
is done now are reckoned as they are; for the tries after it, what must be opened is shared among those that need it.
"""

from __future__ import annotations

import functools
import operator
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wakerail.planning.exact import ExactPlan
from wakerail.planning.problem import Problem, bits

#: More than any bench would spend, and still a number: what cannot be disconnected costs this.
_NEVER_S = 1e12
#: How many of the most promising tries are reckoned anew with rows of their own: this over the number of candidates.
_RECKONED = 120
_FEWEST = 4
#: With so many candidates at most, what the best tries leave is reckoned exactly, if it is no more than ``_EXACTLY``.
_DEEPER, _EXACTLY = 16, 7


@dataclass(frozen=True, slots=True)
class Runs:
    """Weighted costs, ``[begin, end]`` of a run: all on; all on after a boot was clean; all off."""

    fresh: NDArray[np.float64]
    back: NDArray[np.float64]
    off: NDArray[np.float64]


class LookAhead:
    """The plan of a problem from what is done now, by one step and runs."""

    def __init__(self, problem: Problem, done: int, *, cleared: bool, told: bool = False) -> None:
        self.problem = problem
        self.done = done
        self.cleared = cleared
        self.told = told
        self._known: dict[tuple[int, bool, bool], float] = {}

    @cached_property
    def rough_s(self) -> float:
        """About the expected cost to a confirmed cause, by runs alone: quick, for comparing beliefs with each other."""
        problem = self.problem
        mass = problem.weight(problem.all)
        if problem.all == 1:
            return problem.finish(0, self.done, self.cleared)
        return min((cost / mass for cost, _ in self._rough(most_rows=1)), default=0.0)

    @cached_property
    def found(self) -> tuple[float, int | None]:
        """The weighted cost of the best plan found, and the actions done for its next try; None if none tells more."""
        problem = self.problem
        suspects = problem.all
        if suspects & (suspects - 1) == 0:
            return problem.weights[0] * problem.finish(0, self.done, self.cleared), None
        rough = sorted(self._rough())[: max(_FEWEST, _RECKONED // len(problem.candidates))]
        if not rough:
            return 0.0, None
        tries = sorted((self._value(after), after) for _, after in rough)
        if len(problem.candidates) <= _DEEPER:
            tries = [(self._deeper(after), after) for _, after in tries[:_FEWEST]]
        return min(tries)

    def _deeper(self, after: int) -> float:
        """Return the weighted cost as ``_value`` does, with what a try leaves reckoned exactly where it is little."""
        problem = self.problem
        off = problem.off(after)
        cost = problem.weight(problem.all) * (problem.cost_s(self.done, after) + problem.try_s)
        for suspects, is_off, cleared in ((off, True, True), (problem.all & ~off, False, self.cleared)):
            if suspects.bit_count() <= _EXACTLY:
                some = problem.left(suspects)
                cost += some.weight(some.all) * ExactPlan(some).cost_s(some.all, after, cleared)
            else:
                cost += self._rest(suspects, is_off, cleared)
        return cost

    def _rough(self, most_rows: int | None = None) -> Iterator[tuple[float, int]]:
        """Yield the tries that split a row in two, each with its weighted cost by that row's runs alone."""
        problem = self.problem
        mass = problem.weight(problem.all)
        tried: set[int] = {self.done} if self.told else set()
        for row in self._rows(problem.all)[:most_rows]:
            runs = self._runs(row, cleared=self.cleared)
            on, end = runs.back if self.cleared else runs.fresh, len(row)
            beginning = 0
            for place, one in enumerate(row[:-1], 1):
                beginning |= 1 << one
                for off, rest in (
                    (beginning, runs.off[0, place] + on[place, end]),
                    (problem.all & ~beginning, runs.off[place, end] + on[0, place]),
                ):
                    after = self._done_for(off)
                    if after is not None and after not in tried:
                        tried.add(after)
                        yield float(mass * problem.cost_s(self.done, after) + rest), after
        for off in (problem.off(self.done), *(1 << one for one in range(min(len(problem.candidates), _FEWEST)))):
            after = self._done_for(off)
            if after is not None and after not in tried and off not in {0, problem.all}:
                tried.add(after)
                yield mass * problem.cost_s(self.done, after), after

    def _value(self, after: int) -> float:
        """Return the weighted cost of a plan that begins with a try with these actions done."""
        problem = self.problem
        off = problem.off(after) & problem.all
        spent = problem.weight(problem.all) * (problem.cost_s(self.done, after) + problem.try_s)
        return spent + self._rest(off, True, True) + self._rest(problem.all & ~off, False, self.cleared)

    def _rest(self, suspects: int, off: bool, cleared: bool) -> float:
        """Return about what it costs from suspects that are all off or all on."""
        key = (suspects, off, cleared)
        if key not in self._known:
            runs = [self._runs(row, cleared=off or cleared) for row in self._rows(suspects)]
            tables = [one.off if off else one.back if cleared else one.fresh for one in runs]
            self._known[key] = min(float(table[0, -1]) for table in tables)
        return self._known[key]

    def _done_for(self, off: int) -> int | None:
        """Return the actions to be done so that just these candidates are off, each by its cheapest action."""
        problem = self.problem
        to_do = 0
        for one in bits(off):
            chosen = self._chosen[one]
            if not chosen:
                return None
            to_do |= chosen
        after = problem.move(self.done, to_do, problem.bearing(problem.all & ~off) & ~to_do)
        return after if after is not None and problem.off(after) == off else None

    @cached_property
    def _chosen(self) -> list[int]:
        """For each candidate the actions that it is disconnected by: those that are done, else the soonest."""
        do_s, done = self.problem.do_s, self.done

        def one_of(cut: int) -> int:
            return done & cut or 1 << min(bits(cut), key=lambda one: do_s[one])

        return [functools.reduce(operator.or_, map(one_of, cuts), 0) for cuts in self.problem.cuts]

    @cached_property
    def _unplug_s(self) -> list[float]:
        """About what it costs to disconnect each candidate: its actions, and its share of what is opened for them."""
        problem = self.problem
        bearing = problem.bearing(problem.all)
        opened = [
            functools.reduce(operator.or_, (problem.needs[action] for action in bits(chosen)), 0)
            & ~self.done
            & ~(bearing & ~chosen)
            for chosen in problem.cheapest
        ]
        shared = [sum(mask >> action & 1 for mask in opened) for action in range(len(problem.actions))]
        return [
            sum(problem.do_s[action] / shared[action] for action in bits(mask)) if chosen else _NEVER_S
            for chosen, mask in zip(problem.cheapest, opened, strict=True)
        ]

    @cached_property
    def _replug_s(self) -> list[float]:
        problem = self.problem
        return [sum(problem.undo_s[action] for action in bits(chosen)) for chosen in problem.cheapest]

    def _rows(self, suspects: int) -> list[list[int]]:
        """Return rows of the suspects: by weight for the cost of a try, and by weight alone."""
        problem = self.problem
        unplug_s = self._unplug_s
        keys: list[Callable[[int], float]] = [
            lambda one: -problem.weights[one] / (unplug_s[one] + problem.try_s),
            lambda one: -problem.weights[one] if unplug_s[one] < _NEVER_S else 0.0,
        ]
        members = list(bits(suspects))
        rows: list[list[int]] = []
        for key in keys:
            row = self._in_order(sorted(members, key=key))
            if row not in rows:
                rows.append(row)
        return rows

    def _in_order(self, row: list[int]) -> list[int]:
        """Return a row in which what must be unplugged first comes first."""
        placed: dict[int, None] = {}
        begun: set[int] = set()  # a pair and its parts may name each other

        def place(one: int) -> None:
            if one not in begun:
                begun.add(one)
                for other in row:
                    if self._first[one] >> other & 1:
                        place(other)
                placed[one] = None

        for one in row:
            place(one)
        return list(placed)

    @cached_property
    def _first(self) -> list[int]:
        """For each candidate those that are off whenever it is, if it is disconnected the cheapest way."""
        problem = self.problem
        found = []
        for one, chosen in enumerate(problem.cheapest):
            done = functools.reduce(operator.or_, (problem.needs[action] for action in bits(chosen)), 0)
            found.append(problem.off(done) & ~(1 << one))
        return found

    def _runs(self, row: list[int], *, cleared: bool) -> Runs:
        """Return the weighted cost of the best plan of splits for every run of a row; ``fresh`` unless cleared."""
        problem = self.problem
        count = len(row)
        weight, unplug, replug = (
            np.array([table[one] for one in row]) for table in (problem.weights, self._unplug_s, self._replug_s)
        )
        sums = [np.concatenate(([0.0], np.cumsum(values))) for values in (weight, unplug, replug)]
        reversal = replug + problem.try_s
        reversal[reversal > problem.reversal_s] = 0.0
        never = unplug >= _NEVER_S
        fresh, back, off = (np.zeros((count + 1, count + 1)) for _ in range(3))  # [begin, end)
        places = np.arange(count)
        fresh[places, places + 1] = np.where(never, 0.0, weight * (unplug + problem.try_s + reversal))
        off[places, places + 1] = np.where(never, _NEVER_S, weight * reversal)
        for length in range(2, count + 1):
            begin = np.arange(count - length + 1)[:, None]
            end = begin + length
            cut = begin + np.arange(1, length)[None, :]
            mass = sums[0][end] - sums[0][begin]
            first_out, last_out = (sums[1][cut] - sums[1][begin], sums[1][end] - sums[1][cut])
            first_in, last_in = (sums[2][cut] - sums[2][begin], sums[2][end] - sums[2][cut])
            tries = mass * problem.try_s
            off_first, off_last = off[begin, cut] + mass * first_out, off[cut, end] + mass * last_out
            for table in (back,) if cleared else (fresh, back):
                split = np.minimum(off_first + table[cut, end], off_last + table[begin, cut])
                table[begin[:, 0], end[:, 0]] = (tries + split).min(axis=1)
            split = np.minimum(
                mass * first_in + back[begin, cut] + off[cut, end], mass * last_in + back[cut, end] + off[begin, cut]
            )
            off[begin[:, 0], end[:, 0]] = (tries + split).min(axis=1)
        return Runs(fresh, back, off)
