"""What goes wrong with an instrument's answers: none at all, late ones, garbled ones."""

from __future__ import annotations

import math

from wakerail_kit.clock import Clock

_GARBLE_EVERY = 3


class Mishaps:
    """The mishaps of one instrument; all its links share them. Answers are numbered, so the same ones are spoilt."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._answers = 0
        self._garble_left = 0
        self._hung_until_s = -math.inf
        self.latency_s = 0.0
        self.garbled_share = 0.0

    def hang(self, duration_s: float = math.inf) -> None:
        """Take in but carry out nothing for so long; afterwards all that was asked is answered, late."""
        self._hung_until_s = self._clock.monotonic_s() + duration_s

    def garble(self, answers: int) -> None:
        """Garble the next so many answers."""
        self._garble_left = answers

    def power_cycle(self) -> None:
        """End what a mains switch cures: hanging and garbling by hand."""
        self._hung_until_s = -math.inf
        self._garble_left = 0

    def hung_until_s(self) -> float | None:
        """Return until when it hangs (infinity: for good), or None when it does not."""
        return self._hung_until_s if self._hung_until_s > self._clock.monotonic_s() else None

    def spoil(self, answer: bytes) -> bytes:
        """Return an answer as it leaves the instrument: whole, or with bits flipped up to its line feed."""
        self._answers += 1
        share_due = math.floor(self._answers * self.garbled_share) > math.floor(
            (self._answers - 1) * self.garbled_share
        )
        if self._garble_left > 0:
            self._garble_left -= 1
        elif not share_due:
            return answer
        end = len(answer.rstrip(b"\r\n"))
        return bytes(
            byte ^ 0x80 if place < end and place % _GARBLE_EVERY == 0 else byte for place, byte in enumerate(answer)
        )
