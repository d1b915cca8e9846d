"""Draws a recording anew until what happens shows in what was recorded, as several corpora do."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, TypeVar

import numpy as np

_TRIES = 8


class Telling(Protocol):
    """A recording of which no reader could be sure unless it is ``telling``."""

    @property
    def telling(self) -> bool: ...


Made = TypeVar("Made", bound=Telling)


def make_telling(seed: int, kind: int, running: float, make: Callable[[np.random.Generator, bool], Made]) -> Made:
    """Return the first of a few recordings of the kind of a number that is telling, or the last: always the same.

    ``running`` is the share of the seeds whose recordings begin after the device did: ``make`` is told.
    """
    begins_running = bool(np.random.default_rng([seed, kind, _TRIES]).random() < running)
    for attempt in range(_TRIES):
        made = make(np.random.default_rng([seed, kind, attempt]), begins_running)
        if made.telling:
            break
    return made
