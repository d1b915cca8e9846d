"""Made-up recordings that nothing is ever tuned or fitted on, with the exact truth of each.

The report on how well a boot is read uses this third corpus to show how the reader does on devices and shapes that it
has never seen. ``wakerail_sim.corpus`` and ``wakerail_sim.lifelike`` are for tuning. Whoever tunes on this one, or
changes the reader because of what it got wrong here, takes that away: nothing would then be left to show it.

Nothing is drawn as a shape here. A machine (``machine``) has loads that add up; its firmware (``firmware``) drives
them as events come (``agenda``), people use it and faults act on it (``happenings``), and what a supply sees of that
(``current``) is sampled by a meter (``meter``). A scene (``scenes``) says what happens in a recording of each kind.
"""

from wakerail_sim.held_out.kinds import FAULTY_KINDS, HEALTHY_KINDS, KINDS, FaultyKind, HealthyKind, Kind
from wakerail_sim.held_out.recording import HeldOut, make_held_out

__all__ = [
    "FAULTY_KINDS",
    "HEALTHY_KINDS",
    "KINDS",
    "FaultyKind",
    "HealthyKind",
    "HeldOut",
    "Kind",
    "make_held_out",
]
