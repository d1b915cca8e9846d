"""What a meter reads at the pins of a device family's connectors when the board is sound and without power.

A pin's known-good reading is a junction voltage (red lead on ground, black on the pin), a resistance to ground, ground
itself, or nothing at all where no line is connected.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from wakerail_kit.yamldoc import Section


class Known(StrEnum):
    """What sort of reading is known of a pin."""

    VOLTS = "volts"
    OHMS = "ohms"
    GROUND = "ground"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Pin:
    """One pin with its line. ``value`` is in volts or ohms by ``known``, 0 for ground and open.

    ``tolerance`` is a share of the value, to either side.
    """

    name: str
    line: str
    known: Known
    value: float
    tolerance: float

    @property
    def low(self) -> float:
        """The lowest reading that is still like known-good."""
        return self.value * (1 - self.tolerance)

    @property
    def high(self) -> float:
        """The highest reading that is still like known-good."""
        return self.value * (1 + self.tolerance)


@dataclass(frozen=True, slots=True)
class Connector:
    """A connector of a family's board: its pins in the order in which they are probed."""

    name: str
    says: str
    source: str
    pins: tuple[Pin, ...]


def read_connectors(top: Section) -> Mapping[str, Connector]:
    """Read the section ``connectors`` of a family's file, noting every mistake at its line."""
    connectors: dict[str, Connector] = {}
    for section in top.sections("connectors", default=()):
        name = section.name("connector")
        if name in connectors:
            section.note("connector", f"{name!r} is the name of another connector already")
        tolerance = section.quantity("tolerance", "1", default=0.1, low=0.0, high=0.9)
        pins: dict[str, Pin] = {}
        for one in section.sections("pins"):
            pin = _pin(one, tolerance)
            if pin.name in pins:
                one.note("pin", f"{pin.name!r} is the name of another pin already")
            elif any(pin.line == other.line != "ground" for other in pins.values()):
                one.note("line", f"{pin.line!r} is the line of another pin already; only 'ground' may be on several")
            pins[pin.name] = pin
        if "pins" in section and not pins:
            section.note("pins", "has no pins")
        connectors[name] = Connector(
            name=name,
            says=section.text("says", default=name),
            source=section.text("source", default="common practice, no source"),
            pins=tuple(pins.values()),
        )
    return connectors


def _pin(section: Section, tolerance: float) -> Pin:
    name, line = section.name("pin"), section.name("line")
    tolerance = section.quantity("tolerance", "1", default=tolerance, low=0.0, high=0.9)
    volts = section.optional_quantity("volts", "V", low=0.02, high=3.0)
    ohms = section.optional_quantity("ohms", "Ohm", low=1.0, high=1e8)
    named = section.text("is", default="", one_of=("ground", "open")) if "is" in section else section.raw("is", "")
    if sum((volts is not None, ohms is not None, "is" in section)) != 1:
        section.note_here("needs one known-good reading: volts, ohms, or 'is: ground' or 'is: open'")
    if volts is not None:
        return Pin(name, line, Known.VOLTS, volts, tolerance)
    if ohms is not None:
        return Pin(name, line, Known.OHMS, ohms, tolerance)
    return Pin(name, line, Known.OPEN if named == "open" else Known.GROUND, 0.0, tolerance)
