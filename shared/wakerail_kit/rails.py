"""The rails of a family's board into which a low voltage may be injected to find a short, and how much of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail_kit.connectors import Connector
from wakerail_kit.hints import nearest
from wakerail_kit.yamldoc import Section

#: What a rail gets at most where its family does not say (common practice, no source).
CEILING_V, MOST_A, MOST_W = 1.0, 2.0, 1.0
SHORT_BELOW_OHM = 5.0


@dataclass(frozen=True, slots=True)
class Rail:
    """A rail: its ``nominal_v``, the ``pin`` where it is reached (connector and pin), and what may be injected at most.

    Below ``short_below_ohm`` to ground it is shorted.
    """

    name: str
    says: str
    nominal_v: float
    connector: str
    pin: str
    ceiling_v: float
    most_a: float
    most_w: float
    short_below_ohm: float


def read_rails(top: Section, connectors: Mapping[str, Connector]) -> Mapping[str, Rail]:
    """Read the section ``rails`` of a family's file, noting every mistake at its line."""
    rails: dict[str, Rail] = {}
    for section in top.sections("rails", default=()):
        name = section.name("rail")
        if name in rails:
            section.note("rail", f"{name!r} is the name of another rail already")
        nominal_v = section.quantity("nominal", "V", low=0.1, high=30.0)
        connector, pin = _place(section, connectors)
        rails[name] = Rail(
            name=name,
            says=section.text("says", default=f"the rail {name}"),
            nominal_v=nominal_v,
            connector=connector,
            pin=pin,
            ceiling_v=section.quantity("ceiling", "V", default=min(CEILING_V, nominal_v), low=0.0, high=nominal_v),
            most_a=section.quantity("current", "A", default=MOST_A, low=0.0, high=5.0),
            most_w=section.quantity("power", "W", default=MOST_W, low=0.0, high=10.0),
            short_below_ohm=section.quantity("short-below", "Ohm", default=SHORT_BELOW_OHM, low=0.1, high=1000.0),
        )
    return rails


def _place(section: Section, connectors: Mapping[str, Connector]) -> tuple[str, str]:
    text = section.text("at")
    connector, _, pin = text.partition(".")
    if "at" not in section:
        return "", ""
    if connector not in connectors:
        section.note("at", f"{text!r} is no pin of a connector, like 'battery.1'; {nearest(connector, connectors)}")
    elif pin not in (pins := [one.name for one in connectors[connector].pins]):
        section.note("at", f"{connector} has no pin {pin!r}; {nearest(pin, pins)}")
    return connector, pin
