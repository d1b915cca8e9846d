"""Keeps an instrument's interlocks: asks them all, and lets nothing through from a trip until a person's reset."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from wakerail.bench.interlocks.trip import Interlock, Samples, Trip


class Keeper:
    """All interlocks of one instrument, and the trip that stands. It is called by one thread only."""

    def __init__(self, guards: Sequence[Interlock]) -> None:
        self._guards = tuple(guards)
        #: Why the instrument may not be used; None while it may.
        self.trip: Trip | None = None

    def stand(self, trip: Trip) -> None:
        """Take a trip from before the bench was served: it stands until a person resets it."""
        self.trip = trip

    def refusal(self, setting: str, value: float | bool, now_s: float) -> str | None:
        """Return why a setting that switches nothing off must not be sent, or None if it may."""
        if self.trip is not None:
            tripped = f"the {self.trip.interlock} interlock has tripped ({self.trip.says})"
            return f"{tripped}; a person must look and reset it first"
        return next((why for guard in self._guards if (why := guard.refusal(setting, value, now_s))), None)

    def commanded(self, setting: str, value: float | bool | None, now_s: float) -> None:
        """Take what is sent to the instrument; None: what became of it is not known."""
        for guard in self._guards:
            guard.commanded(setting, value, now_s)

    def judge(self, samples: Samples) -> Trip | None:
        """Look at a reading; return the trip that must be acted on now, or an alarm after one."""
        return self._ask(lambda guard: guard.judge(samples), samples.t_s[-1])

    def check(self, now_s: float) -> Trip | None:
        """Look at the time alone; return as ``judge``."""
        return self._ask(lambda guard: guard.check(now_s), now_s)

    def lost(self, now_s: float, why: str) -> Trip | None:
        """Take that the link was lost; return as ``judge``."""
        return self._ask(lambda guard: guard.lost(now_s, why), now_s)

    def reset(self, now_s: float) -> None:
        """A person has looked: let the instrument be used again."""
        self.trip = None
        for guard in self._guards:
            guard.reset(now_s)

    def _ask(self, question: Callable[[Interlock], Trip | None], now_s: float) -> Trip | None:
        # every guard is asked, even after one has answered: each must see every reading
        found = [trip for guard in self._guards if (trip := question(guard)) is not None]
        if not found:
            return None
        if self.trip is None:
            self.trip = found[0]
            for guard in self._guards:
                guard.tripped(now_s)
        return found[0]
