"""From what a boot reader saw to a finding, its outcome, and one plain sentence."""

from __future__ import annotations

import itertools
import math
import statistics
from dataclasses import dataclass, field

from wakerail.analysis.levels import SecondLevel
from wakerail.analysis.seen import Restart
from wakerail.analysis.settings import ReaderSettings
from wakerail_kit.messages import Measurement
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.units import human

_FEWEST_SAMPLES = 10
_FEWEST_PULSES = 3  # fewer may be disturbances
_STEADY_FACTOR = 2.0  # a boot moves its level by more between its stages, load and reception by less
_STILL_SHARE = 0.04  # what runs has timers, radios or a display; what hangs draws the same all the time
_ASLEEP_SHARE = 0.1  # of the busiest second: a hung processor draws more than this, a sleeping one less
_AT_REST_SHARE = 0.6  # of the busiest second: a boot loads memory and processor fully, what has booted waits
_ONE_LEVEL_FACTOR = 1.5  # of the opening level: a boot that goes on wakes memory and then all cores
_REGULAR = 0.1  # times that differ by less are called one time


_Conclusion = tuple[Finding, Outcome, str]


@dataclass(slots=True)
class Watched:
    """What a reader has gathered. Times are monotonic seconds, None what did not happen or is not known.

    ``drawing`` is None if it never became clear whether the first level was standing draw or a running device.
    ``quiet`` are the seconds before the device drew, ``seconds`` those since it last rose or fell. ``opening_a`` is
    how the last boot began, ``busiest_a`` the level of its busiest second. ``usb_mode`` is the mode
    that USB shows at the end, and whether it is the last of its family.
    """

    settings: ReaderSettings
    samples: int = 0
    first_s: float = 0.0
    last_s: float | None = None
    end_s: float = 0.0
    longest_gap_s: float = 0.0
    peak_a: float = -math.inf
    pulses: int = 0
    drawing: bool | None = False
    onset_s: float | None = None
    up_since_s: float | None = None
    fell_s: float | None = None
    sleeps: int = 0
    restarts: list[Restart] = field(default_factory=list)
    limited: bool = False
    shorted_v: float | None = None
    quiet: list[SecondLevel] = field(default_factory=list)
    seconds: list[SecondLevel] = field(default_factory=list)
    opening_a: float | None = None
    busiest_a: float = 0.0
    usb_mode: tuple[str, bool] | None = None
    usb_returned_s: list[float] = field(default_factory=list)

    @property
    def standing_a(self) -> float | None:
        """The current before the prompt, as told or as seen; None if neither."""
        settings = self.settings
        if settings.standing_a is not None or settings.prompted_s is None:
            return settings.standing_a
        before = [second.median for second in self.quiet if second.start_s + 1.0 <= settings.prompted_s]
        return statistics.median(before) if before else None

    @property
    def started_s(self) -> float:
        """When the boot began that is last known of."""
        return self.first_s if self.up_since_s is None else self.up_since_s

    @property
    def settled(self) -> list[SecondLevel]:
        """The whole seconds of the settling time at the end of the watch."""
        return [second for second in self.seconds if second.start_s >= self.end_s - self.settings.settle_s]


@dataclass(frozen=True, slots=True)
class BootReading:
    """What a watch concludes. Currents in amperes, times in monotonic seconds; None is what could not be had.

    ``running_a`` is the level of the settling time at the end, ``cadence_s`` the median time from one restart to
    the next, which takes two restarts.
    """

    finding: Finding
    outcome: Outcome
    says: str
    onset_s: float | None
    restarts: tuple[Restart, ...]
    standing_a: float | None
    running_a: float | None
    peak_a: float | None
    cadence_s: float | None
    measurements: list[Measurement]


def judge(watched: Watched) -> BootReading:
    """Conclude. What is a fault of the supply's setting or of the record is never called the device's."""
    finding, outcome, says = _conclude(watched)
    starts_s = [restart.at_s for restart in watched.restarts]
    intervals_s = [after - before for before, after in itertools.pairwise(starts_s)]
    running_a = statistics.median(second.median for second in watched.settled) if _is_up(watched) else None
    reading = BootReading(
        finding=finding,
        outcome=outcome,
        says=says,
        onset_s=watched.onset_s,
        restarts=tuple(watched.restarts),
        standing_a=watched.standing_a,
        running_a=running_a,
        peak_a=watched.peak_a if watched.samples else None,
        cadence_s=statistics.median(intervals_s) if intervals_s else None,
        measurements=[],
    )
    reading.measurements.extend(_measure(watched, reading))
    return reading


def _is_up(watched: Watched) -> bool:
    return watched.drawing is True and bool(watched.settled)


