"""Made-up recordings of plain devices, with the exact truth of each: what they draw when on has no shape of its own.

A heater, a lamp, a pump, a board that hangs in its loader: on, they draw one level, and a boot of theirs is that the
level comes. No opening tells it from a load that comes on; only that the current was as low as when the device is off
does. The other corpora leave such devices out, for their boots are known by their openings.

A kind says what happens (``faulty``, ``healthy``): it acts on a story (``story``), which the meter of the motley corpus
reads. What falls in a healthy recording while the device is on stays above what it draws when off. A recording that
begins while the device runs does not show that, and falls in it are taken for sleep: it has no restart.
"""

from wakerail_sim.plain.faulty import FaultyKind
from wakerail_sim.plain.healthy import HealthyKind
from wakerail_sim.plain.recording import FAULTY_KINDS, HEALTHY_KINDS, KINDS, Kind, Plain, make_plain

__all__ = [
    "FAULTY_KINDS",
    "HEALTHY_KINDS",
    "KINDS",
    "FaultyKind",
    "HealthyKind",
    "Kind",
    "Plain",
    "make_plain",
]
