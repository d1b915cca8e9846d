"""``prompt: text``: ask a person to do something, and wait until they say that it is done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail.sequences.steps.action import StepContext, StepOutput, evidence_of
from wakerail_kit.yamldoc import Section


@dataclass(frozen=True, slots=True)
class AskPerson:
    """An instruction that a person confirms. No is an answer, too: it ends the run safely.

    What they note with their answer is evidence.
    """

    text: str
    verb: str = "prompt"
    checks: bool = False
    known_as: str = ""
    roles: frozenset[str] = frozenset()

    def words(self, values: Mapping[str, float]) -> str:  # noqa: ARG002  as the protocol asks
        return self.text

    def duration_s(self, values: Mapping[str, float]) -> float | None:  # noqa: ARG002
        return None

    async def run(self, context: StepContext) -> StepOutput:
        answered, recorded = await context.ask(self.text)
        if not answered.note:
            return StepOutput()
        return StepOutput(evidence=(evidence_of(recorded.event, recorded.row, f"Noted: {answered.note}"),))


def read(section: Section) -> AskPerson:
    """Read a prompt step."""
    text = " ".join(section.text("prompt").split())
    if not text:
        section.note("prompt", "is empty; say what the person is to do")
    return AskPerson(text)
