"""``checklist: functions``: have a person try what a device of the family must be able to do, one by one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail.analysis.proving import CHOICES, Answered, judge_checklist
from wakerail.sequences.steps.action import OfFamily, StepContext, StepOutput, evidence_of
from wakerail_kit.families import DeviceFamily
from wakerail_kit.messages import Evidence
from wakerail_kit.yamldoc import Section


@dataclass(frozen=True, slots=True)
class Checklist(OfFamily):
    """The functions of the family, each asked with yes, no, or not there."""

    verb: str = "checklist"
    checks: bool = True
    known_as: str = ""
    roles: frozenset[str] = frozenset()

    def words(self, values: Mapping[str, float]) -> str:  # noqa: ARG002  as the protocol asks
        return "Try every function"

    def duration_s(self, values: Mapping[str, float]) -> float | None:  # noqa: ARG002
        return None

    @property
    def needs(self) -> str:
        return "functions"

    def lacks(self, family: DeviceFamily, names: Mapping[str, str], values: Mapping[str, float]) -> str:  # noqa: ARG002  as the base asks
        return "" if family.functions else "has no list of functions"

    async def run(self, context: StepContext) -> StepOutput:
        answers: list[Answered] = []
        evidence: list[Evidence] = []
        for function in context.family.functions:
            said, recorded = await context.ask(function.asks, CHOICES)
            answers.append(Answered(function.name, said.choice, said.note))
            told = f"{function.name}: {said.choice or 'nobody looked'}" + (f"; {said.note}" if said.note else "")
            evidence.append(evidence_of(recorded.event, recorded.row, told + "."))
        proof = judge_checklist(answers)
        return StepOutput(proof.outcome, proof.finding, proof.says, proof.measurements, tuple(evidence))


def read(section: Section) -> Checklist:
    """Read a checklist step."""
    section.text("checklist", one_of=["functions"])
    return Checklist()
