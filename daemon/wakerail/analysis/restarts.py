"""Finds the boots in a current trace as its ticks come in: the onset, and every beginning of another boot."""

from __future__ import annotations

import math
from collections.abc import Callable

from wakerail.analysis.boots import Boots
from wakerail.analysis.candidate import Candidate
from wakerail.analysis.considered import Considered
from wakerail.analysis.decisions import Boot, Decisions
from wakerail.analysis.dips import Dips
from wakerail.analysis.habits import Habits
from wakerail.analysis.hindsight.look import Recorded
from wakerail.analysis.jumps import Jump, Jumps
from wakerail.analysis.levels import Levels
from wakerail.analysis.odds import Odds
from wakerail.analysis.onset import HOLD_S, HOLD_TICKS, First, OnsetWatch
from wakerail.analysis.opening import Opening
from wakerail.analysis.priors import Outside, Prior
from wakerail.analysis.sorts import FALLEN, Sort
from wakerail.analysis.switching import Switching
from wakerail.analysis.ticks import Ticks
from wakerail.analysis.trail import Trail
from wakerail.analysis.turns import Dip, Fall, FallTimes, Turns

_SHORT_UP_S = 0.12  # a boot shorter than this is hardly one
_SHORT_PULSE_S = 0.2  # a pulse is mostly shorter, where nobody saw the device off
_SPACINGS = 31  # looked at for the usual one
_GAP = 3  # usual spacings after which a tick does not hold its level any more
SAMPLE_TICKS = 12  # for so many ticks back the samples are asked for

Edge = Callable[[float, float, float, bool], float | None]
"""Find the first sample of a stretch of time that is above (True) or below a level; None if there is none."""


