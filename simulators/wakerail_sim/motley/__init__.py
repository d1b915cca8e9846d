"""Made-up recordings of no device in particular: a random grammar of shapes, with the exact truth of each.

This corpus is for breadth. Where ``wakerail_sim.corpus`` and ``wakerail_sim.lifelike`` model devices, here levels, time
constants, shapes (``shapes``), the motifs made of them (``motif``), and the devices that boot and run by such motifs
(``device``) are all drawn anew for each recording, so that nothing carries over but what a restart is: what was going
on is broken off, and the whole boot comes again.

A kind says what happens (``faulty``, ``healthy``): it acts on a story (``story``), which a meter reads (``meter``).
"""

from wakerail_sim.motley.faulty import FaultyKind
from wakerail_sim.motley.healthy import HealthyKind
from wakerail_sim.motley.recording import FAULTY_KINDS, HEALTHY_KINDS, KINDS, Kind, Motley, make_motley

__all__ = [
    "FAULTY_KINDS",
    "HEALTHY_KINDS",
    "KINDS",
    "FaultyKind",
    "HealthyKind",
    "Kind",
    "Motley",
    "make_motley",
]
