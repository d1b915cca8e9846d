"""The table of what the trade reads from a cadence, config/cadence.yaml."""

from __future__ import annotations

import math
from pathlib import Path

from wakerail.analysis.cadence import CadenceRow
from wakerail_kit.yamldoc import Section, load_yaml


def load_cadence_table(file: Path) -> tuple[CadenceRow, ...]:
    """Read the rows in the file's order. Raises ConfigInvalid with every mistake, each with file, line and key."""
    doc = load_yaml(file)
    rows: dict[str, CadenceRow] = {}
    for section in doc.top.sections("rows"):
        row = _row(section)
        if row.name in rows:
            section.note("name", f"{row.name!r} is there twice; give each row a name of its own")
        rows[row.name] = row
    doc.finish()
    return tuple(rows.values())


def _row(section: Section) -> CadenceRow:
    from_s = section.quantity("from", "s", default=0.0, low=0.0)
    to_s = section.quantity("to", "s", default=math.inf, low=0.0)
    if to_s < from_s:
        section.note("to", "is below 'from'; no cadence would fit")
    return CadenceRow(
        name=section.name("name"),
        from_s=from_s,
        to_s=to_s,
        regular=_optional_flag(section, "regular"),
        alike=_optional_flag(section, "alike"),
        says=_sentence(section, "says"),
        source=_sentence(section, "source"),
    )


def _optional_flag(section: Section, key: str) -> bool | None:
    flag = section.flag(key, default=None)
    return flag if key in section else None


def _sentence(section: Section, key: str) -> str:
    text = section.text(key)
    if key in section and not text.strip():
        section.note(key, "is empty; write a sentence")
    return text