class BootFinder:
    """Takes ticks one by one; returns the boots that each makes sure.

    ``edge`` gives it the samples behind the ticks, for times as exact as these; ``outside`` what other witnesses say.
    """

    def __init__(self, standing_a: float | None, edge: Edge, outside: Outside = lambda _: 0.0) -> None:
        self.trail = Trail()
        self.levels = Levels(standing_a)
        self.onset = OnsetWatch(self.trail, self.levels)
        self.first = First.UNCLEAR
        self._begun = False  # once it is clear
        self.spacing_s = 0.0
        self._boots = Boots()
        self._dips = Dips(self.trail, self.levels)
        self._jumps = Jumps(self.trail, self.levels)
        self._turns = Turns(self.trail, self.levels)
        self._falls = FallTimes()
        self._habits = Habits(self.trail, self.levels)
        self._switching = Switching(self.trail, self.levels, lambda: self.spacing_s)
        odds = Odds(self.trail, Prior(self.levels, self._dips, self._switching, self._besides))
        self._outside = outside
        self._decisions = Decisions(self.trail, self.levels, self._boots, self._habits, odds)
        self._samples = edge
        self._spacings: list[float] = []
        self._most_s = math.inf  # for how long a tick holds its level at most
        self._collapsed = False
        self._end_s = -math.inf

    @property
    def up(self) -> bool:
        """True if the newest tick is clearly above standing."""
        return not self._collapsed

    @property
    def doubts(self) -> list[tuple[float, float]]:
        """When each candidate set aside began again (s), and how probable it now is a restart all the same."""
        return self._decisions.doubts

    def recorded(self, onset_s: float | None, ticks: Ticks) -> Recorded:
        """Return all that was taken, to be looked back at, given the ``ticks`` that it was taken from."""
        return Recorded(
            trail=self.trail,
            levels=self.levels,
            spacing_s=self.spacing_s,
            onset_s=onset_s,
            considered=[*self._decisions.considered, *self._decisions.open_falls],
            meter_says=self._meter_says,
            lowest_a=ticks.low_a,
            highest_a=ticks.high_a,
        )

    def considers(self, is_near: Callable[[float, float], bool]) -> bool:
        """Tell whether a candidate is open that ``is_near`` by the moments at which it fell and rose again."""
        return self._decisions.considers(lambda candidate: is_near(candidate.at_s, candidate.again_s))

    def take(self, start_s: float, end_s: float, level_a: float) -> list[Boot]:
        """Take the next tick: its first and last sample's time, and its mean."""
        self._end_s = end_s
        trail, levels = self.trail, self.levels
        if len(self._spacings) < _SPACINGS and len(trail):
            self._learn_spacing(start_s - trail.start_s[-1])
        trail.add(start_s, level_a, self._most_s)
        levels.take(level_a)
        if not levels.known and len(trail.start_s) > 1:
            self._dips.take(trail.level_a[-2], min(start_s - trail.start_s[-2], self._most_s))
        if not self._begun:
            return self._begin()
        levels.take_up(level_a)
        collapsed = level_a <= levels.standing_a + levels.tolerance_a
        if collapsed and not self._collapsed:
            self._decisions.drop_jumps_into_collapse()
        self._collapsed = collapsed
        turn = self._turns.take(len(trail.start_s) - 1)
        found = [] if turn is None else self._turned(turn)
        template = self._boots.template
        if template is not None and self._boots.template_is_sure:
            jump = self._jumps.look(template)
            if jump is not None:
                self._jumped(jump)
        if not collapsed and trail.smooth_until_s >= self._decisions.due_s:
            found += self._decisions.advance(trail.smooth_until_s)
        return found

    def _besides(self, candidate: Candidate) -> float:
        return self._outside(candidate) + self._boots.rhythm.evidence(candidate.again_s)

    def _meter_says(self, blink: Considered) -> float:
        return self._switching.evidence(blink.place - blink.low_ticks, blink.place, blink.low_a)

    def finish(self) -> list[Boot]:
        """Decide what is still open; the trace ends here."""
        return self._decisions.finish()

    def _learn_spacing(self, step_s: float) -> None:
        self._spacings.append(step_s)
        self.spacing_s = sorted(self._spacings)[len(self._spacings) // 2]
        self._most_s = _GAP * self.spacing_s

    # --- the beginning ---

    def _begin(self) -> list[Boot]:
        self.first = self.onset.take()
        last = len(self.trail) - 1
        self._begun = self.first is not First.UNCLEAR
        if not self._begun:
            return []
        if self.first is First.RUNNING:
            self._turns.begin(0)
            turns = (self._turns.take(place) for place in range(last + 1))
            return [boot for turn in turns if turn is not None for boot in self._turned(turn)]
        place = self.onset.place or 0
        opening = Opening(self.trail, self._edge(place, place, self.onset.threshold_a, True), self.spacing_s)
        self._boots.begin(opening, surely=self.levels.perhaps_off)
        self._habits.skip(place)
        self._turns.begin(place)
        return [Boot(opening.start_s, None, 10.0)]

    # --- candidates ---

    def _turned(self, turn: Dip | Fall) -> list[Boot]:
        if isinstance(turn, Dip):
            return self._rose(turn)
        self._fell(turn)
        return []

    def _fell(self, fall: Fall) -> None:
        starts_s = self.trail.start_s
        self._falls.add(fall.place, self._edge(fall.place, fall.place, fall.edge_a, False))
        rose = self._turns.rose_place
        least_s = HOLD_S if self.levels.perhaps_off else _SHORT_PULSE_S
        if fall.place - rose < HOLD_TICKS or starts_s[fall.place] - starts_s[rose] < least_s:
            self._decisions.drop_pulse(rose)

    def _rose(self, dip: Dip) -> list[Boot]:
        starts_s = self.trail.start_s
        again_s = self._edge(dip.rose, len(starts_s) - 1, dip.edge_a, True)
        at_s = self._falls.find(dip.fell)
        at_s = min(starts_s[dip.fell] if at_s is None else at_s, again_s)
        measured = self.levels.measured
        sort, odds = self._dips.judge(dip, again_s - at_s, self.spacing_s, self._most_s)
        if measured and not self.levels.measured:
            self._boots.forget_all()  # what began from a sleep was no boot
        if sort is Sort.JUMP:
            at_s = again_s
        newest_s = self._boots.newest_start_s
        if newest_s is not None and at_s - newest_s < _SHORT_UP_S:
            odds -= 4.0
        self._habits.learn_to_dip(dip.fell, dip.rose, self._most_s)
        found = self._decisions.pass_collapse() if sort in FALLEN else []
        ticks = dip.rose - dip.fell
        self._add(sort, dip.rose, at_s, again_s, odds, dip.before_a, dip.low_a, ticks, dip.edge_a)
        return found

    def _jumped(self, jump: Jump) -> None:
        """Open a candidate where the current has jumped to the level that the boot began with."""
        place, before_a = jump.place, self.trail.level_a[jump.place - 1]
        again_s = self._edge(place, place, jump.edge_a, jump.up)
        if self._decisions.considers(lambda other: abs(other.again_s - again_s) < 1.5 * self.spacing_s):
            return
        self._habits.learn(place, self._most_s)
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
        self._decisions.add(
            Candidate(
                sort=sort,
                opening=Opening(self.trail, again_s, self.spacing_s),
                at_s=at_s,
                uncertainty_s=self.trail.start_s[place] - self.trail.start_s[max(place - 1, 0)],
                odds=odds,
                before=self.levels.scale.of(before_a),
                repertoire=self._habits.repertoire.copy(),
                low_a=low_a,
                place=place,
                dip_ticks=ticks,
                edge_a=edge_a,
            )
        )

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
