"""What goes wrong in a firmware, and how the device is then reset."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from wakerail_sim.held_out.devices.device import Act


@dataclass(frozen=True, slots=True)
class Hang:
    """The firmware hangs, ``busy`` or waiting, until its watchdog resets it.

    ``off_s`` is how long the device then is off, None for a warm reset.
    """

    watchdog_s: float
    busy: bool
    off_s: float | None


@dataclass(frozen=True, slots=True)
class Crash:
    """The firmware panics and resets the device; ``off_s`` is how long it then is off, None for a warm reset."""

    off_s: float | None


Mishap = Hang | Crash


@dataclass(slots=True)
class Weaknesses:
    """When a firmware fails: each is asked whether it does now, and how.

    Args:
        in_step: at the begin of a step of the boot, by the step's name.
        in_act: at the begin of an act.
        waking: when it wakes up.
    """

    in_step: Callable[[str], Mishap | None] | None = None
    in_act: Callable[[Act], Mishap | None] | None = None
    waking: Callable[[], Mishap | None] | None = None
