"""Where the supply's leads are: on the battery terminals, or on the charge port of a device that has its cell in."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum

import numpy as np

from wakerail_sim.noise import Ints
from wakerail_sim.supply import Flow, Load, Supply

#: A charger chip needs this much at the port, and takes the same power from then on as from a conductance.
CHARGES_FROM_V, CHARGER_V = 4.4, 5.0
#: What the simulated device takes from its charger.
CHARGES_WITH_A = 0.85


class Place(StrEnum):
    """What the supply's leads are clipped to."""

    BATTERY = "battery"
    PORT = "port"


class Terminals:
    """The load on the supply: whatever its leads are on. ``charges_a`` says what the device takes at its port now."""

    def __init__(self, battery: Load, charges_a: Callable[[], float]) -> None:
        self._battery = battery
        self._charges_a = charges_a
        self.place = Place.BATTERY

    @property
    def measured(self) -> bool:
        return self.place is Place.PORT or self._battery.measured

    def flow(self, supply: Supply, ticks: Ints) -> Flow:
        """Return what flows at ``ticks`` if nothing changes meanwhile."""
        if self.place is Place.BATTERY:
            return self._battery.flow(supply, ticks)
        drawn_a = self._charges_a() if supply.voltage_v >= CHARGES_FROM_V else 0.0
        return supply.into_conductance(np.full(len(ticks), drawn_a / CHARGER_V))
