"""From what a boot reader saw to a finding, its outcome, how sure it is, and one plain sentence.

How sure: a restart that was found has its own probability, so that there was any is 1 less the product of what each
lacks. That there was none is 1 less the likeliest of the dips and jumps that were set aside (they are seldom
independent), times how sure the level at the end tells what the device does there (the numbers beside each rule
below: common practice, not measured). What the supply did is measured (99 %), and so is what the data lack.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from wakerail.analysis.assurance import clean_trials_needed, upper_bound, window_says
from wakerail.analysis.cadence import Cadence, cadence_of_restarts
from wakerail.analysis.course import Seconds, dark_since_s, gaps_s, level_at, sample_spacing_s, seconds_of
from wakerail.analysis.onset import HOLD_S, First
from wakerail.analysis.seen import Restart, Seen
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.stages import Stage, stages_of
from wakerail.analysis.supply import BootEnd, SupplyWatch, flat_top_a
from wakerail.analysis.telling import tell_restarts
from wakerail.analysis.ticks import Ticks
from wakerail.analysis.words import brief, brief_level, percent
from wakerail_kit.messages import Measurement
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.units import human

_FEWEST_SAMPLES = 10
_FEWEST_PULSES = 3  # fewer may be disturbances
_SLOWEST_S = 0.25 + 1e-6  # samples further apart do not show the short dips of a restart
_GAP_SPACINGS = 5.0  # a trace has no gaps shorter than this
_MOST_MISSING = 0.05  # of the watch, in gaps

_STEADY_FACTOR = 2.0  # a boot moves its level by more between its stages, load and reception by less
_STILL_SHARE = 0.04  # what runs has timers, radios or a display; what hangs draws the same all the time
_STILL_A = 0.010  # below this a meter's own steps and noise look like movement
_ASLEEP_SHARE = 0.1  # of the busiest second: a hung processor draws more than this, a sleeping one less
_AT_REST_SHARE = 0.6  # of the busiest second: a boot loads memory and processor fully, what has booted waits
_ONE_LEVEL_FACTOR = 1.5  # of the opening level: a boot that goes on wakes memory and then all cores

_DOUBTFUL = 0.3  # how probable a restart is from which on a device is not called running
_MEASURED, _BY_USB = 0.99, 0.98
_STAYED_DARK, _AT_REST, _UNMOVING, _ONE_LEVEL, _BUSY = 0.95, 0.95, 0.9, 0.85, 0.5


@dataclass(frozen=True, slots=True)
class Watched:
    """What a reader has gathered. Times are monotonic seconds, currents amperes; None is what is not known.

    first_s: when the first sample or USB event came. began: how the trace began. off_a: at this and below the device
    draws what it draws standing. base_a: what it drew before it drew more. doubts: when each restart that was not
    told would have begun, and how probable it is. sleeps: dips in which it stayed on USB. usb_mode: the mode that USB
    shows at the end, and whether it is the last of its family.
    """

    settings: ReaderSettings
    ticks: Ticks
    first_s: float
    end_s: float
    began: First
    onset_s: float | None
    base_a: float | None
    off_a: float
    pulses: int
    restarts: tuple[Restart, ...]
    doubts: Sequence[tuple[float, float]]
    sleeps: int
    supply: SupplyWatch
    usb_mode: tuple[str, bool] | None
    usb_returns: int

    @property
    def usb_only(self) -> bool:
        """True if USB told something, and no current was measured."""
        return not len(self.ticks) and self.first_s < self.end_s


@dataclass(frozen=True, slots=True)
class BootReading:
    """What a watch concludes, with the ``probability`` that it is so. None is what could not be had.

    ``restarts`` are those that count in the end, in the order of time, each with the number that it was told under;
    who counts them anew counts by time. ``standing_a`` is what the device drew before
    it was started, ``running_a`` the level of the settling time at the end, ``cadence`` needs two restarts.
    ``last_seen`` is what became sure only at the end; how much that is depends on the pieces that the reader was given.
    """

    finding: Finding
    outcome: Outcome
    probability: float
    says: str
    onset_s: float | None
    restarts: tuple[Restart, ...]
    stages: tuple[Stage, ...]
    cadence: Cadence | None
    standing_a: float | None
    running_a: float | None
    peak_a: float | None
    measurements: list[Measurement] = field(default_factory=list)
    last_seen: tuple[Seen, ...] = field(default=(), compare=False)


@dataclass(frozen=True, slots=True)
class _Conclusion:
    finding: Finding
    outcome: Outcome
    says: str
    sure: float


def judge(watched: Watched) -> BootReading:
    """Conclude. What is a fault of the supply's setting or of the record is never called the device's."""
    judged = _Judged(watched)
    concluded = judged.conclude()
    standing_a = judged.standing_a
    if standing_a is None and watched.onset_s is not None:
        standing_a = watched.base_a
    reading = BootReading(
        finding=concluded.finding,
        outcome=concluded.outcome,
        probability=concluded.sure,
        says=concluded.says,
        onset_s=watched.onset_s,
        restarts=watched.restarts,
        stages=stages_of(watched.ticks, _breaks_s(watched)),
        cadence=cadence_of_restarts(watched.restarts, watched.onset_s),
        standing_a=standing_a,
        running_a=judged.running_a,
        peak_a=float(watched.ticks.high_a.max()) if len(watched.ticks) else None,
    )
    reading.measurements.extend(_measure(watched, reading, judged.standing_a))
    return reading


def _breaks_s(watched: Watched) -> list[float]:
    moments = [moment for restart in watched.restarts for moment in (restart.at_s, restart.again_s)]
    return moments if watched.onset_s is None else [watched.onset_s, *moments]


class _Judged:
    """The rules, in the order of how much they explain: a short first, running last."""

    def __init__(self, watched: Watched) -> None:
        self._watched = watched
        self._settings = watched.settings
        ticks = watched.ticks
        self._spacing_s = sample_spacing_s(ticks)
        self._first_s = float(ticks.start_s[0]) if len(ticks) else watched.first_s
        begun_s = [restart.again_s for restart in watched.restarts]
        self._started_s = begun_s[-1] if begun_s else watched.onset_s
        self._drawing = watched.began is not First.UNCLEAR
        self._fell_s = dark_since_s(ticks, watched.off_a) if self._drawing else None
        self._seconds = seconds_of(ticks, self._begun_s, watched.end_s)

    @property
    def _begun_s(self) -> float:
        """When the boot began that is last known of, or the record."""
        return self._first_s if self._started_s is None else self._started_s

    @property
    def _settled(self) -> Seconds:
        """The whole seconds of the settling time at the end of the watch."""
        return self._seconds.since(self._watched.end_s - self._settings.settle_s)

    @property
    def running_a(self) -> float | None:
        """The level at the end, if the device was up."""
        if not self._drawing or self._fell_s is not None or not len(self._settled):
            return None
        return float(np.median(self._settled.median_a))

    @property
    def standing_a(self) -> float | None:
        """The current before the prompt, as told or as seen; None if neither."""
        settings = self._settings
        if settings.standing_a is not None or settings.prompted_s is None:
            return settings.standing_a
        until_s = (
            settings.prompted_s if self._watched.onset_s is None else min(settings.prompted_s, self._watched.onset_s)
        )
        before = seconds_of(self._watched.ticks, self._first_s, until_s)
        return float(np.median(before.median_a)) if len(before) else None

    def _words(self, level_a: float) -> str:
        return human(level_a, self._settings.unit)

    def conclude(self) -> _Conclusion:
        found = self._of_supply() or self._of_restarts() or self._of_the_record() or self._of_standing_draw()
        if found is not None:
            return found
        if not self._drawing:
            return self._without_draw()
        concluded = self._of_end() if self._fell_s is None else self._of_fall(self._fell_s)
        if concluded.finding is Finding.TOO_LITTLE_DATA:
            return concluded
        doubts = self._watched.doubts
        if not doubts:
            return concluded
        at_s, doubt = max(doubts, key=lambda one: one[1])
        if concluded.outcome is Outcome.PASSED and doubt >= _DOUBTFUL:
            return self._in_doubt(at_s, doubt)
        return replace(concluded, sure=(1.0 - doubt) * concluded.sure)

    def _in_doubt(self, at_s: float, doubt: float) -> _Conclusion:
        """Conclude nothing: it may have restarted, and a sentence that it runs would hide that."""
        others = sum(other >= _DOUBTFUL for _, other in self._watched.doubts) - 1
        more = f", and {others} more like it" if others else ""
        return _inconclusive(
            f"It may have restarted, likeliest {brief(at_s - self._first_s)} into the watch ({percent(doubt)}){more}; "
            f"or it slept, or worked: the {self._settings.signal} alone does not tell. Watch again with its USB "
            "connected."
        )

    def _of_restarts(self) -> _Conclusion | None:
        watched = self._watched
        if not watched.restarts:
            return None
        any_of_them = 1.0 - math.prod(1.0 - restart.probability for restart in watched.restarts)
        watched_s = watched.end_s - self._first_s
        says = tell_restarts(watched.restarts, watched.onset_s, watched_s, self._fell_s, watched.end_s)
        return _Conclusion(Finding.RESTARTING, Outcome.FAILED, says, any_of_them)

    def _of_the_record(self) -> _Conclusion | None:
        why = self._too_little_data()
        return None if why is None else _inconclusive(why)

    def _of_standing_draw(self) -> _Conclusion | None:
        standing_a, most_a = self.standing_a, self._settings.standing_max_a
        if standing_a is None or standing_a <= most_a:
            return None
        says = f"It drew {self._words(standing_a)} before it was started; at most {self._words(most_a)} is right."
        says += " Something on a main rail leaks."
        return _Conclusion(Finding.STANDING_DRAW, Outcome.FAILED, says, _MEASURED)

    def _of_supply(self) -> _Conclusion | None:
        watched, limit_a, unit = self._watched, self._settings.limit_a, self._settings.unit
        limit = "" if limit_a is None else f" of {self._words(limit_a)}"
        if (shorted_v := watched.supply.dragged_down_v()) is not None:
            says = f"The supply stands at its limit{limit} and is dragged down to {human(shorted_v, 'V')}."
            says += " A main rail is shorted."
            return _Conclusion(Finding.HARD_SHORT, Outcome.FAILED, says, _MEASURED)
        ends = [BootEnd(restart.at_s, restart.uncertainty_s) for restart in watched.restarts]
        if self._fell_s is not None:
            ends.append(BootEnd(self._fell_s, self._spacing_s))
        # it may have been starved before it drew for long enough to be seen
        never_up = not self._drawing and watched.supply.met_its_limit and self._is_low(self._watched.end_s)
        if watched.supply.held_back(ends) or never_up:
            more = "a higher limit" if limit_a is None else f"a limit of {self._words(2 * limit_a)}"
            says = f"The supply ran into its limit{limit}, so the boot was held back; try {more}."
            return _Conclusion(Finding.SUPPLY_LIMITED, Outcome.INCONCLUSIVE, says, _MEASURED)
        if limit_a is None and len(watched.ticks) and (top_a := flat_top_a(watched.ticks)) is not None:
            says = (
                f"The voltage sagged while the {self._settings.signal} stood at {brief_level(top_a, unit)}, as of a "
                f"supply at its limit, so the boot was held back; try a limit of {brief_level(2 * top_a, unit)}."
            )
            return _Conclusion(Finding.SUPPLY_LIMITED, Outcome.INCONCLUSIVE, says, _MEASURED)
        return None

    def _is_low(self, at_s: float) -> bool:
        seconds = seconds_of(self._watched.ticks, self._first_s, at_s)
        return bool(len(seconds)) and bool(seconds.median_a[-1] <= self._watched.off_a)

    def _too_little_data(self) -> str | None:
        watched, ticks = self._watched, self._watched.ticks
        samples = int(ticks.count.sum())
        if not samples and watched.usb_only:
            return "USB alone showed no restart; without the current that is no proof that there was none."
        if samples < _FEWEST_SAMPLES:
            return f"Only {samples} samples of the {self._settings.signal} came in; that carries no claim."
        if self._spacing_s > _SLOWEST_S:
            return (
                f"The samples are {brief(self._spacing_s)} apart, and a restart could hide between two; "
                "at least 5 samples a second are needed."
            )
        least_s = max(self._settings.max_gap_s, _GAP_SPACINGS * self._spacing_s)
        gaps = np.append(gaps_s(ticks, least_s), max(watched.end_s - float(ticks.end_s[-1]), 0.0))
        if gaps.max() > least_s + 1e-6:
            return f"No sample came in for {human(float(gaps.max()), 's')}; a restart could hide in that."
        missing_s = gaps_s(ticks, _GAP_SPACINGS * self._spacing_s).sum()
        length_s = float(ticks.end_s[-1] - ticks.start_s[0])
        if missing_s > _MOST_MISSING * length_s:
            return (
                f"Samples are missing for {brief(missing_s)} of {brief(length_s)} in all, and restarts could hide in "
                f"that; no more than {percent(_MOST_MISSING)} may be missing."
            )
        return None

    def _without_draw(self) -> _Conclusion:
        watched, settings = self._watched, self._settings
        peak = self._words(float(watched.ticks.high_a.max()))
        if (
            settings.standing_a is None
            and self.standing_a is None
            and (watched.base_a or 0.0) > settings.standing_max_a
        ):
            return _inconclusive(
                f"It drew up to {peak} from the first sample on; without the {settings.signal} before the start, off "
                "and running look the same. Measure that first."
            )
        waited_s = watched.end_s - (self._first_s if settings.prompted_s is None else settings.prompted_s)
        if waited_s < settings.patience_s:
            return _inconclusive(
                f"It drew nothing yet, but was watched for only {brief(waited_s)}; "
                f"at least {brief(settings.patience_s)} are needed."
            )
        if watched.pulses >= _FEWEST_PULSES:
            return _inconclusive(
                f"It drew in {watched.pulses} pulses too short for a boot, up to {peak}; watch at a higher sample rate."
            )
        says = f"It drew nothing in the {brief(waited_s)} after it was to start; never more than {peak}."
        return _Conclusion(Finding.NO_DRAW, Outcome.FAILED, says, _MEASURED)

    def _of_fall(self, fell_s: float) -> _Conclusion:
        dark_s = self._watched.end_s - fell_s
        if dark_s < self._settings.settle_s:
            return _inconclusive(
                f"It stopped drawing only {brief(dark_s)} before the end; watch longer to see whether it comes "
                f"back, {brief(self._settings.settle_s)} at least."
            )
        peak, up = self._words(float(self._watched.ticks.high_a.max())), brief(fell_s - self._begun_s)
        says = f"It began to start, drew up to {peak}, stopped after {up} and did not come back."
        return _Conclusion(Finding.STALLED, Outcome.FAILED, says, _STAYED_DARK)

    def _of_end(self) -> _Conclusion:
        settings, watched, seconds = self._settings, self._watched, self._settled
        up_s = watched.end_s - self._begun_s
        half = len(seconds) // 2
        if up_s < settings.settle_s or half < 2:
            return _inconclusive(
                f"It was up for only {brief(up_s)} at the end; at least {brief(settings.settle_s)} are needed."
            )
        earlier_a, later_a = float(np.median(seconds.median_a[:half])), float(np.median(seconds.median_a[half:]))
        level = self._words(later_a)
        if not 1 / _STEADY_FACTOR < later_a / max(earlier_a, 1e-9) < _STEADY_FACTOR:
            return _inconclusive(
                f"Its {settings.signal} was still going from {self._words(earlier_a)} to {level} at the end; "
                "watch longer."
            )
        up = f"for {brief(up_s)}"
        began = "It started" if self._started_s is not None else "It was running already"
        if watched.usb_mode is not None:
            mode, is_last = watched.usb_mode
            if not is_last:
                says = f"{began} and stays in mode {mode!r} on USB, at {level}, {up}."
                return _Conclusion(Finding.STALLED, Outcome.FAILED, says, _BY_USB)
            says = f"{began}, stayed up {up}, and is on USB in mode {mode!r} at {level}."
            return self._running(says, up_s, _BY_USB)
        times = "once" if watched.sleeps == 1 else f"{watched.sleeps} times"
        slept = f" It slept {times}, still on USB." if watched.sleeps else ""
        return self._of_level(later_a, began, f"{began} and stayed up {up}, at the end at {level}.{slept}")

    def _of_level(self, level_a: float, began: str, running: str) -> _Conclusion:
        """Tell running from hanging by the current alone: what runs rests after its boot, and never holds still."""
        settings, seconds, level = self._settings, self._settled, self._words(level_a)
        busiest_a = float(self._seconds.median_a.max())
        opening_a = None if self._started_s is None else level_at(self._watched.ticks, self._started_s, HOLD_S)
        spread_a = float(seconds.high_a.max() - seconds.low_a.min())
        if spread_a <= max(_STILL_A, _STILL_SHARE * level_a):
            if level_a < _ASLEEP_SHARE * busiest_a:
                return _inconclusive(f"It ended at an unmoving {level}, asleep or halted; wake it and watch again.")
            says = f"{began} and hangs: for the last {brief(settings.settle_s)} it drew an unmoving {level}."
            return _Conclusion(Finding.STALLED, Outcome.FAILED, says, _UNMOVING)
        if level_a <= _AT_REST_SHARE * busiest_a:
            return self._running(running, self._watched.end_s - self._begun_s, _AT_REST)
        if opening_a is not None and busiest_a <= _ONE_LEVEL_FACTOR * opening_a:
            says = f"{began} and hangs: it never left the {level} that it began with."
            return _Conclusion(Finding.STALLED, Outcome.FAILED, says, _ONE_LEVEL)
        says = (
            f"It stays at {level}, as busy as in its boot: it hangs there, or runs under load. "
            "Look at its screen or USB."
        )
        return _Conclusion(Finding.STALLED, Outcome.INCONCLUSIVE, says, _BUSY)

    def _running(self, says: str, up_s: float, sure: float) -> _Conclusion:
        """Conclude that it runs, and say what that shows: nothing, if it restarted only later before."""
        before = self._settings.cadence_before
        if before is None:
            return _Conclusion(Finding.RUNNING, Outcome.PASSED, f"{says} {_one_clean_boot()}", sure)
        shown = window_says(up_s, before)
        if not shown.intervals:
            return _inconclusive(f"{says} {shown.says}")
        return _Conclusion(Finding.RUNNING, Outcome.PASSED, f"{says} {shown.says}", sure)


def _inconclusive(says: str) -> _Conclusion:
    return _Conclusion(Finding.TOO_LITTLE_DATA, Outcome.INCONCLUSIVE, says, _MEASURED)


def _one_clean_boot() -> str:
    """Say what one clean boot shows, and what would show something."""
    bound, enough = upper_bound(0, 1), 0.1
    return (
        f"One clean boot shows only that it restarts in less than {percent(bound)} of its boots; "
        f"{clean_trials_needed(enough)} would show less than {percent(enough)}."
    )


def _measure(watched: Watched, reading: BootReading, standing_a: float | None) -> list[Measurement]:
    settings, cadence = watched.settings, reading.cadence
    found: list[Measurement] = []

    def note(name: str, value: float | None, unit: str, high: float | None, uncertainty: float | None = None) -> None:
        if value is None:
            return
        outcome = Outcome.PASSED if high is None or value <= high else Outcome.FAILED
        found.append(
            Measurement(name=name, value=value, unit=unit, high=high, uncertainty=uncertainty, outcome=outcome)
        )

    # Whoever measured it before has it among the measurements already, unless it is what was found.
    if settings.standing_a is None or reading.finding is Finding.STANDING_DRAW:
        note(f"standing-{settings.signal}", standing_a, settings.unit, settings.standing_max_a)
    note(f"peak-{settings.signal}", reading.peak_a, settings.unit, settings.limit_a)
    note(f"running-{settings.signal}", reading.running_a, settings.unit, None)
    note("restarts", float(len(reading.restarts)), "1", 0.0)
    # the two ends of an interval err independently
    doubt_s = max((restart.uncertainty_s for restart in reading.restarts), default=0.0) * math.sqrt(2)
    note("restart-interval", None if cadence is None else cadence.median_s, "s", None, doubt_s)
    note("usb-returns", float(watched.usb_returns) or None, "1", None)
    return found
