"""A sequence made ready for one bench: inputs as numbers within their bounds, roles bound to instruments."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from wakerail.sequences.access import Bench, InstrumentAccess
from wakerail.sequences.model import FAMILY, Input, Sequence
from wakerail.sequences.steps.action import OfFamily
from wakerail.sequences.steps.heat import Heat
from wakerail_kit.errors import ConfigInvalid, DeviceRefused, DeviceUnavailable
from wakerail_kit.families import DeviceFamily
from wakerail_kit.hints import nearest
from wakerail_kit.kinds import Kind
from wakerail_kit.messages import InstrumentState
from wakerail_kit.units import UnitInvalid, human, parse_quantity


@dataclass(frozen=True, slots=True)
class Plan:
    """What will be run. ``family`` is the device family on the bench, if it was named. ``roles`` maps roles to
    instrument names; ``absent`` says of each role of ``uses`` without an instrument why it has none; ``notes`` are what
    the verdict should mention of that.
    """

    sequence: Sequence
    values: Mapping[str, float]
    names: Mapping[str, str]
    family: DeviceFamily | None
    roles: Mapping[str, str]
    absent: Mapping[str, str]
    notes: tuple[str, ...]

    @property
    def input_texts(self) -> dict[str, str]:
        """The device family, and the inputs' values as people write them."""
        named = {FAMILY: self.family.name} if self.family is not None else {}
        return (
            named
            | dict(self.names)
            | {name: human(value, self.sequence.inputs[name].unit) for name, value in self.values.items()}
        )

    def lines(self) -> list[str]:
        """Return what will be done, a line a step, for whoever wants to read it before anything is switched on."""
        steps = [f"{number}. {step.words(self.values)}" for number, step in enumerate(self.sequence.steps, 1)]
        return steps + [f"finally: {step.words(self.values)}" for step in self.sequence.finally_]


def check_sequence(
    sequence: Sequence, kinds_on_bench: Iterable[str | Kind], families: Mapping[str, DeviceFamily]
) -> list[str]:
    """Return a line for each thing that the sequence needs and the bench has not; nothing is touched.

    ``kinds_on_bench`` is the kind of every instrument; one named once counts as one instrument. ``families`` are
    those that the bench knows; a sequence that heats needs one with its profile.
    """
    there = Counter(kind if isinstance(kind, str) else kind.name for kind in kinds_on_bench)
    problems = []
    for role, kind in sequence.needs.items():
        there[kind.name] -= 1
        if there[kind.name] < 0:
            problems.append(f"{sequence.name} needs a {kind.name} as {role!r}; this bench has none to spare")
    problems += [
        f"{sequence.name} needs a device family with a profile {profile!r}; this bench knows none"
        for profile in sequence.profiles
        if not _families_with(profile, families)
    ]
    values = {name: each.default for name, each in sequence.inputs.items() if each.default is not None}
    defaults = {name: each.name_default for name, each in sequence.inputs.items() if each.is_name}
    problems += [
        f"{sequence.name} needs a device family with {action.needs}; this bench knows none"
        for action in _of_family(sequence)
        if all(action.lacks(family, defaults, values) for family in families.values())
    ]
    return problems


def _of_family(sequence: Sequence) -> list[OfFamily]:
    return [step.action for step in sequence.steps if isinstance(step.action, OfFamily)]


def _families_with(profile: str, families: Mapping[str, DeviceFamily]) -> list[str]:
    return [name for name, family in families.items() if profile in family.profiles]


def make_plan(sequence: Sequence, inputs: Mapping[str, str], bench: Bench, family: str = "") -> Plan:
    """Bind a sequence to a bench and a device family. Nothing is touched.

    The instruments of a kind are taken in the order of the bench's configuration. Raises ConfigInvalid listing every
    wrong input, missing kind and heat that is not allowed; DeviceUnavailable or DeviceRefused if a needed instrument
    is not ready.
    """
    values, names, problems = _values(sequence, inputs)
    problems += check_sequence(sequence, [each.kind for each in bench.instruments.values()], bench.families)
    problems = problems or _family_problems(sequence, family, names, values, bench)
    if problems:
        raise ConfigInvalid(*problems)
    plan = _bind(sequence, values, names, bench, bench.families.get(family))
    if problems := _heat_problems(plan, bench):
        raise ConfigInvalid(*problems)
    return plan


