"""Watches a boot as it happens: when the device begins to draw, and every time that it starts over.

A plain detector: current with hysteresis and a hold time, and USB as the second witness. A restart is a fall to
near the standing level and a rise from it, unless the device stayed on USB meanwhile, which a device in reset
cannot; or a return on USB in an earlier boot mode, which needs no fall. Where it falls short:

- A warm restart in which the current stays up is seen only if USB shows an earlier mode.
- A sleep that draws less than ``margin_a`` above standing, without USB, is taken for a restart; so is a person
  switching the device off and on.
- A fall or a boot shorter than ``hold_s``, or than two samples, is not seen.
- Without ``standing_a`` it has to guess from the first samples whether the device is off or runs: a fall to
  less than a quarter then counts as off.
"""

from __future__ import annotations

import itertools
import math
import statistics
from dataclasses import dataclass

from wakerail.analysis.levels import Flip, HeldLevel, SecondLevel, SecondLevels, level_words
from wakerail.analysis.reading import BootReading, Watched, judge
from wakerail.analysis.seen import Onset, Restart, Seen
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.usb import UsbEvent, UsbTrail
from wakerail_kit.messages import Frame
from wakerail_kit.units import human

_FIRST_SAMPLES = 5  # the median of so few tells the first level, whatever the rate, and shrugs off a spike
_LIMIT_TOLD_S = 1.0  # a supply tells this late that it limited: it is asked for that less often than for the current
_AT_LIMIT = 0.98  # of the current limit: a supply limits, whether or not it says so in time
_DRAGGED_DOWN = 0.5  # of the set voltage: no device's own circuits run there, so what still draws is a short
_EARLIER_MODE = "usb-earlier-mode"
_USB_NEAR_S = 1.0  # how far the two witnesses of one restart may lie apart


@dataclass(frozen=True, slots=True)
class _Fall:
    """The device stopped drawing at ``at_s``; ``up_s`` is how long it had been up, None if from before the watch."""

    at_s: float
    within_s: float
    level_a: float
    up_s: float | None


