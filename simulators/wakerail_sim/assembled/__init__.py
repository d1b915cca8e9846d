"""Made-up recordings of devices that are sums of parts, with the exact truth of each.

A core, a radio, a display, a store: each part (``source``) draws by itself, with a course of its own when it comes on
and a restlessness of its own while it is on. A device (``device``) is a number of them, and an order in which a boot
calls them up, about as fast each time; what they do in the meantime is never the same twice. In use each comes and goes
when it likes. A restart stops them all at once, or nearly all, and calls them up again in the order of a boot.

The other corpora play one thing after another; here what is alike from boot to boot lies under what goes on beside it.

A kind says what happens (``faulty``, ``healthy``): it acts on a story (``story``), which the meter of the motley corpus
reads.
"""

from wakerail_sim.assembled.faulty import FaultyKind
from wakerail_sim.assembled.healthy import HealthyKind
from wakerail_sim.assembled.recording import (
    FAULTY_KINDS,
    HEALTHY_KINDS,
    KINDS,
    Assembled,
    Kind,
    make_assembled,
)

__all__ = [
    "FAULTY_KINDS",
    "HEALTHY_KINDS",
    "KINDS",
    "Assembled",
    "FaultyKind",
    "HealthyKind",
    "Kind",
    "make_assembled",
]
