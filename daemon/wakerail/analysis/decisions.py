"""Decides which candidates are boots: by what each shows, what it is held against, and what the others were."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from wakerail.analysis.boots import Boots
from wakerail.analysis.candidate import Candidate
from wakerail.analysis.considered import ENDED, Considered
from wakerail.analysis.habits import Habits
from wakerail.analysis.levels import Levels
from wakerail.analysis.odds import Odds
from wakerail.analysis.onset import HOLD_TICKS
from wakerail.analysis.sorts import FALLEN, JUMP, LIKELY, Sort, probability_of
from wakerail.analysis.trail import Trail

_SHORTLY = 64  # ticks between a collapse and the jump to the opening that belongs to it
_MOST_OPEN = 32
_KEPT = 128
_NEAR = 5  # ticks; two candidates nearer than this stand for one restart
_RIVAL = 2.5  # log odds
_UNLIKELY_TEACHES = 0.3  # of its probability: what is often doubtful is mostly a habit
_DOUBTS = 0.05  # how probable at least
_DOUBTFUL = 1.5  # how alike a candidate must have been for what it began to be doubted as part of the boot before


@dataclass(frozen=True, slots=True)
class Boot:
    """A boot found: the candidate that stands for it, None for the first, and how sure it is."""

    start_s: float
    candidate: Candidate | None
    log_odds: float


class Decisions:
    """Keeps the candidates that are open, and those set aside, which are looked at again when more is known.

    ``due_s`` is when the next window of a candidate is past; ``considered`` tells of all that were decided.
    """

    def __init__(self, trail: Trail, levels: Levels, boots: Boots, habits: Habits, odds: Odds) -> None:
        self.due_s = math.inf
        self.considered: list[Considered] = []
        self._trail, self._levels, self._boots, self._habits, self._odds = trail, levels, boots, habits, odds
        self._now_s = -math.inf
        self._open: list[Candidate] = []
        self._undecided: deque[Candidate] = deque(maxlen=_KEPT)

    @property
    def doubts(self) -> list[tuple[float, float]]:
        """When each candidate set aside began again (s), and how probable it now is a restart all the same."""
        return [(candidate.again_s, probability_of(self._odds.of(candidate))) for candidate in self._undecided]

    @property
    def open_falls(self) -> list[Considered]:
        """What is thought so far of the falls that are not decided yet."""
        return [Considered.of(one, self._odds.of(one)) for one in self._open if one.sort in FALLEN]

    def considers(self, fits: Callable[[Candidate], bool]) -> bool:
        """Tell whether a candidate is open that fits."""
        return any(fits(candidate) for candidate in self._open)

    def add(self, candidate: Candidate) -> None:
        """Take a candidate; if there are too many, the least likely one gives way."""
        if len(self._open) >= _MOST_OPEN:
            self._set_aside(min(self._open, key=self._odds.of))
        self._open.append(candidate)
        self.due_s = min(self.due_s, candidate.next_s)

    def drop_pulse(self, rose: int) -> None:
        """Drop the candidate that began at a tick if it has fallen again: what rose for less than a boot was none."""
        for candidate in self._open:
            if candidate.place == rose and candidate.sort is not JUMP and self._trail.level_a[-1] < candidate.edge_a:
                self._drop(candidate, ENDED)
                self._odds.learn(candidate.sort, 0.0)
                return

    def drop_jumps_into_collapse(self) -> None:
        """Drop candidates that were but the edge of a fall: it passed the opening's level on its way down."""
        last = len(self._trail) - 1
        for candidate in list(self._open):
            if candidate.sort is Sort.JUMP and last - candidate.place <= HOLD_TICKS:
                self._drop(candidate, ENDED)

    def pass_collapse(self) -> list[Boot]:
        """Note what each candidate had seen until this collapse; after a second one there is no more to see for it."""
        found: list[Boot] = []
        for candidate in list(self._open):
            if candidate not in self._open:
                continue
            if candidate.at_fall is None:
                candidate.at_fall = candidate.evidence
            else:
                found += self._close(candidate)
        return found

    def advance(self, now_s: float) -> list[Boot]:
        """Weigh all windows that are past by now."""
        found: list[Boot] = []
        self._now_s = now_s
        scale, noise, rate = self._levels.scale, self._levels.relative_noise, self._habits.jumps_per_s
        known_to = self._boots.known_to
        for candidate in list(self._open):
            if candidate.next_s > now_s:
                continue
            # an earlier candidate may be told for this one, and this one stay, with that boot under way
            while candidate.next_s <= now_s and candidate in self._open:
                candidate.look(scale, known_to(candidate), noise, rate)
                if self._odds.is_sure(candidate):
                    found += self._accept(candidate)
                elif candidate.hopeless:
                    found += self._close(candidate)
            if candidate.next_s == math.inf and candidate in self._open:
                found += self._close(candidate)
        self.due_s = min([candidate.next_s for candidate in self._open] or (math.inf,))
        return found

    def finish(self) -> list[Boot]:
        """Decide what is still open; there is no more to see."""
        found: list[Boot] = []
        while self._open:
            found += self._close(self._open[0])
        return found + self._reconsider()

    # --- what becomes of it ---

    def _remove(self, candidate: Candidate) -> None:
        self._open.remove(candidate)
        self._boots.forget(candidate)

    def _drop(self, candidate: Candidate, log_odds: float = math.nan) -> None:
        """Remove a candidate that gives way to another, or ended too soon to be weighed."""
        self._remove(candidate)
        self.considered.append(Considered.of(candidate, log_odds))

    def _close(self, candidate: Candidate) -> list[Boot]:
        self._look(candidate)
        candidate.settle()
        if self._odds.of(candidate) >= LIKELY[candidate.sort]:
            return self._accept(candidate)
        self._set_aside(candidate)
        return []

    def _set_aside(self, candidate: Candidate) -> None:
        self._remove(candidate)
        log_odds = self._odds.of(candidate)
        self.considered.append(Considered.of(candidate, log_odds))
        probability = probability_of(log_odds)
        self._odds.learn(candidate.sort, probability if probability > 0.5 else _UNLIKELY_TEACHES * probability)
        if candidate.evidence > -2.0:
            self._undecided.append(candidate)
        if probability > _DOUBTS and (candidate.alike > _DOUBTFUL or candidate.sort in FALLEN):
            self._boots.doubt(candidate.at_s)
        if candidate.sort in FALLEN:
            self._boots.suppose(candidate.opening)

    def _accept(self, candidate: Candidate) -> list[Boot]:
        if candidate.sort is Sort.JUMP:
            candidate = self._begin_of(candidate)
        if candidate in self._open:
            self._remove(candidate)
        for other in list(self._open):
            if abs(other.again_s - candidate.again_s) < _NEAR * candidate.opening.spacing_s:
                self._drop(other)
        found = self._close_before(candidate)
        for other in list(self._open):
            if other.sort is not Sort.COLLAPSE and other.again_s > candidate.again_s:
                self._look_anew(other)  # now there is a boot under way that may explain it
        log_odds = self._odds.of(candidate)
        self.considered.append(Considered.of(candidate, log_odds))
        self._odds.learn(candidate.sort, probability_of(log_odds))
        self._boots.end_with(candidate, log_odds)
        return [*found, Boot(candidate.again_s, candidate, log_odds), *self._reconsider()]

    def _close_before(self, candidate: Candidate) -> list[Boot]:
        found: list[Boot] = []
        for other in list(self._open):
            if other in self._open and other.again_s < candidate.at_s:
                found += self._close(other)
        return found

    def _look_anew(self, candidate: Candidate) -> None:
        candidate.forget()
        self.due_s = 0.0

    def _look(self, candidate: Candidate) -> None:
        """Weigh all windows of a candidate that are past: it may have been looked at anew just now."""
        scale, noise, rate = self._levels.scale, self._levels.relative_noise, self._habits.jumps_per_s
        while candidate.next_s <= self._now_s:
            candidate.look(scale, self._boots.known_to(candidate), noise, rate)

    # --- which of several stands for a boot ---

    def _begin_of(self, jump: Candidate, before_s: float = math.inf) -> Candidate:
        """Return the candidate that stands for the beginning of the boot that a jump to the opening belongs to.

        ``before_s``: it is known to have begun earlier than that.
        """
        jump = self._best_of(jump, before_s)
        collapse = self._collapse_before(jump)
        if collapse is not None:
            collapse.odds += max(self._odds.of(jump) - self._odds.of(collapse), 0.0)
            if jump in self._open:
                self._drop(jump)
            if collapse in self._undecided:
                self._undecided.remove(collapse)
            return collapse
        earlier = self._earlier_than(jump)
        if earlier is None:
            return jump
        self._look_anew(jump)  # with that boot under way, it has to prove itself anew
        return self._begin_of(earlier, jump.again_s)

    def _best_of(self, candidate: Candidate, before_s: float) -> Candidate:
        """Return the best of the candidates that stand for the same boot: its opening comes back but once."""
        near_s = _NEAR * candidate.opening.spacing_s
        same = (
            other
            for other in self._open
            if other.sort is Sort.JUMP and abs(other.again_s - candidate.again_s) < near_s and other.again_s < before_s
        )
        return max((candidate, *same), key=lambda one: (one.evidence, -one.again_s))

    def _collapse_before(self, candidate: Candidate) -> Candidate | None:
        """Return a collapse shortly before a jump to the opening: the boot began with that, a little differently."""
        within_s = _SHORTLY * candidate.opening.spacing_s
        return next(
            (
                other
                for other in reversed([*self._undecided, *self._open])
                if other.sort is Sort.COLLAPSE
                and 0 <= candidate.again_s - other.again_s < within_s
                and other.odds + self._odds.of_sort(Sort.COLLAPSE) > 0.0
            ),
            None,
        )

    def _earlier_than(self, candidate: Candidate) -> Candidate | None:
        """Return the first candidate before one that is almost as good: an opening is long, and looks like itself."""
        rivals = [
            other
            for other in self._open
            if other.sort in {Sort.JUMP, Sort.DIP}
            and other.again_s < candidate.again_s
            and other.as_jump >= candidate.as_jump - _RIVAL
            and self._odds.of(other) >= LIKELY[Sort.JUMP] - _RIVAL
        ]
        return min(rivals, key=lambda one: one.again_s) if rivals else None

    # --- what is decided anew ---

    def _reconsider(self) -> list[Boot]:
        """Tell of candidates set aside that are likely by what has been learnt since."""
        found: list[Boot] = []
        for candidate in list(self._undecided):
            if not self._odds.is_likely(candidate):
                continue
            self._undecided.remove(candidate)
            if self._boots.has_one_near(candidate.again_s, _NEAR * candidate.opening.spacing_s):
                continue
            self._look_again(candidate)
            if not self._odds.is_likely(candidate):
                continue
            log_odds = self._odds.of(candidate)
            self.considered.append(Considered.of(candidate, log_odds))
            self._odds.learn(candidate.sort, probability_of(log_odds))
            self._boots.insert(candidate.opening)
            found.append(Boot(candidate.again_s, candidate, self._odds.of(candidate)))
        return found

    def _look_again(self, candidate: Candidate) -> None:
        """Weigh what a candidate saw anew: by now the boot under way is known, and perhaps a better template."""
        if not candidate.compared:
            return  # settled by what was seen until a collapse
        windows = candidate.window
        candidate.forget()
        scale, noise, rate = self._levels.scale, self._levels.relative_noise, self._habits.jumps_per_s
        known = self._boots.known_to(candidate)
        self._boots.forget(candidate)
        while candidate.window < windows:
            candidate.look(scale, known, noise, rate)
