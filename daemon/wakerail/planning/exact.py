"""The least expected cost to a confirmed cause, exactly, by dynamic programming over what is left.

With one cause and certain results, a clean boot leaves the suspects that are off, and the fault those that are on. So a
state is the set of suspects, what is done of what still matters to them, and whether a boot was clean before. Values
are weighted with the suspects' weight, so that what a try leads to is a plain sum. The states grow as 3 to the power
of the candidates, so this is for ``MOST_CANDIDATES`` at most.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from wakerail.planning.problem import Problem, bits

#: As many candidates take about half a second; each one more takes three times as long.
MOST_CANDIDATES = 10


@dataclass
class ExactPlan:
    """Values and best tries of a problem, reckoned once each.

    ``told``: what is done now was just tried, and told what it can; to boot once more like that is no try.
    """

    problem: Problem
    told: bool = False
    _known: dict[tuple[int, int, bool], tuple[float, int | None]] = field(default_factory=dict)

    def cost_s(self, suspects: int, done: int, cleared: bool) -> float:
        """Return the expected cost to a confirmed cause, given that one of the suspects is at fault."""
        weight = self.problem.weight(suspects)
        return self._value(suspects, done, cleared)[0] / weight if weight else 0.0

    def best(self, suspects: int, done: int, cleared: bool) -> int | None:
        """Return the actions that are done for the best next try; None if one suspect is left, or none can be told."""
        after = self._value(suspects, done, cleared)[1]
        # what does not matter stays as it is
        return None if after is None else after | done & ~self._relevant(suspects)

    def _value(self, suspects: int, done: int, cleared: bool) -> tuple[float, int | None]:
        problem = self.problem
        if suspects & (suspects - 1) == 0:
            one = suspects.bit_length() - 1
            return problem.weights[one] * problem.finish(one, done, cleared), None
        key = (suspects, done & self._relevant(suspects), cleared)
        if key not in self._known:
            self._known[key] = self._search(suspects, key[1], cleared)
        return self._known[key]

    def _search(self, suspects: int, done: int, cleared: bool) -> tuple[float, int | None]:
        problem = self.problem
        weight = problem.weight(suspects)
        least, best = math.inf, None
        for cost_s, after in self._tries(suspects, done):
            spent = weight * (cost_s + problem.try_s)
            if spent >= least:
                break  # the tries come cheapest first
            off = problem.off(after) & suspects
            value = spent + self._value(off, after, True)[0]
            if value < least:
                value += self._value(suspects & ~off, after, cleared)[0]
                if value < least:
                    least, best = value, after
        # nothing that can be done tells these suspects apart: they are named together
        return (least, best) if best is not None else (0.0, None)

    def _tries(self, suspects: int, done: int) -> list[tuple[float, int]]:
        """Return what can be done for a try that tells some suspects from others, cheapest first."""
        problem = self.problem
        bearing = problem.bearing(suspects)
        found: dict[int, float] = {}
        subset = bearing
        while True:
            after = problem.move(done, subset, bearing & ~subset)
            told = self.told and suspects == problem.all and after == done
            if after is not None and not told and 0 != problem.off(after) & suspects != suspects:
                found[after] = problem.cost_s(done, after)
            if not subset:
                break
            subset = (subset - 1) & bearing
        return sorted((cost_s, after) for after, cost_s in found.items())

    def _relevant(self, suspects: int) -> int:
        """Return the actions whose state matters to what is left to do."""
        problem = self.problem
        moved = problem.bearing(suspects) | problem.spoils
        for way in problem.ways:
            moved |= way
        undone = 0
        for action in bits(moved):
            undone |= problem.carries[action]
        found = undone
        for action in bits(undone):
            found |= problem.needs[action]
        return found