def _values(sequence: Sequence, inputs: Mapping[str, str]) -> tuple[dict[str, float], dict[str, str], list[str]]:
    """Return the inputs' values, their names, and what is wrong with those that were given."""
    problems: list[str] = []
    values: dict[str, float] = {}
    names: dict[str, str] = {}
    for name, each in sequence.inputs.items():
        if each.is_name:
            names[name] = inputs.get(name, each.name_default)
        elif name in inputs:
            values[name] = _value(each, inputs[name], problems)
        elif each.default is not None:
            values[name] = each.default
    problems += [
        f"input {name}: {sequence.name} has no such input; {nearest(name, sequence.inputs)}"
        for name in inputs
        if name not in sequence.inputs
    ]
    return values, names, problems


def _bind(
    sequence: Sequence,
    values: Mapping[str, float],
    names: Mapping[str, str],
    bench: Bench,
    family: DeviceFamily | None,
) -> Plan:
    """Take an instrument for each role. Raises DeviceUnavailable or DeviceRefused if a needed one is not ready."""
    free = dict(bench.instruments)
    roles: dict[str, str] = {}
    absent: dict[str, str] = {}
    notes: list[str] = []
    for role, kind in sequence.needs.items():
        instrument = _take(free, kind)
        if instrument is not None:  # always: check_sequence has counted them
            _require_ready(role, instrument)
            roles[role] = instrument.name
    for role, kind in sequence.uses.items():
        instrument = _take(free, kind)
        if instrument is None:
            absent[role] = f"this bench has no {kind.name}"
        elif instrument.state is not InstrumentState.READY:
            absent[role] = f"{instrument.name} is {instrument.state}: {instrument.words}"
            notes.append(f"the {role} was not used: {absent[role]}")
        else:
            roles[role] = instrument.name
    return Plan(sequence, values, names, family, roles, absent, tuple(notes))


def _heat_problems(plan: Plan, bench: Bench) -> list[str]:
    """Return why the plan must not heat as it would; nothing was heated yet."""
    return [
        problem
        for step in plan.sequence.steps
        if isinstance(step.action, Heat) and plan.family is not None and step.action.role in plan.roles
        for problem in step.action.problems(
            plan.family, plan.values, bench.instruments[plan.roles[step.action.role]].limits["temperature"]
        )
    ]


def _family_problems(
    sequence: Sequence, family: str, names: Mapping[str, str], values: Mapping[str, float], bench: Bench
) -> list[str]:
    """Return what is wrong with the device family that a run was given, or was not given."""
    if family and family not in bench.families:
        return [f"no device family {family!r}; {nearest(family, sorted(bench.families), 'known: ')}"]
    for profile in sequence.profiles:
        fit = ", ".join(_families_with(profile, bench.families))
        if not family:
            return [f"{sequence.name} heats by the profile of a device family: name it with --family, one of {fit}"]
        if profile not in bench.families[family].profiles:
            return [f"{family} has no profile {profile!r}, which {sequence.name} needs; those that have: {fit}"]
    actions = _of_family(sequence)
    if actions and not family:
        known = ", ".join(sorted(bench.families)) or "none"
        return [f"{sequence.name} goes by what is known of a device family: name it with --family; known: {known}"]
    whys = [action.lacks(bench.families[family], names, values) for action in actions]
    return [f"{family} {why}" for why in dict.fromkeys(whys) if why]


def _value(each: Input, text: str, problems: list[str]) -> float:
    try:
        value = parse_quantity(text, each.unit)
    except UnitInvalid as wrong:
        problems.append(f"input {each.name}: {wrong}")
        return 0.0
    if each.low is not None and value < each.low:
        problems.append(
            f"input {each.name}: {human(value, each.unit)} is too low; at least {human(each.low, each.unit)}"
        )
    if each.high is not None and value > each.high:
        problems.append(
            f"input {each.name}: {human(value, each.unit)} is too high; at most {human(each.high, each.unit)}"
        )
    return value


def _take(free: dict[str, InstrumentAccess], kind: Kind) -> InstrumentAccess | None:
    for name, instrument in free.items():
        if instrument.kind.name == kind.name:
            return free.pop(name)
    return None


def _require_ready(role: str, instrument: InstrumentAccess) -> None:
    if instrument.state is InstrumentState.TRIPPED:
        raise DeviceRefused(
            f"{instrument.name} ({role}): {instrument.words}; look at the bench, then reset the interlock"
        )
    if instrument.state is not InstrumentState.READY:
        raise DeviceUnavailable(f"{instrument.name} ({role}) is not ready: {instrument.words}")
