"""Solder alloys and where they melt, read from config/alloys.yaml."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from wakerail_kit.units import human
from wakerail_kit.yamldoc import load_yaml


@dataclass(frozen=True, slots=True)
class Alloy:
    """A solder alloy: solid below ``solidus_c``, liquid from ``liquidus_c`` on. ``source`` says who says so."""

    name: str
    says: str
    solidus_c: float
    liquidus_c: float
    source: str


def load_alloys(file: Path) -> Mapping[str, Alloy]:
    """Read the table, by name. Raises ConfigInvalid with every mistake, each with file, line and key."""
    doc = load_yaml(file)
    alloys: dict[str, Alloy] = {}
    for section in doc.top.sections("alloys"):
        name = section.text("alloy")
        solidus_c = section.quantity("solidus", "Cel", low=0.0)
        liquidus_c = section.quantity("liquidus", "Cel", low=0.0)
        if liquidus_c < solidus_c and "liquidus" in section:
            section.note("liquidus", f"is below the solidus, {human(solidus_c, 'Cel')}; perhaps the two are exchanged")
        source = section.text("source")
        if "source" in section and not source.strip():
            section.note("source", "is empty; say who gives these temperatures")
        if name in alloys:
            section.note("alloy", f"{name!r} is there twice; give each alloy once")
        alloys[name] = Alloy(name, section.text("says", default=""), solidus_c, liquidus_c, source)
    doc.finish()
    return alloys
