"""A sequence made ready for one bench: inputs as numbers within their bounds, roles bound to instruments."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from wakerail.sequences.access import Bench, InstrumentAccess
from wakerail.sequences.model import Input, Sequence
from wakerail_kit.errors import ConfigInvalid, DeviceRefused, DeviceUnavailable
from wakerail_kit.hints import nearest
from wakerail_kit.kinds import Kind
from wakerail_kit.messages import InstrumentState
from wakerail_kit.units import UnitInvalid, human, parse_quantity


@dataclass(frozen=True, slots=True)
class Plan:
    """What will be run. ``roles`` maps roles to instrument names; ``absent`` says of each role of ``uses`` without
    an instrument why it has none; ``notes`` are what the verdict should mention of that.
    """

    sequence: Sequence
    values: Mapping[str, float]
    roles: Mapping[str, str]
    absent: Mapping[str, str]
    notes: tuple[str, ...]

    @property
    def input_texts(self) -> dict[str, str]:
        """The inputs' values as people write them."""
        return {name: human(value, self.sequence.inputs[name].unit) for name, value in self.values.items()}

    def lines(self) -> list[str]:
        """Return what will be done, a line a step, for whoever wants to read it before anything is switched on."""
        steps = [f"{number}. {step.words(self.values)}" for number, step in enumerate(self.sequence.steps, 1)]
        return steps + [f"finally: {step.words(self.values)}" for step in self.sequence.finally_]


def check_sequence(sequence: Sequence, kinds_on_bench: Iterable[str | Kind]) -> list[str]:
    """Return a line for each kind that the sequence needs and the bench has not; nothing is touched.

    ``kinds_on_bench`` is the kind of every instrument; one named once counts as one instrument.
    """
    there = Counter(kind if isinstance(kind, str) else kind.name for kind in kinds_on_bench)
    problems = []
    for role, kind in sequence.needs.items():
        there[kind.name] -= 1
        if there[kind.name] < 0:
            problems.append(f"{sequence.name} needs a {kind.name} as {role!r}; this bench has none to spare")
    return problems


def make_plan(sequence: Sequence, inputs: Mapping[str, str], bench: Bench) -> Plan:
    """Bind a sequence to a bench. Nothing is touched.

    The instruments of a kind are taken in the order of the bench's configuration. Raises ConfigInvalid listing every
    wrong input and missing kind; DeviceUnavailable or DeviceRefused if a needed instrument is not ready.
    """
    problems: list[str] = []
    values = {
        name: _value(each, inputs[name], problems) if name in inputs else each.default
        for name, each in sequence.inputs.items()
    }
    problems += [
        f"input {name}: {sequence.name} has no such input; {nearest(name, sequence.inputs)}"
        for name in inputs
        if name not in sequence.inputs
    ]
    problems += check_sequence(sequence, [each.kind for each in bench.instruments.values()])
    if problems:
        raise ConfigInvalid(*problems)
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
    return Plan(sequence, values, roles, absent, tuple(notes))


def _value(each: Input, text: str, problems: list[str]) -> float:
    try:
        value = parse_quantity(text, each.unit)
    except UnitInvalid as wrong:
        problems.append(f"input {each.name}: {wrong}")
        return each.default
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
