"""The sorts of candidates for a restart."""

from __future__ import annotations

import math
from enum import StrEnum

SURE = 3.0  # log odds from which on a restart is told at once
SURE_OF_A_JUMP = 5.0  # the level of an opening comes back by chance, too


class Sort(StrEnum):
    """What a candidate looks like at first: each sort has its own prior."""

    COLLAPSE = "collapse"  # a dip to the standing level
    BLINK = "blink"  # the same for so short a time that a meter switching its range may have made it
    DIP = "dip"  # a dip that ended above it
    JUMP = "jump"  # no dip: the opening's level came from another


#: The same by themselves: a member is slow to look up in its class, and some are asked for in every window.
COLLAPSE, BLINK, DIP, JUMP = Sort
#: Those that fell to the standing level.
FALLEN = frozenset({Sort.COLLAPSE, Sort.BLINK})
#: Log odds from which on a candidate is told once there is no more to see.
LIKELY = {Sort.COLLAPSE: 0.7, Sort.BLINK: 1.3, Sort.DIP: 1.5, Sort.JUMP: 1.5}


def probability_of(log_odds: float) -> float:
    """Return the probability for log odds, without overflow."""
    return 1.0 / (1.0 + math.exp(-max(log_odds, -700.0)))
