"""Interlocks: limits kept beside the instrument, whatever a sequence asks. They only ever make things safer.

One small module for each concern: pure decisions on numbers and times. The host acts on them in the instrument's own
I/O thread, before anything else sees the reading. A trip is kept until a person resets it.
"""

from wakerail.bench.interlocks.allowance import Allowance, Most
from wakerail.bench.interlocks.keeper import Keeper
from wakerail.bench.interlocks.of_kind import keeper_for
from wakerail.bench.interlocks.presence import Presence
from wakerail.bench.interlocks.trip import PULL_ITS_PLUG, Interlock, Samples, Trip
from wakerail.bench.interlocks.wiring import Wiring

__all__ = [
    "PULL_ITS_PLUG",
    "Allowance",
    "Interlock",
    "Keeper",
    "Most",
    "Presence",
    "Samples",
    "Trip",
    "Wiring",
    "keeper_for",
]
