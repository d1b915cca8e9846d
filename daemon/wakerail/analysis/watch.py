"""Watches a boot as it happens: when the device begins to draw, and every time that it starts over.

Puts the parts together: samples are condensed to ticks (``ticks``), in which restarts are proposed (``restarts``), and
told (``told``) if a look back at what was recorded until then bears them out (``hindsight``); USB is the second witness
(``usb``), the supply's own behaviour is noted (``supply``), and in the end all is looked back at once more and judged
(``reading``).

How the two witnesses agree: what USB says is added to the log odds of a candidate of the current (``usb_witness``). A
return in an earlier mode is a restart by itself, whatever the current does. A return under the same identity is one
only where no current is recorded; else the current decides. A restart that both tell of is told once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from wakerail.analysis.considered import Considered
from wakerail.analysis.decisions import Boot
from wakerail.analysis.hindsight.deciding import are_among, nearest_of, restarts_of, stand_for
from wakerail.analysis.hindsight.look import Looking, Recorded, Verdict, looking_by
from wakerail.analysis.hindsight.looks import Looks
from wakerail.analysis.hindsight.weighing import grown
from wakerail.analysis.onset import First
from wakerail.analysis.reading import BootReading, Watched, judge
from wakerail.analysis.restarts import SAMPLE_TICKS, BootFinder
from wakerail.analysis.samples import Gathering, Recent, Samples
from wakerail.analysis.seen import Onset, Restart, Seen
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.sorts import probability_of
from wakerail.analysis.supply import SupplyWatch
from wakerail.analysis.telling import Begin, evidence_of, tell_begin
from wakerail.analysis.ticks import Condenser, Ticks, join
from wakerail.analysis.told import ToldRestarts
from wakerail.analysis.usb import EARLIER_MODE, LEFT, RETURNED, UsbEvent, UsbReturn
from wakerail.analysis.usb_witness import NEAR_S, UsbWitness
from wakerail_kit.messages import Frame

_SURE_BEFORE = 1.0  # log odds, the end: from there on what was not seen live is told
_NEW_TICKS = 40  # what is as new may still be seen live, and better
_LEAST_AGAINST = -0.01  # log odds: what was decided against counts no more
_GAP = 1.5  # times the usual spacing of ticks
_KEEP_TICKS = SAMPLE_TICKS + 3
_PARTS = 256


class BootReader:
    """Reads one watch. Feed it samples and USB events in the order of time, then ask it to ``finish``.

    What it reads depends on the samples, not on how they are cut into pieces. ``looking`` looks back at what was
    recorded so far, by the trees that come with the reader unless another is given.
    """

    def __init__(self, settings: ReaderSettings, looking: Looking | None = None) -> None:
        self._settings = settings
        self._looking = looking_by(grown()) if looking is None else looking
        self._gathering, self._recent = Gathering(), Recent()
        self._condenser = Condenser(settings.max_gap_s)
        self._usb = UsbWitness()
        self._finder = BootFinder(settings.standing_a, self._recent.edge, self._usb.says_of)
        self._supply = SupplyWatch(settings.limit_a, settings.set_v, settings.short_hold_s, settings.max_gap_s)
        self._ticks: list[Ticks] = []
        self._newest_ticks: list[Ticks] = []  # in pieces as they came, which are many
        self._half_width_s: list[float] = []  # of each tick's first sample
        self._spacing_s: list[float] = []  # from sample to sample in each tick, 0 for a single one
        self._first_s: float | None = None
        self._onset_s: float | None = None
        self._told = ToldRestarts()
        self._proposed: list[Considered] = []
        self._pending: list[Considered] = []  # what no look has borne out yet
        self._looks = Looks()
        self._doubts: list[tuple[float, float]] | None = None  # once all was looked back at

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
        again = self._usb.trail.take(event, drawing=finder.first is not First.UNCLEAR and finder.up)
        if again is None or again.left_by_s < self._begun_s():
            return seen
        if again.evidence == RETURNED:
            if not len(finder.trail):
                seen += self._tell_returned(again)
            return seen
        if finder.considers(lambda at_s, again_s: again.is_near(at_s, again_s, NEAR_S)):
            self._usb.wait(again)
            return seen
        return seen + self._tell_proved(again)

    def finish(self, end_s: float) -> BootReading:
        """Conclude from all that was taken until ``end_s``; what becomes sure only now is the reading's last_seen."""
        seen = self._finish_live()
        seen += self._look_back(self._known_live, at_end=True)
        return replace(self._conclude(end_s), last_seen=tuple(seen))

    def _recorded(self) -> Recorded:
        return self._finder.recorded(self._onset_s, self._all_ticks().between(0, len(self._finder.trail)))

    def _all_ticks(self) -> Ticks:
        return join([*self._ticks, *self._newest_ticks])

    def _finish_live(self) -> list[Seen]:
        seen = [one for batch in self._gathering.rest() for one in self._read(batch)]
        seen += self._read_ticks(self._condenser.finish())
        seen += [one for boot in self._finder.finish() for one in self._tell_boot(boot)]
        return seen + self._tell_waiting(math.inf)

    def _conclude(self, end_s: float) -> BootReading:
        finder, levels = self._finder, self._finder.levels
        restarts = sorted((told.restart for told in self._told.counting), key=lambda one: one.again_s)
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
                sleeps=len(self._usb.slept_s - {restart.again_s for restart in restarts}),
                supply=self._supply,
                usb_mode=self._usb.trail.mode_now(),
                usb_returns=len(self._usb.trail.returned_s),
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
        take, trail = self._finder.take, self._finder.trail
        for start_s, end_s, level_a in zip(
            ticks.start_s.tolist(), ticks.end_s.tolist(), ticks.mean_a.tolist(), strict=True
        ):
            boots = take(start_s, end_s, level_a)
            if boots:
                seen += [one for boot in boots for one in self._tell_boot(boot)]
                seen += self._weigh_proposed()
            if len(trail) >= self._looks.unasked_at:
                seen += self._look(len(trail))
            if start_s > self._usb.waits_until_s:
                seen += self._tell_waiting(start_s)
        return seen

    # --- in hindsight ---

    def _weigh_proposed(self) -> list[Seen]:
        """Tell of what was seen live if what was recorded until now bears it out, or did so for what was before."""
        ticks = len(self._finder.trail)
        if self._pending and self._looks.due(ticks):
            return self._look(ticks)
        trusted = [proposed for proposed in self._pending if self._looks.trusts(proposed.place)]
        return [self._tell_proposed(proposed) for proposed in trusted]

    def _look(self, ticks: int) -> list[Seen]:
        seen = self._look_back([told.restart for told in self._told.counting], at_end=False)
        counting = [told.restart for told in self._told.counting]
        self._looks.note(ticks, are_among(self._proposed, counting, self._finder.spacing_s))
        return seen

    @property
    def _known_live(self) -> list[Considered | Restart]:
        """What was seen live, by the current or by USB alone, in the order of time."""
        by_usb = [told.restart for told in self._told.counting if not told.by_current]
        return sorted([*self._proposed, *by_usb], key=lambda one: one.again_s)

    def _look_back(self, stood: Sequence[Considered | Restart], *, at_end: bool) -> list[Seen]:
        """Judge all that may have been a restart by what was recorded; return what has to be told of that.

        Where too little was recorded for it, what was seen live is told.
        """
        spacing_s, live_s = self._finder.spacing_s, [one.again_s for one in self._known_live]
        verdicts = self._looking(self._recorded(), live_s, self._usb.says)
        if not verdicts:
            return [self._tell_proposed(proposed) for proposed in list(self._pending)]
        restarts = restarts_of(verdicts, stood, spacing_s)
        judged = {verdict.again_s: verdict for verdict in verdicts}
        seen: list[Seen] = []
        counting = self._told.counting
        holding = stand_for([told.restart for told in counting], restarts, spacing_s)
        for told, holds in zip(counting, holding, strict=True):
            verdict = judged.get(told.restart.again_s)
            if not (holds or verdict is None or told.usb is not None):
                seen += told.revise(min(verdict.log_odds, _LEAST_AGAINST), "by all that was recorded it was none")
        known = are_among(restarts, [told.restart for told in self._told.counting], spacing_s)
        for verdict, is_told in zip(restarts, known, strict=True):
            if not is_told:
                seen += self._tell_found(verdict, at_end=at_end)
        if at_end:
            self._conclude_looks(verdicts)
        return seen

    def _conclude_looks(self, verdicts: Sequence[Verdict]) -> None:
        """Note what is known only now: how long each boot was up, and how likely there were more restarts."""
        for told in self._told.all:
            if told.begin is not None:
                told.restart = replace(told.restart, says=self._says_of(told.begin, told.restart.evidence))
        explained = are_among(verdicts, [told.restart for told in self._told.counting], self._finder.spacing_s)
        self._doubts = [
            (one.again_s, probability_of(one.log_odds))
            for one, is_one in zip(verdicts, explained, strict=True)
            if not is_one
        ]

    def _tell_found(self, verdict: Verdict, *, at_end: bool) -> list[Seen]:
        """Tell of what a look bears out: as it was seen live, or told and taken back, or only in hindsight."""
        spacing_s = self._finder.spacing_s
        taken_back = [told for told in self._told.all if not told.counts]
        if (place := nearest_of(verdict, [told.restart for told in taken_back], spacing_s)) is not None:
            return taken_back[place].revise(verdict.log_odds, "by all that was recorded it is one")
        if (place := nearest_of(verdict, self._pending, spacing_s)) is not None:
            return [self._tell_proposed(self._pending[place])]
        is_new = self._finder.trail.start_s[-1] - verdict.again_s < _NEW_TICKS * spacing_s
        if not at_end and (is_new or verdict.log_odds < _SURE_BEFORE):
            return []
        evidence = evidence_of(verdict.sort, verdict.alike, 0.0, dipped=verdict.dipped)
        return [self._tell_begin(verdict, verdict.log_odds, evidence, None)]

    def _says_of(self, begin: Begin, evidence: Sequence[str]) -> str:
        says = tell_begin(begin, self._told.up_s(begin.at_s, self._onset_s), evidence)
        return f"{says}, in hindsight" if isinstance(begin, Verdict) else says

    # --- what is told ---

    def _tell_boot(self, boot: Boot) -> list[Seen]:
        candidate = boot.candidate
        if candidate is None:
            self._onset_s = boot.start_s
            return [Onset(boot.start_s, self._opening_a(boot.start_s))]
        proposed = Considered.of(candidate, boot.log_odds)
        self._proposed.append(proposed)
        for told in self._told.all:
            if not told.by_current and told.usb and told.usb.is_near(candidate.at_s, candidate.again_s, NEAR_S):
                told.by_current = True
                return told.revise(max(boot.log_odds, told.log_odds), "the current shows it, too")
        self._pending.append(proposed)
        usb = self._usb.join(candidate.at_s, candidate.again_s)
        return [] if usb is None else [self._tell_proposed(proposed, usb)]

    def _tell_proposed(self, proposed: Considered, usb: UsbReturn | None = None) -> Restart:
        """Tell of a restart as it was seen live."""
        self._pending.remove(proposed)
        evidence = evidence_of(proposed.sort, proposed.alike, proposed.novel)
        return self._tell_begin(proposed, proposed.log_odds, evidence, usb)

    def _tell_begin(self, begin: Begin, log_odds: float, evidence: list[str], usb: UsbReturn | None) -> Restart:
        """Tell of a restart that the current shows, by ``evidence`` and what USB adds to it."""
        if self._usb.left(begin.at_s, begin.again_s):
            evidence.append(LEFT)
        if usb is not None:
            evidence.append(EARLIER_MODE)
        uncertainty_s = max(self._within_s(begin.at_s), self._within_s(begin.again_s))
        says = self._says_of(begin, evidence)
        return self._told.tell(begin.at_s, begin.again_s, log_odds, evidence, says, uncertainty_s, usb=usb, begin=begin)

    def _tell_proved(self, again: UsbReturn) -> list[Seen]:
        """Tell of a return in an earlier mode, or of what it adds to a restart that the current has told of."""
        near = [told for told in self._told.all if again.is_near(told.restart.at_s, told.restart.again_s, NEAR_S)]
        if near:
            told = near[-1]
            if told.usb is not None:
                return []
            told.usb = again
            return told.revise(told.log_odds + again.log_odds, again.says, EARLIER_MODE)
        pending = [one for one in self._pending if again.is_near(one.at_s, one.again_s, NEAR_S)]
        return [self._tell_proposed(pending[-1], again)] if pending else self._tell_usb(again)

    def _tell_returned(self, again: UsbReturn) -> list[Seen]:
        """Tell of a return under the same identity; returns at like intervals make those before more likely, too."""
        seen: list[Seen] = []
        for told in self._told.all:
            if told.usb is not None and told.usb.device == again.device and told.usb.evidence == RETURNED:
                seen += told.revise(max(told.log_odds, again.log_odds), "it goes on at like intervals")
        return seen + self._tell_usb(again)

    def _tell_usb(self, again: UsbReturn) -> list[Seen]:
        within_s = again.back_s - again.left_s
        return [
            self._told.tell(
                again.left_by_s, again.back_s, again.log_odds, [again.evidence], again.says, within_s, usb=again
            )
        ]

    def _tell_waiting(self, now_s: float) -> list[Seen]:
        """Tell of returns on USB that the current has not told of in time."""
        return [one for again in self._usb.due(now_s) for one in self._tell_proved(again)]

    # --- what is known ---

    def _begun_s(self) -> float:
        """Return when this boot was called for or began: what left USB before that belongs to another."""
        begun_s = (self._settings.prompted_s, self._onset_s)
        return max((at_s for at_s in begun_s if at_s is not None), default=-math.inf)

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
