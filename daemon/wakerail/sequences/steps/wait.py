"""``wait: 2 s``: let time pass."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail.sequences.steps.action import Amount, StepContext, StepOutput
from wakerail.sequences.steps.scope import Scope
from wakerail_kit.yamldoc import Section


@dataclass(frozen=True, slots=True)
class Wait:
    """A wait of a known length."""

    time: Amount
    verb: str = "wait"
    checks: bool = False
    known_as: str = ""
    roles: frozenset[str] = frozenset()

    def words(self, values: Mapping[str, float]) -> str:
        return f"Wait {self.time.words(values)}"

    def duration_s(self, values: Mapping[str, float]) -> float | None:
        return self.time.value(values)

    async def run(self, context: StepContext) -> StepOutput:
        await context.bench.clock.sleep(self.time.value(context.values))
        return StepOutput()


def read(section: Section, scope: Scope) -> Wait:
    """Read a wait step."""
    return Wait(scope.amount(section, "wait", "s", above_zero=True))
