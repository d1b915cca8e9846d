"""What a step may refer to while it is read: roles with their kinds, inputs with their units, earlier tests."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from wakerail.sequences.steps.action import NAME_INPUT, Amount, Word
from wakerail_kit.hints import nearest
from wakerail_kit.kinds import Kind
from wakerail_kit.outcome import Finding
from wakerail_kit.units import UnitInvalid, parse_quantity
from wakerail_kit.yamldoc import Section

_INPUT = re.compile(r"^(?:(?P<share>.+?)\s+of\s+)?\$(?P<name>\S+)$")
_EXAMPLES = {"V": "3.85 V", "A": "500 mA", "s": "60 s", "Cel": "230 degC"}

#: What a check may find when it fails. The others are for what passed, or are not about the device.
FAILING = (
    Finding.CHECK_FAILED,
    Finding.NO_DRAW,
    Finding.STANDING_DRAW,
    Finding.HARD_SHORT,
    Finding.STALLED,
    Finding.RESTARTING,
    Finding.PORT_FAULT,
)
PASSING = (
    Finding.CHECKS_PASSED,
    Finding.RAIL_QUIET,
    Finding.PORT_CLEAR,
    Finding.RUNNING,
    Finding.PROFILE_KEPT,
    Finding.LINES_GOOD,
    Finding.PROVED,
)


@dataclass(slots=True)
class Scope:
    """Names that are known at a place in the sequence, and which of the inputs were used so far.

    A role whose kind is not known is None, and an input's or signal's unit that is not known is empty: that mistake
    is noted where it was made, and not again wherever it is used. ``left_out`` are the inputs without a default.
    """

    roles: Mapping[str, Kind | None]
    optional: frozenset[str]
    inputs: Mapping[str, str]
    left_out: frozenset[str] = frozenset()
    used: set[str] = field(default_factory=set)
    tests: list[str] = field(default_factory=list)

    def amount(
        self, section: Section, key: str, unit: str, *, above_zero: bool = False, may_lack: bool = False
    ) -> Amount:
        """Take a quantity, an input (``$volts``) or a share of one (``50 % of $volts``), in ``unit``.

        ``may_lack``: the step does without it where its input was left out.
        """
        if key not in section:
            example = f", like '{_EXAMPLES[unit]}'" if unit in _EXAMPLES else ""
            section.raw(key, None)
            section.note(key, f"is missing; give a quantity{example}")
            return Amount(unit, 1.0)
        text = section.text(key)
        reference = _INPUT.match(text)
        try:
            if reference is None and not unit:
                return Amount("1", 1.0)
            if reference is None:
                amount = Amount(unit, parse_quantity(text, unit))
                if above_zero and amount.number <= 0:
                    section.note(key, f"{text!r} must be above zero")
                return amount
            share = parse_quantity(reference["share"], "%") / 100 if reference["share"] else 1.0
        except UnitInvalid as wrong:
            section.note(key, str(wrong))
            return Amount(unit, 1.0)
        name = reference["name"]
        self.used.add(name)
        if name not in self.inputs:
            section.note(key, f"input '${name}' is not declared; {nearest(name, self.inputs)}")
        elif name in self.left_out and not may_lack:
            section.note(key, f"input '${name}' may be left out, and this step cannot do without; give it a default")
        elif self.inputs[name] == NAME_INPUT:
            section.note(key, f"input '${name}' is a name, and {key} takes a quantity")
        elif unit and self.inputs[name] not in {unit, ""}:
            hint = f"; an input like '{_EXAMPLES[unit]}' would fit" if unit in _EXAMPLES else ""
            section.note(key, f"input '${name}' is in {self.inputs[name]}, but {key} is in {unit}{hint}")
        return Amount(unit, share, name)

    def word(self, section: Section, key: str) -> Word:
        """Take a name, or an input that is one (``$connector``)."""
        text = section.text(key)
        if not text.startswith("$"):
            return Word(section.name(key))
        name = text[1:]
        self.used.add(name)
        if self.inputs.get(name) not in {NAME_INPUT, "", None}:
            section.note(key, f"input '${name}' is a quantity, and {key} takes a name; declare it with 'name: ...'")
        elif name not in self.inputs:
            names = [each for each, unit in self.inputs.items() if unit == NAME_INPUT]
            section.note(key, f"input '${name}' is not declared; {nearest(name, names)}")
        return Word("", name)

    def one_role(self, section: Section, kind: Kind, known: Sequence[str], example: str) -> str:
        """Return the key of a step's section that is a role, of ``kind``; note what is wrong if there is none.

        ``known`` are the section's other keys.
        """
        fit = [role for role, each in self.roles.items() if each is kind]
        role = next((key for key in section if key in self.roles and key not in known), "")
        if not role:
            section.note_here(f"names no {kind.name}; write it like '{{{fit[0] if fit else 'role'}: {example}}}'")
            section.leave_open()
        elif self.roles[role] is not kind and self.roles[role] is not None:
            section.note(role, f"is no {kind.name}; {nearest(role, fit)}")
        return role

    def optional_amount(self, section: Section, key: str, unit: str) -> Amount | None:
        """Take a quantity as ``amount`` does, or None where the key is absent."""
        if key in section:
            return self.amount(section, key, unit)
        section.raw(key, None)
        return None

    def role(self, section: Section, key: str, role: str) -> Kind | None:
        """Return a role's kind, or note that there is no such role."""
        if role not in self.roles:
            section.note(key, f"{role!r} is no role of this sequence; {nearest(role, self.roles)}")
        return self.roles.get(role)

    def signal(self, section: Section, key: str, text: str) -> tuple[str, str, str]:
        """Read ``role.signal``; return role, signal and the signal's unit, or note what is wrong with it."""
        role, dot, signal = text.partition(".")
        kind = self.role(section, key, role) if dot else None
        if not dot:
            section.note(key, f"{text!r} is no signal; write it like 'supply.current'")
        elif kind is not None and signal not in kind.signals:
            section.note(key, f"a {kind.name} has no signal {signal!r}; {nearest(signal, kind.signals)}")
        unit = kind.signals.get(signal, "") if kind is not None else ""
        return role, signal, unit
