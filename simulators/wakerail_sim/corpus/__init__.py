"""Made-up recordings of devices that boot, restart, or only look as if they did, with the exact truth of each.

Nothing here knows how a reader of such recordings works. Currents are sums of edges (``edges``); a family's boot
(``family``, ``boots``) and what the device does once up (``life``) are drawn from the seed, when it boots from its
fault (``faults``), and a meter (``meter``) makes samples of it.
"""

from wakerail_sim.corpus.case import (
    CONFUSERS,
    FAULTS,
    LIFE_CONFUSERS,
    RATES_HZ,
    Case,
    Confuser,
    Fault,
    Mark,
    Recording,
    Truth,
)
from wakerail_sim.corpus.recording import make_recording
from wakerail_sim.corpus.sampler import draw_faulty, draw_healthy

__all__ = [
    "CONFUSERS",
    "FAULTS",
    "LIFE_CONFUSERS",
    "RATES_HZ",
    "Case",
    "Confuser",
    "Fault",
    "Mark",
    "Recording",
    "Truth",
    "draw_faulty",
    "draw_healthy",
    "make_recording",
]