class BootReader:
    """Reads one watch. Feed it frames and USB events in the order of time, then ask it to ``finish``."""

    def __init__(self, settings: ReaderSettings) -> None:
        self._settings = settings
        self._drawing = HeldLevel(settings.hold_s, high=None if settings.standing_a is None else False)
        self._limiting = HeldLevel(settings.hold_s)
        self._shorted = HeldLevel(settings.short_hold_s)
        self._first: list[float] | None = [] if settings.standing_a is None else None
        self._standing_a = 0.0
        if settings.standing_a is not None:
            self._know_standing(settings.standing_a)
        self._usb = UsbTrail()
        self._fall: _Fall | None = None
        self._seconds = SecondLevels()
        self._watched = Watched(settings)
        self._last_s: float | None = None
        self._limited_s = -math.inf
        self._ended_s = -math.inf  # when a boot was last seen to end

    def take_frame(self, frame: Frame) -> list[Seen]:
        """Take the supply's samples; return what they make sure. Missing samples and gaps are survived."""
        current = frame.signals.get("current")
        if current is None:
            return []
        voltage, limiting, output = (
            frame.signals.get(name) or itertools.repeat(None) for name in ("voltage", "limiting", "output")
        )
        seen: list[Seen] = []
        for at_s, half_s, amps, volts, limits, on in zip(
            frame.t_s, frame.half_width_s, current, voltage, limiting, output, strict=False
        ):
            # with the output off the samples say nothing about the device; times must go forward
            if (
                amps is None
                or on == 0
                or not math.isfinite(amps)
                or (self._last_s is not None and at_s <= self._last_s)
            ):
                continue
            self._take_limit(at_s, amps, volts, limits)
            flip = self._take_sample(at_s, half_s, amps)
            if flip is not None:
                seen += self._rose(flip) if flip.to else self._fell(flip)
        return seen

    def take_usb(self, event: UsbEvent) -> list[Seen]:
        """Take what the USB host saw; return the restart that it proves, if it does."""
        again = self._usb.take(event, drawing=self._drawing.high is True)
        if again is None or again.left_by_s < self._begun_s():
            return []
        if self._fall is not None:
            return []  # the current is about to tell of it, with better times
        if self._watched.restarts and self._watched.restarts[-1].again_s >= again.left_s - _USB_NEAR_S:
            return []  # the current has told of it already
        uncertainty_s = again.back_s - again.left_s
        self._end_boot(again.left_s, again.left_by_s)
        self._begin_boot(again.back_s, None)
        return [self._restart(again.left_by_s, again.back_s, (_EARLIER_MODE,), again.says, uncertainty_s)]

    def finish(self, end_s: float) -> BootReading:
        """Conclude from all that was taken until ``end_s``."""
        watched = self._watched
        watched.end_s = end_s
        watched.last_s = self._last_s
        watched.drawing = self._drawing.high
        watched.pulses = self._drawing.pulses
        watched.seconds = self._sum_up()
        watched.usb_returned_s = self._usb.returned_s
        watched.usb_mode = self._usb.mode_now()
        if watched.onset_s is None:
            watched.quiet = self._seconds.done
            # it may have been starved before it drew for long enough to be seen
            watched.limited |= watched.drawing is False and self._limited_s > -math.inf
        return judge(watched)

    def _take_sample(self, at_s: float, half_s: float, amps: float) -> Flip | None:
        watched = self._watched
        spacing_s = 0.0 if self._last_s is None else at_s - self._last_s
        if self._last_s is None:
            watched.first_s = at_s
        elif spacing_s > self._settings.max_gap_s:
            watched.longest_gap_s = max(watched.longest_gap_s, spacing_s)
            for level in (self._drawing, self._limiting, self._shorted):
                level.interrupt()
        self._last_s = at_s
        watched.samples += 1
        watched.peak_a = max(watched.peak_a, amps)
        self._seconds.take(at_s, amps)
        if self._first is not None:
            self._first.append(amps)
            if len(self._first) < _FIRST_SAMPLES:
                return None
            self._guess_standing(statistics.median(self._first))
            self._first = None
        return self._drawing.take(at_s, amps, spacing_s + half_s)

    def _take_limit(self, at_s: float, amps: float, volts: float | None, limits: float | None) -> None:
        settings = self._settings
        if not limits:  # the supply is asked for it less often than for the current, and a collapse is short
            limits = settings.limit_a is not None and amps >= _AT_LIMIT * settings.limit_a
        if limits:
            self._limited_s = at_s
            self._watched.limited |= at_s - self._ended_s <= _LIMIT_TOLD_S
        elif self._limiting.idle and self._shorted.idle:
            return
        down = bool(limits) and volts is not None and volts < _DRAGGED_DOWN * (settings.set_v or 0.0)
        flip = self._limiting.take(at_s, float(limits), 0.0)
        self._watched.limited |= flip is not None and flip.to
        flip = self._shorted.take(at_s, float(down), 0.0)
        if flip is not None and flip.to:
            self._watched.shorted_v = volts

    def _know_standing(self, level_a: float) -> None:
        self._standing_a = level_a
        margin_a = self._settings.margin_a
        self._drawing.set_thresholds(fall=level_a + margin_a, rise=level_a + 2 * margin_a)

    def _guess_standing(self, first_a: float) -> None:
        margin_a = self._settings.margin_a
        if first_a <= 2 * margin_a:
            self._drawing.high = False
            self._know_standing(first_a)
        else:  # off with a leak, or running: the first great change will tell
            self._standing_a = first_a
            self._drawing.set_thresholds(
                fall=first_a / 4, fall_end=first_a / 2, rise=2 * first_a + 2 * margin_a, rise_end=2 * first_a
            )

    def _fell(self, flip: Flip) -> list[Seen]:
        watched = self._watched
        if flip.level < self._standing_a and self._settings.standing_a is None:
            self._know_standing(flip.level)
        up_s = None if watched.up_since_s is None else flip.at_s - watched.up_since_s
        self._fall = _Fall(flip.at_s, flip.within_s, flip.level, up_s)
        watched.fell_s = flip.at_s
        self._end_boot(flip.at_s - flip.within_s, flip.at_s)
        self._sum_up()
        self._seconds.begin()
        return []

    def _rose(self, flip: Flip) -> list[Seen]:
        fall, watched = self._fall, self._watched
        self._fall, watched.fell_s = None, None
        if fall is None:
            self._know_standing(self._standing_a)
            watched.quiet = self._seconds.done
            self._begin_boot(flip.at_s, flip.level)
            watched.onset_s = flip.at_s
            return [Onset(flip.at_s, flip.level)]
        self._seconds.begin()
        if self._usb.stayed(fall.at_s, flip.at_s):
            watched.sleeps += 1
            return []
        evidence = ["current-collapse"]
        if self._usb.left(fall.at_s - _USB_NEAR_S, flip.at_s + _USB_NEAR_S):
            evidence.append("usb-left")
        if self._told_by_usb(fall.at_s, flip.at_s):
            self._begin_boot(flip.at_s, flip.level)
            return []
        up = "" if fall.up_s is None else f"after {human(round(fall.up_s, 2), 's')} up "
        down = human(float(f"{flip.at_s - fall.at_s:.2g}"), "s")
        says = f"{up}the current fell to {level_words(fall.level_a)} and rose again {down} later"
        self._begin_boot(flip.at_s, flip.level)
        return [self._restart(fall.at_s, flip.at_s, tuple(evidence), says, max(fall.within_s, flip.within_s))]

    def _end_boot(self, from_s: float, until_s: float) -> None:
        """Note that a boot ended between two moments, and whether it was for want of current."""
        # a starved device resets within milliseconds, so one limited sample around the end is enough
        self._watched.limited |= self._limited_s >= from_s - self._settings.hold_s
        self._ended_s = until_s

    def _begin_boot(self, at_s: float, opening_a: float | None) -> None:
        watched = self._watched
        watched.up_since_s, watched.opening_a, watched.busiest_a = at_s, opening_a, 0.0
        self._seconds.begin()

    def _sum_up(self) -> list[SecondLevel]:
        """Return the seconds since the last great change, having looked which was the busiest of this boot."""
        seconds = self._seconds.done
        self._watched.busiest_a = max(self._watched.busiest_a, *(second.median for second in seconds), 0.0)
        return seconds

    def _begun_s(self) -> float:
        """Return when this boot was called for or began: what left USB before that belongs to another."""
        begun_s = (self._settings.prompted_s, self._watched.onset_s)
        return max((at_s for at_s in begun_s if at_s is not None), default=-math.inf)

    def _told_by_usb(self, at_s: float, again_s: float) -> bool:
        last = self._watched.restarts[-1] if self._watched.restarts else None
        return (
            last is not None
            and last.evidence == (_EARLIER_MODE,)
            and at_s <= last.again_s + _USB_NEAR_S
            and again_s >= last.at_s - _USB_NEAR_S
        )

    def _restart(
        self, at_s: float, again_s: float, evidence: tuple[str, ...], says: str, uncertainty_s: float
    ) -> Restart:
        watched = self._watched
        restart = Restart(at_s, again_s, len(watched.restarts) + 1, evidence, says, uncertainty_s)
        watched.restarts.append(restart)
        return restart
