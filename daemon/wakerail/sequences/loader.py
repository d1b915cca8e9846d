"""Reads a sequence from YAML and checks all of it: every mistake is one line with file, line and key.

    sequence: <name>
    purpose:  <the question it answers>
    passed:   <finding when all is well>           default checks-passed
    reason:   every-check                          of a run that passed: what each check says, not the last alone
    cautions: [<shown before anything is switched on>, ...]
    needs:    {<role>: <kind>, ...}
    uses:     {<role>: <kind>, ...}                used if the bench has one
    inputs:   {<name>: {default: 3.85 V, min: 3 V, max: 4.5 V, says: <what it is>}, ...}
              ``name: display`` in place of ``default``: it is a name, where a step takes one
              ``unit: V`` in place of ``default``: it may be left out, where a step can do without
    steps:    each has one verb, and ``title`` if its own words will not do
      - <role>:  {<setting>: <amount>, output: on}
      - measure: {signal: <role>.<signal>, over: <time>, stat: mean|min|max|median|p2p, min: ..., max: ...,
                  while: <role>.<on/off signal>}   outside the limits while this is off: the bench's fault
        failed:  <finding>                         default check-failed; of measure and test
      - prompt:  <what the person is to do>
      - wait:    <time>
      - test:    {<role>: <test>, as: <name>}
      - watch:   {for: <time>, signals: [<role>.current, <role of a usb-watcher>],
                  at_most: <time>, cadence_of: <sequence>,  as long as the job's earlier restarts ask for
                  fail_on: restart, stop_after: 3} restarts that end the watch early; without fail_on none do
      - heat:    {<role>: <profile of the device family>, temperature: <amount>, hold: <time>,
                  meanwhile: <what to do while the solder is liquid>}
      - usb-mode: {<role of a usb-watcher>: <boot mode of the device family>, within: <time>}
      - charge:  {<role of a supply>: port, over: <time>}
      - checklist: functions                       of the device family, asked one by one
      - inject:  {<role of a supply>: <rail of the device family>, meter: <role of a multimeter>, volts: <amount>,
                  limit: <amount>, for: <time>}
      - survey:  {<role of a multimeter>: <connector of the device family>, unpowered: <role of a supply>}
        only_if_failed: <name of an earlier test>  that failure then stands unless a check after it passes
        after_failure: go-on                       of a check: the failure stands, and the run goes on
    finally:  settings that switch nothing on, and waits

An amount is a quantity (``5 mA``), an input (``$volts``) or a share of one (``50 % of $volts``).
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from collections.abc import Sequence as Many
from pathlib import Path

from wakerail.sequences.model import FAMILY, Input, Sequence, Step
from wakerail.sequences.steps import (
    charge,
    checklist,
    heat,
    inject,
    measure,
    prompt,
    settings,
    survey,
    testing,
    usb_mode,
    wait,
    watch,
)
from wakerail.sequences.steps.action import NAME_INPUT, Action
from wakerail.sequences.steps.scope import FAILING, PASSING, Scope
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest
from wakerail_kit.kinds import KINDS, Kind
from wakerail_kit.outcome import Finding
from wakerail_kit.topics import NAME
from wakerail_kit.units import UnitInvalid, human, parse_quantity
from wakerail_kit.yamldoc import Document, Section, load_yaml, parse_yaml

_READERS: Mapping[str, Callable[[Section, Finding | None, Scope], Action]] = {
    "charge": lambda section, _failed, scope: charge.read(section, scope),
    "checklist": lambda section, _failed, _scope: checklist.read(section),
    "heat": lambda section, _failed, scope: heat.read(section, scope),
    "inject": lambda section, _failed, scope: inject.read(section, scope),
    "measure": measure.read,
    "prompt": lambda section, _failed, _scope: prompt.read(section),
    "survey": lambda section, _failed, scope: survey.read(section, scope),
    "test": testing.read,
    "usb-mode": lambda section, _failed, scope: usb_mode.read(section, scope),
    "wait": lambda section, _failed, scope: wait.read(section, scope),
    "watch": lambda section, _failed, scope: watch.read(section, scope),
}
_STEP_KEYS = ("title", "failed", "only_if_failed", "after_failure")
#: Units that an input may have, by the first that its default fits. No bare kelvin: it would pass for a temperature.
_INPUT_UNITS = ("V", "A", "s", "Cel", "Ohm", "W", "J", "C", "Hz", "K/s", "%", "1")


def load_sequence(file: Path) -> Sequence:
    """Read one sequence. Raises ConfigInvalid listing every mistake."""
    return _read(load_yaml(file))


def load_sequences(folder: Path) -> dict[str, Sequence]:
    """Read every sequence of a folder, by name. Raises ConfigInvalid listing every mistake of every file."""
    found: dict[str, Sequence] = {}
    files: dict[str, Path] = {}
    problems: list[str] = []
    if not folder.is_dir():
        raise ConfigInvalid(f"{folder}: no such folder of sequences")
    for file in sorted(folder.glob("*.yaml")):
        try:
            sequence = load_sequence(file)
        except ConfigInvalid as wrong:
            problems += wrong.problems
            continue
        if sequence.name in found:
            problems.append(f"{file}: sequence: {sequence.name!r} is the name of {files[sequence.name]} already")
        found[sequence.name], files[sequence.name] = sequence, file
    if problems:
        raise ConfigInvalid(*problems)
    return found


def parse_sequence(text: str, file: str) -> Sequence:
    """Read a sequence from its text; ``file`` is what messages call it. Raises ConfigInvalid."""
    return _read(parse_yaml(text, file))


def _read(doc: Document) -> Sequence:
    top = doc.top
    name = top.name("sequence")
    purpose = " ".join(top.text("purpose").split())
    cautions = tuple(" ".join(caution.split()) for caution in top.texts("cautions", default=()))
    needs = _roles(top, "needs")
    uses = _roles(top, "uses")
    for role in uses:
        if role in needs:
            doc.note(top.line_of("uses"), f"uses.{role}", "is among 'needs' already")
    declared = top.section("inputs", default=())
    inputs = {key: _input(key, section) for key, section in declared.each()}
    if FAMILY in inputs:
        declared.note(FAMILY, "the device family is named otherwise; give the input another name")
    left_out = frozenset(key for key, each in inputs.items() if each.default is None and not each.is_name)
    scope = Scope({**uses, **needs}, frozenset(uses), {key: each.unit for key, each in inputs.items()}, left_out)
    steps = tuple(_step(section, scope) for section in top.sections("steps"))
    if "steps" in top and not steps:
        top.note("steps", "has no steps")
    finally_ = tuple(_finally_step(section, scope) for section in top.sections("finally", default=()))
    passed = _finding(top, "passed", PASSING) or Finding.CHECKS_PASSED
    tells_all = top.text("reason", "last-check", one_of=["last-check", "every-check"]) == "every-check"
    for key in inputs:
        if key not in scope.used:
            declared.note(key, f"no step uses '${key}'")
    doc.finish()
    sha256 = hashlib.sha256(doc.text.encode()).hexdigest()
    known_needs = {role: kind for role, kind in needs.items() if kind is not None}
    known_uses = {role: kind for role, kind in uses.items() if kind is not None}
    return Sequence(
        name, purpose, cautions, known_needs, known_uses, inputs, steps, finally_, passed, sha256, tells_all
    )


def _roles(top: Section, key: str) -> dict[str, Kind | None]:
    section = top.section(key, default=())
    roles: dict[str, Kind | None] = {}
    for role in section:
        kind = section.text(role, one_of=list(KINDS))
        if role in _READERS or role in _STEP_KEYS:
            section.note(role, f"{role!r} means something else in a step; give the role another name")
        elif not NAME.match(role):
            section.note(role, f"{role!r} is no name; use lower-case letters, digits, '-' and '_'")
        roles[role] = KINDS.get(kind)
    return roles


def _input(name: str, section: Section) -> Input:
    if "unit" in section and "default" not in section:
        return _input_without_default(name, section)
    if "name" in section and "default" not in section:
        says = section.text("says", "")
        return Input(name, NAME_INPUT, None, None, None, says, name_default=section.name("name"))
    section.raw("name", None)
    text = section.text("default", "")
    unit = _unit_of(text)
    if unit is None:
        why = (
            f"{text!r} is no quantity; write it like '3.85 V'" if text else "is missing; give a quantity like '3.85 V'"
        )
        section.note("default", why)
        section.leave_open()
        return Input(name, "", 0.0, None, None, "")
    if unit == "1" and any(_unit_of(section.text(bound, "1")) != "1" for bound in ("min", "max")):
        section.note("default", f"{text!r} has no unit, unlike its bounds; write it like '3.85 V'")
        section.leave_open()
        return Input(name, "", 0.0, None, None, "")
    low = section.optional_quantity("min", unit)
    high = section.optional_quantity("max", unit)
    if low is None and unit != "Cel":
        low = 0.0  # a negative voltage, current or time is a slip of the pen
    if low is not None and high is not None and low > high:
        section.note("min", f"{human(low, unit)} is above max, {human(high, unit)}")
    default = section.quantity("default", unit, low=low, high=high)
    return Input(name, unit, default, low, high, section.text("says", ""))


def _input_without_default(name: str, section: Section) -> Input:
    text = section.text("unit")
    unit = _unit_of(f"1 {text}")
    section.raw("default", None)
    if unit is None:
        section.note("unit", f"{text!r} is no unit; write it like 'degC'")
        section.leave_open()
    low = section.optional_quantity("min", unit) if unit is not None else None
    high = section.optional_quantity("max", unit) if unit is not None else None
    return Input(name, unit or "", None, low, high, section.text("says", ""))


def _unit_of(text: str) -> str | None:
    for unit in _INPUT_UNITS:
        try:
            parse_quantity(text, unit)
        except UnitInvalid:
            continue
        return unit
    return None


def _step(section: Section, scope: Scope) -> Step:
    title = section.text("title", "")
    failed = _finding(section, "failed", FAILING)
    after = section.text("only_if_failed", "")
    if "only_if_failed" in section and after not in scope.tests:
        section.note("only_if_failed", f"no earlier test is called {after!r}; {nearest(after, scope.tests)}")
    goes_on = "after_failure" in section
    section.text("after_failure", "go-on", one_of=["go-on"])
    action = _action(section, scope, failed)
    if action is None:
        return Step(prompt.AskPerson(""), title, None)
    if goes_on and not action.checks:
        section.note("after_failure", f"a step of the verb {action.verb!r} cannot fail; leave 'after_failure' out")
    if failed is not None and action.verb not in {"measure", "test"}:
        why = "names its own findings" if action.checks else "cannot fail"
        section.note("failed", f"a step of the verb {action.verb!r} {why}; leave 'failed' out")
    if action.known_as:
        scope.tests.append(action.known_as)
    return Step(action, title, after or None, goes_on)


def _finally_step(section: Section, scope: Scope) -> Step:
    title = section.text("title", "")
    action = _action(section, scope, None)
    if action is not None and not isinstance(action, settings.ApplySettings | wait.Wait):
        section.note(action.verb, "cannot stand in 'finally'; only settings and waits can, so that nothing holds it up")
    if isinstance(action, settings.ApplySettings) and action.energises:
        section.note(action.role, "switches on; 'finally' may only switch off")
    return Step(action or prompt.AskPerson(""), title, None)


def _action(section: Section, scope: Scope, failed: Finding | None) -> Action | None:
    """Read the one key of a step that is its verb or its role."""
    found = [key for key in section if key in _READERS or key in scope.roles]
    if len(found) > 1:
        section.note(found[1], f"a step has one verb; this one has {found[0]!r} already, make it two steps")
        section.leave_open()
        return None
    if not found:
        section.leave_open()
        _note_no_verb(section, scope)
        return None
    if found[0] in _READERS:
        return _READERS[found[0]](section, failed, scope)
    kind = scope.roles[found[0]]
    if kind is None:
        section.section(found[0]).leave_open()
        scope.used.update(scope.inputs)  # perhaps here
        return None
    return settings.read(section, found[0], kind, scope)


def _note_no_verb(section: Section, scope: Scope) -> None:
    unknown = [key for key in section if key not in _STEP_KEYS]
    known = [*_READERS, *scope.roles]
    if unknown:
        section.note(unknown[0], f"neither a verb nor a role of this sequence; {nearest(unknown[0], known)}")
    else:
        section.note_here(f"has no verb; {nearest('', known)}")


def _finding(section: Section, key: str, allowed: Many[Finding]) -> Finding | None:
    if key not in section:
        section.raw(key, None)
        return None
    text = section.text(key, one_of=[finding.value for finding in allowed])
    return Finding(text) if text in {finding.value for finding in allowed} else None
