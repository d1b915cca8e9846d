"""When to look back while a watch goes on: so often that all looks together cost no more than a few at its end."""

from __future__ import annotations

import math
from collections.abc import Sequence

_TIMES, _AT_FIRST = 4, 10_000  # times all ticks so far, and ticks: what all looks may have looked at
_EACH = 500  # ticks: so many could be looked at in the time that a look takes that sees hardly any
_GROWN = 1.5
_BORNE_OUT, _FEWEST = 0.9, 3
_UNASKED, _FIRST, _LAST = 2, 256, 8192  # times the ticks of the look before, and ticks


class Looks:
    """Keeps account of the looks so far, each at all the ticks until then.

    From ``unasked_at`` ticks on it is time to look though nothing was proposed: the live reader may see none of what
    there is.
    """

    def __init__(self) -> None:
        self._newest, self._looked_at = 0, 0
        self._bore_out = False
        self.unasked_at = float(_FIRST)

    def due(self, ticks: int) -> bool:
        """Tell whether to look at what was proposed, at so many ticks: it must be worth what it costs."""
        if self._bore_out and ticks < _GROWN * self._newest:
            return False
        return ticks >= self._afforded_at

    def trusts(self, place: int) -> bool:
        """Tell whether what is seen live at a tick needs no look: it is new, and the last look bore out the others."""
        return self._bore_out and place >= self._newest

    def note(self, ticks: int, borne_out: Sequence[bool]) -> None:
        """Take down a look at so many ticks, and which of what had been seen live it bore out."""
        self._newest, self._looked_at = ticks, self._looked_at + ticks + _EACH
        self._bore_out = len(borne_out) >= _FEWEST and sum(borne_out) >= _BORNE_OUT * len(borne_out)
        unasked_at = max(_UNASKED * ticks, self._afforded_at)
        self.unasked_at = unasked_at if unasked_at <= _LAST else math.inf

    @property
    def _afforded_at(self) -> float:
        """From how many ticks on all looks, with one more there, have looked at no more than they may."""
        return (self._looked_at + _EACH - _AT_FIRST) / (_TIMES - 1)
