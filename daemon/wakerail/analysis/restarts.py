"""Finds the boots in a current trace as its ticks come in: the onset, and every beginning of another boot."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from wakerail.analysis.dips import Dips
from wakerail.analysis.evidence import (
    FALLEN,
    LIKELY,
    SURE,
    Candidate,
    Priors,
    Sort,
    probability_of,
)
from wakerail.analysis.jumps import Jumps
from wakerail.analysis.levels import Levels
from wakerail.analysis.onset import HOLD_S, HOLD_TICKS, First, OnsetWatch
from wakerail.analysis.opening import Opening, Repertoire
from wakerail.analysis.switching import PENDING, Switching
from wakerail.analysis.trail import Trail
from wakerail.analysis.turns import Dip, Fall, FallTimes, Turns

_SHORTLY = 64  # ticks between a collapse and the jump to the opening that belongs to it
_SHORT_UP_S = 0.12  # a boot shorter than this is hardly one
_MOST_OPEN = 32
_KEPT = 128
_NEAR = 5  # ticks; two candidates nearer than this stand for one restart
_GAP = 3  # usual spacings after which a tick does not hold its level any more
_JUMP = 0.3
_RIVAL = 2.5  # log odds
_RECENT = 12  # boots looked at for the longest
_UNKNOWN_LOW, _MOST_UNKNOWN = 0.8, 0.7
_UNLIKELY_TEACHES = 0.3  # of its probability: what is often doubtful is mostly a habit
_DOUBTFUL = 2.5  # how alike a candidate must have been for what it began to be doubted as part of the boot before
_SHAPELESS = 8  # ticks
SAMPLE_TICKS = 12  # for so many ticks back the samples are asked for

Edge = Callable[[float, float, float, bool], float | None]
"""Find the first sample of a stretch of time that is above (True) or below a level; None if there is none."""

Outside = Callable[[Candidate], float]
"""Say what other witnesses than the current say of a candidate, as a log-likelihood ratio; 0 for nothing."""


@dataclass(frozen=True, slots=True)
class Boot:
    """A boot found: the candidate that stands for it, None for the first, and how sure it is."""

    start_s: float
    candidate: Candidate | None
    log_odds: float


class BootFinder:
    """Takes ticks one by one; returns the boots that each makes sure.

    ``edge`` gives it the samples behind the ticks, for times as exact as these; ``outside`` what other witnesses say.
    """

    def __init__(self, standing_a: float | None, edge: Edge, outside: Outside = lambda _: 0.0) -> None:
        self.trail = Trail()
        self.levels = Levels(standing_a)
        self.onset = OnsetWatch(self.trail, self.levels)
        self.first = First.UNCLEAR
        self.spacing_s = 0.0
        self.boots: list[Opening] = []
        self._dips = Dips(self.trail, self.levels)
        self._turns = Turns(self.trail, self.levels)
        self._falls = FallTimes()
        self._switching = Switching(self.trail, self.levels, lambda: self.spacing_s)
        self._samples = edge
        self._outside = outside
        self._priors = Priors()
        self._open: list[Candidate] = []
        self._undecided: deque[Candidate] = deque(maxlen=_KEPT)
        self._template: Opening | None = None
        self._sure = False  # that the template is a boot's
        self._jumps_to = Jumps(self.trail, self.levels)
        self._repertoire = Repertoire()  # of what it draws when up
        self._committed = 0
        self._spacings: list[float] = []
        self._jumps, self._jumps_s = 1.0, 4.0
        self._due_s = math.inf
        self._collapsed = False
        self._end_s = -math.inf

    @property
    def up(self) -> bool:
        """True if the newest tick is clearly above standing."""
        return not self._collapsed

    @property
    def doubts(self) -> list[float]:
        """How probable the candidates set aside are restarts all the same, by what is known now."""
        return [probability_of(self._log_odds(candidate)) for candidate in self._undecided]

    def considers(self, is_near: Callable[[float, float], bool]) -> bool:
        """Tell whether a candidate is open that ``is_near`` by the moments at which it fell and rose again."""
        return any(is_near(candidate.at_s, candidate.again_s) for candidate in self._open)

    def take(self, start_s: float, end_s: float, level_a: float) -> list[Boot]:
        """Take the next tick: its first and last sample's time, and its mean."""
        self._end_s = end_s
        trail, levels = self.trail, self.levels
        before_a = None
        if trail.start_s:
            before_a = trail.level_a[-1]
            if len(self._spacings) < 31:
                self._spacings.append(start_s - trail.start_s[-1])
                self.spacing_s = sorted(self._spacings)[len(self._spacings) // 2]
        trail.add(start_s, level_a, _GAP * self.spacing_s or math.inf)
        levels.take(level_a)
        if before_a is not None:
            self._dips.take(before_a, min(start_s - trail.start_s[-2], _GAP * self.spacing_s))
        if self.first is First.UNCLEAR:
            return self._begin()
        levels.take_up(level_a)
        collapsed = level_a <= levels.standing_a + levels.tolerance_a
        if collapsed and not self._collapsed:
            self._drop_jumps_into_collapse()
        self._collapsed = collapsed
        found = self._turn(len(trail) - 1)
        self._look_for_jump()
        if trail.smooth_until_s >= self._due_s and not self._collapsed:
            found += self._advance(trail.smooth_until_s)
        return found

    def finish(self) -> list[Boot]:
        """Decide what is still open; the trace ends here."""
        found: list[Boot] = []
        while self._open:
            found += self._close(self._open[0])
        return found + self._reconsider()

    # --- the beginning ---

    def _begin(self) -> list[Boot]:
        self.first = self.onset.take()
        last = len(self.trail) - 1
        if self.first is First.UNCLEAR:
            return []
        if self.first is First.RUNNING:
            self._turns.begin(0)
            return [boot for place in range(last + 1) for boot in self._turn(place)]
        place = self.onset.place or 0
        at_s = self._edge(place, place, self.onset.threshold_a, True)
        opening = Opening(self.trail, at_s, self.spacing_s)
        self.boots.append(opening)
        self._template, self._sure = opening, True
        self._committed = place
        self._turns.begin(place)
        return [Boot(opening.start_s, None, 10.0)]

    # --- candidates ---

    def _turn(self, place: int) -> list[Boot]:
        turn = self._turns.take(place)
        if isinstance(turn, Fall):
            self._fell(turn)
        elif turn is not None:
            return self._rose(turn)
        return []

    def _fell(self, fall: Fall) -> None:
        starts_s = self.trail.start_s
        self._falls.add(fall.place, self._edge(fall.place, fall.place, fall.edge_a, False))
        # a pulse: what rose for less than any boot lasts was none
        rose = self._turns.rose_place
        if fall.place - rose < HOLD_TICKS or starts_s[fall.place] - starts_s[rose] < HOLD_S:
            for candidate in self._open:
                fallen = self.trail.level_a[-1] < candidate.edge_a
                if candidate.place == rose and candidate.sort is not Sort.JUMP and fallen:
                    self._open.remove(candidate)
                    self._priors.learn(candidate.sort, 0.0)
                    break

    def _rose(self, dip: Dip) -> list[Boot]:
        starts_s = self.trail.start_s
        again_s = self._edge(dip.rose, len(starts_s) - 1, dip.edge_a, True)
        at_s = self._falls.find(dip.fell)
        at_s = min(starts_s[dip.fell] if at_s is None else at_s, again_s)
        sort, odds = self._dips.judge(dip, again_s - at_s, self.spacing_s, _GAP * self.spacing_s)
        if sort is Sort.JUMP:
            at_s = again_s
        if self.boots and at_s - self.boots[-1].start_s < _SHORT_UP_S:
            odds -= 4.0
        # the tick in which it fell is a mixture of both levels
        self._commit(max(dip.fell - 1, min(dip.fell, self._committed + 1)))
        self._committed = dip.rose
        found: list[Boot] = []
        if sort in FALLEN:
            found = self._pass_collapse()
        self._add(sort, dip.rose, at_s, again_s, odds, dip.before_a, dip.low_a, dip.rose - dip.fell, dip.edge_a)
        return found

    def _pass_collapse(self) -> list[Boot]:
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

    def _drop_jumps_into_collapse(self) -> None:
        """Drop candidates that were but the edge of a fall: it passed the opening's level on its way down."""
        last = len(self.trail) - 1
        self._open = [one for one in self._open if one.sort is not Sort.JUMP or last - one.place > HOLD_TICKS]

    def _look_for_jump(self) -> None:
        """Open a candidate where the current has jumped to the level that the boot began with."""
        if self._template is None or not self._sure:
            return
        jump = self._jumps_to.look(self._template)
        if jump is None:
            return
        place, before_a = jump.place, self.trail.level_a[jump.place - 1]
        again_s = self._edge(place, place, jump.edge_a, jump.up)
        if any(abs(other.again_s - again_s) < 1.5 * self.spacing_s for other in self._open):
            return
        self._commit(place)
        self._add(Sort.JUMP, place, again_s, again_s, 0.0, before_a, before_a, 0, jump.edge_a)

    def _add(
        self,
        sort: Sort,
        place: int,
        at_s: float,
        again_s: float,
        odds: float,
        before_a: float,
        low_a: float,
        ticks: int,
        edge_a: float,
    ) -> None:
        if len(self._open) >= _MOST_OPEN:
            self._set_aside(min(self._open, key=self._log_odds))
        candidate = Candidate(
            sort=sort,
            opening=Opening(self.trail, again_s, self.spacing_s),
            at_s=at_s,
            uncertainty_s=self.trail.start_s[place] - self.trail.start_s[max(place - 1, 0)],
            odds=odds,
            before=self.levels.scale.of(before_a),
            repertoire=self._repertoire.copy(),
            low_a=low_a,
            place=place,
            dip_ticks=ticks,
            edge_a=edge_a,
        )
        self._open.append(candidate)
        self._due_s = min(self._due_s, candidate.next_s)

    def _commit(self, end: int) -> None:
        """Add the ticks before ``end`` to what the device is known to draw."""
        trail, levels = self.trail, self.levels
        earlier: float | None = None
        for place in range(self._committed, end):
            above = levels.above(trail.level_a[place])
            lasted_s = min(trail.start_s[place + 1] - trail.start_s[place], _GAP * self.spacing_s)
            self._jumps_s += lasted_s
            if above <= 2 * levels.floor_a:
                earlier = None
                continue
            here = math.log(above)
            self._repertoire.add(here, lasted_s)
            if earlier is not None and abs(here - earlier) > max(_JUMP, 4 * levels.relative_noise):
                self._jumps += 0.5
            earlier = here
        self._committed = max(self._committed, end)

    def _edge(self, place: int, until: int, level_a: float, above: bool) -> float:
        """Return the first sample above or below a level, from the tick before ``place`` to tick ``until``.

        Where there is none, or it is too long ago for the samples to be at hand, the tick's first sample.
        """
        starts_s = self.trail.start_s
        if place < len(starts_s) - SAMPLE_TICKS:
            return starts_s[place]
        end_s = starts_s[until + 1] if until + 1 < len(starts_s) else self._end_s
        at_s = self._samples(starts_s[max(place - 1, 0)], end_s, level_a, above)
        return starts_s[place] if at_s is None else at_s

    # --- decisions ---

    def _log_odds(self, candidate: Candidate) -> float:
        return candidate.evidence + self._prior(candidate)

    def _prior(self, candidate: Candidate) -> float:
        """Return the log odds of all but what the candidate itself shows."""
        odds = self._priors.log_odds(candidate.sort)
        if not self.levels.known:  # how low it goes when off is a guess: what a device does often may be its habit
            unlikely = candidate.sort is Sort.BLINK and not self._dips.reads_nothing(candidate.low_a)
            odds = min(odds, 0.0) - _UNKNOWN_LOW if unlikely else min(odds, _MOST_UNKNOWN)
        odds += self._outside(candidate)
        if candidate.sort is Sort.BLINK:
            odds += self._switching.evidence(candidate.place - candidate.dip_ticks, candidate.place, candidate.low_a)
        return odds

    def _advance(self, now_s: float) -> list[Boot]:
        found: list[Boot] = []
        scale, noise, rate = self.levels.scale, self.levels.relative_noise, self._jumps / self._jumps_s
        for candidate in list(self._open):
            while candidate in self._open and candidate.next_s <= now_s:
                # asked anew for each window: an earlier candidate may have been told for this one, as a boot under way
                known = self._template_for(candidate), self._under_way_s(candidate), self._longest_before(candidate)
                candidate.look(scale, *known, noise, rate)
                if self._has_shown_enough(candidate) and self._log_odds(candidate) >= SURE:
                    found += self._accept(candidate)
                elif candidate.hopeless:
                    found += self._close(candidate)
            if candidate in self._open and candidate.next_s == math.inf:
                found += self._close(candidate)
        self._due_s = min((candidate.next_s for candidate in self._open), default=math.inf)
        return found

    def _has_shown_enough(self, candidate: Candidate) -> bool:
        """Tell whether a candidate may be told at once: what a meter does to a short dip's surroundings shows later."""
        seen = len(self.trail) - candidate.place
        return candidate.window >= 2 and (candidate.sort is not Sort.BLINK or seen > PENDING)

    def _template_for(self, candidate: Candidate) -> Opening | None:
        likely = self._sure or candidate.sort in FALLEN
        return self._template if likely and self._template is not candidate.opening else None

    def _under_way_s(self, candidate: Candidate) -> float | None:
        """Return when the boot began that was under way before a candidate, unless that is the template itself."""
        before = next((boot for boot in reversed(self.boots) if boot.start_s < candidate.again_s), None)
        fell = candidate.sort in FALLEN  # which the boot that goes on would have to explain, too
        return None if before is None or (fell and before is self._template) else before.start_s

    def _longest_before(self, candidate: Candidate) -> Opening | None:
        """Return the boot that lasted longest of those that ended before a candidate; None for one that fell."""
        if candidate.sort in FALLEN:
            return None
        ended = [boot for boot in self.boots if boot.end_s is not None and boot.end_s <= candidate.at_s]
        return max(ended[-_RECENT:], key=lambda boot: (boot.end_s or 0.0) - boot.start_s, default=None)

    def _close(self, candidate: Candidate) -> list[Boot]:
        candidate.settle()
        if self._log_odds(candidate) >= LIKELY[candidate.sort]:
            return self._accept(candidate)
        self._set_aside(candidate)
        return []

    def _set_aside(self, candidate: Candidate) -> None:
        self._open.remove(candidate)
        probability = probability_of(self._log_odds(candidate))
        self._priors.learn(candidate.sort, probability if probability > 0.5 else _UNLIKELY_TEACHES * probability)
        if candidate.evidence > -2.0:
            self._undecided.append(candidate)
        if candidate.alike > _DOUBTFUL:
            for boot in self.boots:
                if boot.start_s < candidate.at_s:
                    boot.doubted_s = min(boot.doubted_s, candidate.at_s)
        if self._template is None and candidate.sort in FALLEN:
            self._template = candidate.opening  # not sure to be a boot, but what comes after it may be like it

    def _accept(self, candidate: Candidate) -> list[Boot]:
        if candidate.sort is Sort.JUMP:
            candidate = self._begin_of(candidate)
        if candidate in self._open:
            self._open.remove(candidate)
        found = self._close_before(candidate)
        for other in list(self._open):
            if abs(other.again_s - candidate.again_s) < _NEAR * self.spacing_s:
                self._open.remove(other)
            elif other.sort is not Sort.COLLAPSE and other.again_s > candidate.again_s:
                self._look_anew(other)  # now there is a boot under way that may explain it
        log_odds = self._log_odds(candidate)
        self._priors.learn(candidate.sort, probability_of(log_odds))
        self._end_boot(candidate, log_odds)
        self.boots.append(candidate.opening)
        return [*found, Boot(candidate.again_s, candidate, log_odds), *self._reconsider()]

    def _close_before(self, candidate: Candidate) -> list[Boot]:
        found: list[Boot] = []
        for other in list(self._open):
            if other in self._open and other.again_s < candidate.at_s:
                found += self._close(other)
        return found

    def _end_boot(self, candidate: Candidate, log_odds: float) -> None:
        """The boot before it has ended."""
        if not self.boots:
            self._template, self._sure = candidate.opening, log_odds >= SURE
            return
        last = self.boots[-1]
        if last.end_s is None and candidate.at_s > last.start_s:
            last.end_s = candidate.at_s
            self._take_template(last)

    def _look_anew(self, candidate: Candidate) -> None:
        candidate.forget()
        self._due_s = 0.0

    def _begin_of(self, jump: Candidate) -> Candidate:
        """Return the candidate that stands for the beginning of the boot that a jump to the opening belongs to."""
        jump = self._best_of(jump)
        collapse = self._collapse_before(jump)
        if collapse is not None:
            collapse.odds += max(self._log_odds(jump) - self._log_odds(collapse), 0.0)
            if jump in self._open:
                self._open.remove(jump)
            if collapse in self._undecided:
                self._undecided.remove(collapse)
            return collapse
        earlier = self._earlier_than(jump)
        if earlier is None:
            return jump
        self._look_anew(jump)  # with that boot under way, it has to prove itself anew
        return self._begin_of(earlier)

    def _best_of(self, candidate: Candidate) -> Candidate:
        """Return the best of the candidates that stand for the same boot: its opening comes back but once."""
        same = (
            other
            for other in self._open
            if other.sort is Sort.JUMP and abs(other.again_s - candidate.again_s) < _NEAR * self.spacing_s
        )
        return max((candidate, *same), key=lambda one: (one.evidence, -one.again_s))

    def _collapse_before(self, candidate: Candidate) -> Candidate | None:
        """Return a collapse shortly before a jump to the opening: the boot began with that, a little differently."""
        within_s = _SHORTLY * self.spacing_s
        return next(
            (
                other
                for other in reversed([*self._undecided, *self._open])
                if other.sort is Sort.COLLAPSE
                and 0 <= candidate.again_s - other.again_s < within_s
                and other.odds + self._priors.log_odds(Sort.COLLAPSE) > 0.0
            ),
            None,
        )

    def _earlier_than(self, candidate: Candidate) -> Candidate | None:
        """Return the first candidate before one that is almost as good: an opening is long, and looks like itself."""
        rivals = [
            other
            for other in self._open
            if other.sort is Sort.JUMP
            and other.again_s < candidate.again_s
            and other.evidence >= candidate.evidence - _RIVAL
            and self._log_odds(other) >= LIKELY[Sort.JUMP] - _RIVAL
        ]
        return min(rivals, key=lambda one: one.again_s) if rivals else None

    def _take_template(self, boot: Opening) -> None:
        """Use the first boot seen whole; one that ended too soon to have a shape gives way to a longer one."""
        best = self._template
        if best is None or best is boot or best.end_s is None:
            self._template = best or boot
        elif best.end_s - best.start_s < _SHAPELESS * self.spacing_s and (boot.end_s or 0.0) - boot.start_s > 2 * (
            best.end_s - best.start_s
        ):
            self._template = boot

    def _reconsider(self) -> list[Boot]:
        """Tell of candidates set aside that are likely by what has been learnt since."""
        found: list[Boot] = []
        for candidate in list(self._undecided):
            if not self._is_likely(candidate):
                continue
            self._undecided.remove(candidate)
            if any(abs(boot.start_s - candidate.again_s) < _NEAR * self.spacing_s for boot in self.boots):
                continue
            self._look_again(candidate)
            if not self._is_likely(candidate):
                continue
            self._priors.learn(candidate.sort, probability_of(self._log_odds(candidate)))
            self.boots.append(candidate.opening)
            self.boots.sort(key=lambda boot: boot.start_s)
            found.append(Boot(candidate.again_s, candidate, self._log_odds(candidate)))
        return found

    def _is_likely(self, candidate: Candidate) -> bool:
        evidence = candidate.evidence if candidate.at_fall is None else max(candidate.at_fall, candidate.evidence)
        return evidence + self._prior(candidate) >= LIKELY[candidate.sort]

    def _look_again(self, candidate: Candidate) -> None:
        """Weigh what a candidate saw anew: by now the boot under way is known, and perhaps a better template."""
        if not candidate.compared:
            return  # settled by what was seen until a collapse
        windows = candidate.window
        candidate.forget()
        longest = self._longest_before(candidate)
        under_way_s, noise, rate = self._under_way_s(candidate), self.levels.relative_noise, self._jumps / self._jumps_s
        while candidate.window < windows:
            candidate.look(self.levels.scale, self._template_for(candidate), under_way_s, longest, noise, rate)
