"""Made-up recordings that look like life: noisy, smooth and continuous, with the exact truth of each.

This is a second corpus, for a second opinion. It shares nothing with ``wakerail_sim.corpus`` but the form of its truth:
there, currents are sums of edges; here they are ramps, time constants, telegraph bursts, 1/f loads and frames, of
other devices, faults and meters. A reader that was tuned on one of the two is reported on the other.

A scene says what happens (``scenes``): it acts on a plan (``plan``) of what a device (``devices``) draws, whose stages
(``stage``) show features (``features``). A meter (``meter``) then makes readings of it (``readings``).
"""

from wakerail_sim.lifelike.devices.device import Family
from wakerail_sim.lifelike.recording import RATES_HZ, Lifelike, make_lifelike
from wakerail_sim.lifelike.scenes import FAULTY_SCENES, HEALTHY_SCENES, SCENES
from wakerail_sim.lifelike.scenes.setting import FaultyScene, HealthyScene, Scene

__all__ = [
    "FAULTY_SCENES",
    "HEALTHY_SCENES",
    "RATES_HZ",
    "SCENES",
    "Family",
    "FaultyScene",
    "HealthyScene",
    "Lifelike",
    "Scene",
    "make_lifelike",
]