def _conclude(watched: Watched) -> _Conclusion:
    """Try the findings in the order of how much they explain: a short first, running last."""
    if (supply := _conclude_of_supply(watched)) is not None:
        return supply
    if watched.restarts:
        return Finding.RESTARTING, Outcome.FAILED, _tell_restarts(watched)
    if (why := _too_little_data(watched)) is not None:
        return _inconclusive(why)
    settings, standing_a = watched.settings, watched.standing_a
    if standing_a is not None and standing_a > settings.standing_max_a:
        says = f"It drew {human(standing_a, 'A')} before it was started; at most {human(settings.standing_max_a, 'A')}"
        return Finding.STANDING_DRAW, Outcome.FAILED, says + " is right. Something on a main rail leaks."
    if watched.drawing is not True and watched.onset_s is None:
        return _conclude_without_draw(watched)
    return _conclude_of_end(watched) if watched.fell_s is None else _conclude_of_fall(watched, watched.fell_s)


def _inconclusive(says: str) -> _Conclusion:
    return Finding.TOO_LITTLE_DATA, Outcome.INCONCLUSIVE, says


def _conclude_of_supply(watched: Watched) -> _Conclusion | None:
    limit_a = watched.settings.limit_a
    limit = "" if limit_a is None else f" of {human(limit_a, 'A')}"
    if watched.shorted_v is not None:
        says = f"The supply stands at its limit{limit} and is dragged down to {human(watched.shorted_v, 'V')}."
        return Finding.HARD_SHORT, Outcome.FAILED, says + " A main rail is shorted."
    if watched.limited:
        more = "a higher limit" if limit_a is None else f"a limit of {human(2 * limit_a, 'A')}"
        says = f"The supply ran into its limit{limit}, so the boot was held back; try {more}."
        return Finding.SUPPLY_LIMITED, Outcome.INCONCLUSIVE, says
    return None


def _too_little_data(watched: Watched) -> str | None:
    max_gap_s = watched.settings.max_gap_s
    if watched.samples < _FEWEST_SAMPLES or watched.last_s is None:
        return f"Only {watched.samples} samples of the current came in; that carries no claim."
    gap_s = max(watched.longest_gap_s, watched.end_s - watched.last_s)
    if gap_s > max_gap_s:
        return f"No sample came in for {human(gap_s, 's')}; a restart could hide in that."
    return None


def _conclude_without_draw(watched: Watched) -> _Conclusion:
    settings = watched.settings
    peak = human(watched.peak_a, "A")
    if watched.drawing is None:
        return _inconclusive(
            f"It drew up to {peak} from the first sample on; without the current before the start, off and running "
            "look the same. Measure that first."
        )
    waited_s = watched.end_s - (watched.first_s if settings.prompted_s is None else settings.prompted_s)
    if waited_s < settings.patience_s:
        return _inconclusive(f"It drew nothing yet, but was watched for only {human(waited_s, 's')}.")
    if watched.pulses >= _FEWEST_PULSES:
        return _inconclusive(
            f"It drew in {watched.pulses} pulses too short for a boot, up to {peak}; watch at a higher sample rate."
        )
    says = f"It drew nothing in the {human(waited_s, 's')} after it was to start; never more than {peak}."
    return Finding.NO_DRAW, Outcome.FAILED, says


def _conclude_of_fall(watched: Watched, fell_s: float) -> _Conclusion:
    dark_s = watched.end_s - fell_s
    if dark_s < watched.settings.settle_s:
        return _inconclusive(
            f"It stopped drawing only {human(dark_s, 's')} before the end; watch longer to see whether it comes back."
        )
    up_s = fell_s - watched.started_s
    says = f"It began to start, drew up to {human(watched.peak_a, 'A')}, stopped after {human(up_s, 's')}"
    return Finding.STALLED, Outcome.FAILED, says + " and did not come back."


def _conclude_of_end(watched: Watched) -> _Conclusion:
    settings, seconds = watched.settings, watched.settled
    up_s = watched.end_s - watched.started_s
    half = len(seconds) // 2
    if up_s < settings.settle_s or half < 2:
        return _inconclusive(
            f"It was up for only {human(up_s, 's')} at the end; at least {human(settings.settle_s, 's')} are needed."
        )
    earlier_a = statistics.median(second.median for second in seconds[:half])
    later_a = statistics.median(second.median for second in seconds[half:])
    level = human(later_a, "A")
    if not 1 / _STEADY_FACTOR < later_a / max(earlier_a, 1e-9) < _STEADY_FACTOR:
        return _inconclusive(
            f"Its current was still going from {human(earlier_a, 'A')} to {level} at the end; watch longer."
        )
    up = f"for {human(up_s, 's')}"
    if watched.usb_mode is not None:
        mode, is_last = watched.usb_mode
        if not is_last:
            says = f"It started and stays in mode {mode!r} on USB, at {level}, {up}."
            return Finding.STALLED, Outcome.FAILED, says
        return (
            Finding.RUNNING,
            Outcome.PASSED,
            f"It started, stayed up {up}, and is on USB in mode {mode!r} at {level}.",
        )
    slept = f" It slept {watched.sleeps} times, still on USB." if watched.sleeps else ""
    return _conclude_of_level(watched, later_a, f"It started and stayed up {up}, at the end at {level}.{slept}")


