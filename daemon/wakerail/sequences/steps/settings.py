"""``<role>: {volts: $volts, limit: 3 A, output: on}``: apply settings, off first and on last."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail.sequences.steps.action import Amount, StepContext, StepOutput
from wakerail.sequences.steps.scope import Scope
from wakerail.sequences.timing import within
from wakerail_kit.kinds import Kind
from wakerail_kit.yamldoc import Section

#: What one setting may take, above the instrument host's own time-outs.
APPLY_LIMIT_S = 10.0


@dataclass(frozen=True, slots=True)
class ApplySettings:
    """Settings for the instrument of one role."""

    role: str
    kind: Kind
    settings: Mapping[str, Amount | bool]
    verb: str = "set"
    checks: bool = False
    known_as: str = ""

    @property
    def roles(self) -> frozenset[str]:
        return frozenset({self.role})

    @property
    def energises(self) -> bool:
        """True if it switches power or heat on."""
        return any(value is True and self.kind.settings[name].energises for name, value in self.settings.items())

    def words(self, values: Mapping[str, float]) -> str:
        return f"Set {self.role}: " + ", ".join(
            f"{name} {value.words(values) if isinstance(value, Amount) else ('on' if value else 'off')}"
            for name, value in self.settings.items()
        )

    def duration_s(self, values: Mapping[str, float]) -> float | None:  # noqa: ARG002  as the protocol asks
        return None

    async def run(self, context: StepContext) -> StepOutput:
        instrument = context.instrument(self.role)
        wanted = {
            name: value.value(context.values) if isinstance(value, Amount) else value
            for name, value in self.settings.items()
        }
        for name in self.kind.safe_order(wanted):
            value = wanted[name]
            work = instrument.apply(name, value, run=context.run)
            await within(context.bench.clock, APPLY_LIMIT_S, work, f"{instrument.name}: setting {name}")
            context.applied.setdefault(instrument.name, {})[name] = value
            if self.kind.settings[name].energises and value:
                context.on_since_s[instrument.name] = context.bench.clock.monotonic_s()
            elif self.kind.settings[name].energises:
                context.on_since_s.pop(instrument.name, None)
        return StepOutput()


def read(section: Section, role: str, kind: Kind, scope: Scope) -> ApplySettings:
    """Read the settings of a role's step."""
    given = section.section(role)
    if not kind.settings:
        section.note(role, f"a {kind.name} has no settings")
        given.leave_open()
        return ApplySettings(role, kind, {})
    settings: dict[str, Amount | bool] = {}
    for name, setting in kind.settings.items():
        if name not in given:
            given.raw(name, None)  # so that it is among the keys that are known here
        elif setting.unit is None:
            settings[name] = given.flag(name)
        else:
            settings[name] = scope.amount(given, name, setting.unit)
    if not any(True for _ in given):
        section.note(role, f"sets nothing; known here: {', '.join(kind.settings)}")
    return ApplySettings(role, kind, settings)
