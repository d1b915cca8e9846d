"""USB as the second witness of a restart that the current shows: what it says of one, and what waits for the current.

In log odds: a candidate of the current gains 3 if the device left USB about then, 4 if it came back in an earlier mode,
and loses 6 if it was on USB all through, which a device in reset is not. The odds are common sense in numbers, not
measured.
"""

from __future__ import annotations

import math

from wakerail.analysis.candidate import Candidate
from wakerail.analysis.sorts import JUMP
from wakerail.analysis.usb import UsbReturn, UsbTrail

NEAR_S = 1.0  # how far the two witnesses of one restart may lie apart
_LEFT, _STAYED = 3.0, -6.0


class UsbWitness:
    """``trail`` is what happened on USB, ``slept_s`` when dips ended in which the device stayed on it.

    ``waits_until_s`` is when the first of the returns is due that wait for the current to tell of them, with better
    times.
    """

    def __init__(self) -> None:
        self.trail = UsbTrail()
        self.slept_s: set[float] = set()
        self.waits_until_s = math.inf
        self._waiting: list[UsbReturn] = []

    def says_of(self, candidate: Candidate) -> float:
        """Say what USB says of a candidate of the current; a dip in which it stayed is noted as a sleep."""
        if not self.trail.empty and candidate.sort is not JUMP:
            stayed = self.trail.stayed(candidate.at_s, candidate.again_s)
            (self.slept_s.add if stayed else self.slept_s.discard)(candidate.again_s)
        return self.says(candidate.at_s, candidate.again_s)

    def says(self, at_s: float, again_s: float) -> float:
        """Say what USB says of a restart at that time."""
        if self.trail.empty:
            return 0.0
        if self.trail.stayed(at_s, again_s):
            return _STAYED
        if (again := self._waiting_near(at_s, again_s)) is not None:
            return again.log_odds
        return _LEFT if self.left(at_s, again_s) else 0.0

    def left(self, at_s: float, again_s: float) -> bool:
        """Tell whether the device left USB about a restart at that time."""
        return self.trail.left(at_s - NEAR_S, again_s + NEAR_S)

    def wait(self, again: UsbReturn) -> None:
        """Let a return wait for the current."""
        self._waiting.append(again)
        self.waits_until_s = min(self.waits_until_s, again.back_s + NEAR_S)

    def join(self, at_s: float, again_s: float) -> UsbReturn | None:
        """Return the return that waited for a restart at that time, and waits no more; None if there is none."""
        again = self._waiting_near(at_s, again_s)
        if again is not None:
            self._waiting.remove(again)
        return again

    def due(self, now_s: float) -> list[UsbReturn]:
        """Return those that the current has not told of in time; they wait no more."""
        due = [again for again in self._waiting if again.back_s + NEAR_S < now_s]
        self._waiting = [again for again in self._waiting if again not in due]
        self.waits_until_s = min((again.back_s + NEAR_S for again in self._waiting), default=math.inf)
        return due

    def _waiting_near(self, at_s: float, again_s: float) -> UsbReturn | None:
        return next((again for again in self._waiting if again.is_near(at_s, again_s, NEAR_S)), None)