def _conclude_of_level(watched: Watched, level_a: float, running: str) -> _Conclusion:
    """Tell running from hanging by the current alone: what runs comes to rest after its boot, and is never still."""
    settings, seconds, level = watched.settings, watched.settled, human(level_a, "A")
    spread_a = max(second.high for second in seconds) - min(second.low for second in seconds)
    if spread_a <= max(2 * settings.margin_a, _STILL_SHARE * level_a):
        if level_a >= _ASLEEP_SHARE * watched.busiest_a:
            says = f"It started and hangs: for the last {human(settings.settle_s, 's')} it drew an unmoving {level}."
            return Finding.STALLED, Outcome.FAILED, says
        if watched.usb_mode is None:
            return _inconclusive(f"It ended at an unmoving {level}, asleep or halted; wake it and watch again.")
    if level_a <= _AT_REST_SHARE * watched.busiest_a:
        return Finding.RUNNING, Outcome.PASSED, running
    if watched.opening_a is not None and watched.busiest_a <= _ONE_LEVEL_FACTOR * watched.opening_a:
        return Finding.STALLED, Outcome.FAILED, f"It started and hangs: it never left the {level} that it began with."
    says = (
        f"It stays at {level}, as busy as in its boot: it hangs there, or runs under load. Look at its screen or USB."
    )
    return Finding.STALLED, Outcome.INCONCLUSIVE, says


def _tell_restarts(watched: Watched) -> str:
    """Say how often, how regularly and after how long: the same time each time points to one place in the boot."""
    restarts = watched.restarts
    begun_s = [watched.onset_s, *(restart.again_s for restart in restarts)]
    ups_s = [restart.at_s - begin_s for begin_s, restart in zip(begun_s, restarts, strict=False) if begin_s is not None]
    if len(restarts) == 1:
        return _tell_one_restart(watched, ups_s)
    doubt_s = max(restart.uncertainty_s for restart in restarts)
    intervals_s = [after.at_s - before.at_s for before, after in itertools.pairwise(restarts)]
    every = _in_words(intervals_s, doubt_s, "every {}" if len(intervals_s) > 1 else "{} apart", "{} to {} apart")
    up = _in_words(ups_s, doubt_s, "about {}", "{} to {}")
    first_s = watched.first_s if watched.samples else restarts[0].at_s
    within = _brief(watched.end_s - first_s)
    return f"It restarted {len(restarts)} times in {within}, {every}; each time after {up} up."


def _tell_one_restart(watched: Watched, ups_s: list[float]) -> str:
    up = f", after {_brief(ups_s[0])} up" if ups_s else ""
    again_s = watched.restarts[-1].again_s
    if watched.fell_s is not None:
        return f"It restarted once{up}, and stopped again {_brief(watched.fell_s - again_s)} later."
    return f"It restarted once{up}, and then stayed up for the {_brief(watched.end_s - again_s)} until the watch ended."


def _in_words(times_s: list[float], doubt_s: float, alike: str, unlike: str) -> str:
    """Put times that are the same, as far as they are known, into ``alike``; else their range into ``unlike``."""
    low_s, high_s = min(times_s), max(times_s)
    if high_s - low_s <= max(2 * doubt_s, _REGULAR * high_s):
        return alike.format(_brief(statistics.median(times_s)))
    return unlike.format(_brief(low_s), _brief(high_s))


def _brief(time_s: float) -> str:
    """Return a time with three digits: no sampling on a bench tells more."""
    return human(float(f"{time_s:.3g}"), "s")


def _measure(watched: Watched, reading: BootReading) -> list[Measurement]:
    settings = watched.settings
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
        note("standing-current", reading.standing_a, "A", settings.standing_max_a)
    note("peak-current", reading.peak_a, "A", settings.limit_a)
    note("running-current", reading.running_a, "A", None)
    note("restarts", float(len(reading.restarts)), "1", 0.0)
    # the two ends of an interval err independently
    doubt_s = max((restart.uncertainty_s for restart in reading.restarts), default=0.0) * math.sqrt(2)
    note("restart-interval", reading.cadence_s, "s", None, doubt_s)
    note("usb-returns", float(len(watched.usb_returned_s)) or None, "1", None)
    return found
