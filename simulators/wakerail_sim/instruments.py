"""The simulated instruments by name: each with its links to the outside, its mishaps and its mains switch."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from wakerail_sim.far_ends import FarEnd
from wakerail_sim.mishaps import Mishaps


@dataclass(slots=True)
class Rig:
    """One instrument. ``power`` brings it back to how it is after the mains switch."""

    ends: Sequence[FarEnd]
    mishaps: Mishaps
    power: Callable[[], None]
    plugged: bool = field(default=True)
    powered: bool = field(default=True)

    def unplug(self) -> None:
        """Pull its link; whatever it was doing it goes on doing."""
        self.plugged = False
        self._follow()

    def replug(self) -> None:
        """Plug its link in again."""
        self.plugged = True
        self._follow()

    def lose(self) -> None:
        """Pull its link without waiting for it."""
        self.plugged = False
        for end in self.ends:
            end.unplug_soon()

    def switch(self, on: bool) -> None:
        """Use its mains switch: it loses its settings, and its link while it is off."""
        self.powered = on
        self.mishaps.power_cycle()
        self.power()
        self._follow()

    def nudge(self) -> None:
        """Let its links look again, because its mishaps were changed."""
        for end in self.ends:
            end.nudge()

    def _follow(self) -> None:
        for end in self.ends:
            end.unplug()
            if self.plugged and self.powered:
                end.plug()
