"""Watches a boot as it happens: when the device begins to draw, and every time that it starts over.

Puts the parts together: samples are condensed to ticks (``ticks``), in which the boots are found (``restarts``); USB
is the second witness (``usb``), the supply's own behaviour is noted (``supply``), and in the end all is judged
(``reading``).

How the two witnesses agree, in log odds: a candidate of the current gains 3 if the device left USB about then, 4 if it
came back in an earlier mode, and loses 6 if it was on USB all through, which a device in reset is not. A return in
an earlier mode is a restart (4) by itself, whatever the current does. A return under the same identity is one (0.8
and more) only where no current is recorded; else the current decides. A restart that both tell of is told once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from wakerail.analysis.candidate import Candidate
from wakerail.analysis.considered import Considered
from wakerail.analysis.decisions import Boot
from wakerail.analysis.hindsight.look import Look, Recorded, Verdict, are_among, look_at, look_back, stand_for
from wakerail.analysis.hindsight.weighing import grown
from wakerail.analysis.onset import First
from wakerail.analysis.reading import BootReading, Watched, judge
from wakerail.analysis.restarts import SAMPLE_TICKS, BootFinder
from wakerail.analysis.samples import Gathering, Recent, Samples
from wakerail.analysis.seen import Onset, Restart, Revision, Seen
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.sorts import JUMP, probability_of
from wakerail.analysis.supply import SupplyWatch
from wakerail.analysis.telling import Begin, evidence_of, tell_begin
from wakerail.analysis.ticks import Condenser, Ticks, join
from wakerail.analysis.usb import EARLIER_MODE, LEFT, RETURNED, UsbEvent, UsbReturn, UsbTrail
from wakerail_kit.messages import Frame

_NEAR_S = 1.0  # how far the two witnesses of one restart may lie apart
_LEFT_USB, _STAYED_ON_USB = 3.0, -6.0
_WORTH_TELLING = 0.01  # a probability that changes by less is not told anew
_SURE_OF_ONE = 1.5  # log odds
_IN_DOUBT, _MOSTLY = -2.0, 0.5  # log odds: down to these what was told live is not taken back, if so much of it holds
_LEAST_AGAINST = -0.01  # log odds: what was decided against counts no more
_GAP = 1.5  # times the usual spacing of ticks
_KEEP_TICKS = SAMPLE_TICKS + 3
_PARTS = 256


@dataclass(slots=True)
class _Told:
    """A restart that was told, how sure it is, and by which witnesses; ``begin`` is what the current shows of it."""

    restart: Restart
    log_odds: float
    by_current: bool
    usb: UsbReturn | None = None
    begin: Begin | None = None


class BootReader:
    """Reads one watch. Feed it samples and USB events in the order of time, then ask it to ``finish``.

    What it reads depends on the samples, not on how they are cut into pieces.
    """

    def __init__(self, settings: ReaderSettings) -> None:
        self._settings = settings
        self._gathering, self._recent = Gathering(), Recent()
        self._condenser = Condenser(settings.max_gap_s)
        self._finder = BootFinder(settings.standing_a, self._recent.edge, self._usb_says_of)
        self._supply = SupplyWatch(settings.limit_a, settings.set_v, settings.short_hold_s, settings.max_gap_s)
        self._usb = UsbTrail()
        self._ticks: list[Ticks] = []
        self._newest_ticks: list[Ticks] = []  # in pieces as they came, which are many
        self._half_width_s: list[float] = []  # of each tick's first sample
        self._spacing_s: list[float] = []  # from sample to sample in each tick, 0 for a single one
        self._first_s: float | None = None
        self._onset_s: float | None = None
        self._told: list[_Told] = []
        self._waiting: list[UsbReturn] = []  # for the current to tell of it first, with better times
        self._waits_until_s = math.inf
        self._slept: set[float] = set()
        self._doubts: list[float] | None = None  # once it was looked back

    # --- what comes in ---

    def take(
        self,
        t_s: npt.ArrayLike,
        current_a: npt.ArrayLike,
        voltage_v: npt.ArrayLike | None = None,
        limiting: npt.ArrayLike | None = None,
    ) -> list[Seen]:
        """Take finite currents at ascending times; return what they make sure.

        ``voltage_v`` may hold NaN where it was not measured; ``limiting`` is 1 where the supply limited.
        """
        times_s, amps = np.asarray(t_s, dtype=np.float64), np.asarray(current_a, dtype=np.float64)
        volts, limits = (None if one is None else np.asarray(one, dtype=np.float64) for one in (voltage_v, limiting))
        return self._take(Samples(times_s, amps, volts, limits)) if len(times_s) else []

    def take_frame(self, frame: Frame) -> list[Seen]:
        """Take the supply's samples. Those missing, with the output off or not later than the last are passed over."""
        if frame.signals.get("current") is None or not frame.t_s:
            return []
        return self._take(frame)

    def take_usb(self, event: UsbEvent) -> list[Seen]:
        """Take what the USB host saw; return the restart that it proves, if it does."""
        seen = [one for batch in self._gathering.rest() for one in self._read(batch)]
        finder = self._finder
        self._first_s = event.at_s if self._first_s is None else self._first_s
        again = self._usb.take(event, drawing=finder.first is not First.UNCLEAR and finder.up)
        if again is None or again.left_by_s < self._begun_s():
            return seen
        if again.evidence == RETURNED:
            if not len(finder.trail):
                seen += self._tell_returned(again)
            return seen
        if finder.considers(lambda at_s, again_s: again.is_near(at_s, again_s, _NEAR_S)):
            self._waiting.append(again)
            self._waits_until_s = min(self._waits_until_s, again.back_s + _NEAR_S)
            return seen
        return seen + self._tell_proved(again)

    def finish(self, end_s: float) -> BootReading:
        """Conclude from all that was taken until ``end_s``; what becomes sure only now is the reading's last_seen."""
        seen = self._finish_live()
        seen += self._look_back()
        return replace(self._conclude(end_s), last_seen=tuple(seen))

    def look_at_all(self) -> Look | None:
        """Return what hindsight goes by, in place of concluding: the trees are grown on it."""
        self._finish_live()
        return look_at(self._recorded(), self._told_s)

    def _recorded(self) -> Recorded:
        return self._finder.recorded(self._onset_s, self._all_ticks())

    def _all_ticks(self) -> Ticks:
        return join([*self._ticks, *self._newest_ticks])

    def _finish_live(self) -> list[Seen]:
        seen = [one for batch in self._gathering.rest() for one in self._read(batch)]
        seen += self._read_ticks(self._condenser.finish())
        seen += [one for boot in self._finder.finish() for one in self._tell_boot(boot)]
        return seen + self._tell_waiting(math.inf)

    def _conclude(self, end_s: float) -> BootReading:
        finder, levels = self._finder, self._finder.levels
        restarts = sorted((told.restart for told in self._told if told.log_odds >= 0), key=lambda one: one.again_s)
        return judge(
            Watched(
                settings=self._settings,
                ticks=self._all_ticks(),
                first_s=end_s if self._first_s is None else self._first_s,
                end_s=end_s,
                began=finder.first,
                onset_s=self._onset_s,
                base_a=finder.onset.base_a if len(finder.trail) else None,
                off_a=levels.standing_a + levels.tolerance_a,
                pulses=finder.onset.pulses,
                restarts=tuple(restarts),
                doubts=finder.doubts if self._doubts is None else self._doubts,
                sleeps=len(self._slept - {restart.again_s for restart in restarts}),
                supply=self._supply,
                usb_mode=self._usb.mode_now(),
                usb_returns=len(self._usb.returned_s),
            )
        )

    # --- from samples to boots ---

    def _take(self, part: Samples | Frame) -> list[Seen]:
        return [one for batch in self._gathering.take(part) for one in self._read(batch)]

    def _read(self, samples: Samples) -> list[Seen]:
        if self._first_s is None:
            self._first_s = float(samples.t_s[0])
        starts_s = self._finder.trail.start_s
        self._recent.add(samples, starts_s[-_KEEP_TICKS] if len(starts_s) >= _KEEP_TICKS else -math.inf)
        self._supply.take(samples.t_s, samples.current_a, samples.voltage_v, samples.limiting)
        return self._read_ticks(self._condenser.take(samples.t_s, samples.current_a, samples.voltage_v))

    def _read_ticks(self, ticks: Ticks) -> list[Seen]:
        if not len(ticks):
            return []
        self._newest_ticks.append(ticks)
        self._half_width_s += self._recent.half_widths_s(ticks.start_s)
        self._spacing_s += ((ticks.end_s - ticks.start_s) / np.maximum(ticks.count - 1, 1)).tolist()
        if len(self._newest_ticks) >= _PARTS:
            self._ticks.append(join(self._newest_ticks))
            self._newest_ticks.clear()
        seen: list[Seen] = []
        take = self._finder.take
        for start_s, end_s, level_a in zip(
            ticks.start_s.tolist(), ticks.end_s.tolist(), ticks.mean_a.tolist(), strict=True
        ):
            for boot in take(start_s, end_s, level_a):
                seen += self._tell_boot(boot)
            if start_s > self._waits_until_s:
                seen += self._tell_waiting(start_s)
        return seen

    # --- in hindsight ---

    def _look_back(self) -> list[Seen]:
        """Judge all that may have been a restart by the whole recording; return what has to be told anew."""
        counted = [told for told in self._told if told.log_odds >= 0]
        told_live, spacing_s = [told.restart for told in counted], self._finder.spacing_s
        verdicts = look_back(self._recorded(), self._told_s, grown(), self._usb_says)
        if not verdicts:
            return []
        sure = [verdict for verdict in verdicts if verdict.counts]
        doubtful = [verdict for verdict in verdicts if _IN_DOUBT < verdict.log_odds <= 0.0]
        was_told = are_among(doubtful, told_live, spacing_s)
        restarts = sure + [verdict for verdict, told in zip(doubtful, was_told, strict=True) if told]
        if sum(stand_for(told_live, restarts, spacing_s)) < _MOSTLY * len(told_live):
            restarts = sure
        if not counted and max((verdict.log_odds for verdict in restarts), default=0.0) < _SURE_OF_ONE:
            restarts = []  # where nothing was told live, there has to be more than a likeness
        judged = {verdict.again_s: verdict for verdict in verdicts}
        seen: list[Seen] = []
        stays = stand_for(told_live, restarts, spacing_s)
        for told, holds in zip(counted, stays, strict=True):
            verdict = judged.get(told.restart.again_s)
            if not (holds or verdict is None or told.usb is not None):
                seen += self._revise(told, min(verdict.log_odds, _LEAST_AGAINST), "by the whole recording it was none")
        left = [told.restart for told in counted if told.log_odds >= 0]
        known = are_among(restarts, left, spacing_s)
        seen += [self._tell_late(one) for one, is_told in zip(restarts, known, strict=True) if not is_told]
        for told in self._told:  # how long each boot was up is known only now
            if told.begin is not None:
                told.restart = replace(told.restart, says=self._says_of(told.begin, told.restart.evidence))
        explained = are_among(verdicts, [told.restart for told in self._told if told.log_odds >= 0], spacing_s)
        self._doubts = [
            probability_of(one.log_odds) for one, is_one in zip(verdicts, explained, strict=True) if not is_one
        ]
        return seen

    def _tell_late(self, verdict: Verdict) -> Restart:
        """Tell of a restart that only the whole recording shows."""
        evidence = evidence_of(verdict.sort, verdict.alike, 0.0, dipped=verdict.dipped)
        return self._tell_begin(verdict, verdict.log_odds, evidence, None)

    def _says_of(self, begin: Begin, evidence: Sequence[str]) -> str:
        says = tell_begin(begin, self._up_s(begin.at_s), evidence)
        return f"{says}, in hindsight" if isinstance(begin, Verdict) else says

    # --- what is told ---

    def _tell_boot(self, boot: Boot) -> list[Seen]:
        candidate = boot.candidate
        if candidate is None:
            self._onset_s = boot.start_s
            return [Onset(boot.start_s, self._opening_a(boot.start_s))]
        for told in self._told:
            if not told.by_current and told.usb and told.usb.is_near(candidate.at_s, candidate.again_s, _NEAR_S):
                told.by_current = True
                return self._revise(told, max(boot.log_odds, told.log_odds), "the current shows it, too")
        usb = self._waiting_near(candidate.at_s, candidate.again_s)
        if usb is not None:
            self._waiting.remove(usb)
        evidence = evidence_of(candidate.sort, candidate.alike, candidate.novel)
        return [self._tell_begin(Considered.of(candidate, boot.log_odds), boot.log_odds, evidence, usb)]

    def _tell_begin(self, begin: Begin, log_odds: float, evidence: list[str], usb: UsbReturn | None) -> Restart:
        """Tell of a restart that the current shows, by ``evidence`` and what USB adds to it."""
        if self._usb.left(begin.at_s - _NEAR_S, begin.again_s + _NEAR_S):
            evidence.append(LEFT)
        if usb is not None:
            evidence.append(EARLIER_MODE)
        uncertainty_s = max(self._within_s(begin.at_s), self._within_s(begin.again_s))
        says = self._says_of(begin, evidence)
        restart = self._number(begin.at_s, begin.again_s, log_odds, evidence, says, uncertainty_s)
        self._told.append(_Told(restart, log_odds, by_current=True, usb=usb, begin=begin))
        return restart

    def _tell_proved(self, again: UsbReturn) -> list[Seen]:
        """Tell of a return in an earlier mode, or of what it adds to a restart that the current has told of."""
        near = [told for told in self._told if again.is_near(told.restart.at_s, told.restart.again_s, _NEAR_S)]
        if near:
            told = near[-1]
            if told.usb is not None:
                return []
            told.usb = again
            return self._revise(told, told.log_odds + again.log_odds, again.says, EARLIER_MODE)
        return self._tell_usb(again)

    def _tell_returned(self, again: UsbReturn) -> list[Seen]:
        """Tell of a return under the same identity; returns at like intervals make those before more likely, too."""
        seen: list[Seen] = []
        for told in self._told:
            if told.usb is not None and told.usb.device == again.device and told.usb.evidence == RETURNED:
                seen += self._revise(told, max(told.log_odds, again.log_odds), "it goes on at like intervals")
        return seen + self._tell_usb(again)

    def _tell_usb(self, again: UsbReturn) -> list[Seen]:
        restart = self._number(
            again.left_by_s, again.back_s, again.log_odds, [again.evidence], again.says, again.back_s - again.left_s
        )
        self._told.append(_Told(restart, again.log_odds, by_current=False, usb=again))
        return [restart]

    def _tell_waiting(self, now_s: float) -> list[Seen]:
        """Tell of returns on USB that the current has not told of in time."""
        due = [again for again in self._waiting if again.back_s + _NEAR_S < now_s]
        self._waiting = [again for again in self._waiting if again not in due]
        self._waits_until_s = min((again.back_s + _NEAR_S for again in self._waiting), default=math.inf)
        return [one for again in due for one in self._tell_proved(again)]

    def _revise(self, told: _Told, log_odds: float, says: str, evidence: str | None = None) -> list[Seen]:
        """Change how sure a restart is, and tell of it; nothing is changed where that is not worth telling."""
        probability = probability_of(log_odds)
        if abs(probability - told.restart.probability) < _WORTH_TELLING:
            return []
        names = told.restart.evidence if evidence is None else (*told.restart.evidence, evidence)
        told.restart = replace(told.restart, probability=probability, evidence=names)
        told.log_odds = log_odds
        return [Revision(told.restart.number, told.restart.at_s, probability, log_odds >= 0, says)]

    def _number(
        self, at_s: float, again_s: float, log_odds: float, evidence: list[str], says: str, uncertainty_s: float
    ) -> Restart:
        number = len(self._told) + 1
        return Restart(at_s, again_s, number, probability_of(log_odds), tuple(evidence), says, uncertainty_s)

    # --- what is known ---

    def _usb_says_of(self, candidate: Candidate) -> float:
        """Say what USB says of a candidate of the current; a dip in which it stayed is noted as a sleep."""
        if not self._usb.empty and candidate.sort is not JUMP:
            stayed = self._usb.stayed(candidate.at_s, candidate.again_s)
            (self._slept.add if stayed else self._slept.discard)(candidate.again_s)
        return self._usb_says(candidate.at_s, candidate.again_s)

    def _usb_says(self, at_s: float, again_s: float) -> float:
        """Say what USB says of a restart at that time."""
        if self._usb.empty:
            return 0.0
        if self._usb.stayed(at_s, again_s):
            return _STAYED_ON_USB
        if (again := self._waiting_near(at_s, again_s)) is not None:
            return again.log_odds
        return _LEFT_USB if self._usb.left(at_s - _NEAR_S, again_s + _NEAR_S) else 0.0

    def _waiting_near(self, at_s: float, again_s: float) -> UsbReturn | None:
        return next((again for again in self._waiting if again.is_near(at_s, again_s, _NEAR_S)), None)

    @property
    def _told_s(self) -> list[float]:
        """When the boots began that were told and count."""
        return [told.restart.again_s for told in self._told if told.log_odds >= 0]

    def _begun_s(self) -> float:
        """Return when this boot was called for or began: what left USB before that belongs to another."""
        begun_s = (self._settings.prompted_s, self._onset_s)
        return max((at_s for at_s in begun_s if at_s is not None), default=-math.inf)

    def _up_s(self, at_s: float) -> float | None:
        """Return for how long the boot that ended at a moment had been up, None if it began before the watch."""
        begun_s = self._told_s
        if self._onset_s is not None:
            begun_s.append(self._onset_s)
        earlier = [begin_s for begin_s in begun_s if begin_s < at_s]
        return at_s - max(earlier) if earlier else None

    def _within_s(self, at_s: float) -> float:
        """Return how far the truth may be from the sample at which a level was crossed: to the one before it."""
        starts_s = self._finder.trail.start_s
        place = self._finder.trail.place(at_s)
        step_s = starts_s[place] - starts_s[place - 1] if place else 0.0
        in_tick_s = self._spacing_s[place]
        after_gap = step_s > _GAP * self._finder.spacing_s and at_s == starts_s[place]
        return (step_s if after_gap or not in_tick_s else in_tick_s) + self._half_width_s[place]

    def _opening_a(self, at_s: float) -> float:
        trail = self._finder.trail
        return float(np.median(trail.level_a[trail.place(at_s) :]))
