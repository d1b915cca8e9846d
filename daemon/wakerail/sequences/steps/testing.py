"""``test: {port: lines, as: before}``: have an instrument run a test of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail.sequences.steps.action import StepContext, StepOutput
from wakerail.sequences.steps.scope import Scope
from wakerail.sequences.timing import within
from wakerail_kit.errors import ContractViolation
from wakerail_kit.events import LineResult, PortTested
from wakerail_kit.hints import nearest
from wakerail_kit.kinds import PORT_TESTER
from wakerail_kit.messages import Measurement
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.yamldoc import Section

#: What a test may take in all.
TEST_LIMIT_S = 60.0


@dataclass(frozen=True, slots=True)
class RunTest:
    """A test of the instrument of one role."""

    role: str
    test: str
    known_as: str
    failed: Finding
    verb: str = "test"
    checks: bool = True

    @property
    def roles(self) -> frozenset[str]:
        return frozenset({self.role})

    def words(self, values: Mapping[str, float]) -> str:  # noqa: ARG002  as the protocol asks
        return f"Test the {self.role}'s {self.test}"

    def duration_s(self, values: Mapping[str, float]) -> float | None:  # noqa: ARG002
        return None

    async def run(self, context: StepContext) -> StepOutput:
        instrument = context.instrument(self.role)
        work = instrument.test(self.test, run=context.run)
        found = await within(context.bench.clock, TEST_LIMIT_S, work, f"{instrument.name}: test of {self.test}")
        if not isinstance(found, PortTested):
            raise ContractViolation(f"{instrument.name}: test {self.test!r} gave {type(found).__name__}")
        return self.judge(found)

    def judge(self, found: PortTested) -> StepOutput:
        """Conclude from the port tester's answer."""
        if not found.lines:
            says = f"The {self.role} test reported no lines."
            return StepOutput(Outcome.INCONCLUSIVE, Finding.TOO_LITTLE_DATA, says)
        bad = [line for line in found.lines if not line.passed]
        measurements = tuple(self._measurement(line) for line in found.lines if line.value is not None)
        count = len(found.lines)
        if found.passed and not bad:
            return StepOutput(says=f"All {count} lines of the {self.role} passed.", measurements=measurements)
        named = ", ".join(f"{line.line} ({line.says})" if line.says else line.line for line in bad)
        says = f"{len(bad)} of {count} lines of the {self.role} failed: {named}." if bad else f"The {self.role} failed."
        return StepOutput(Outcome.FAILED, self.failed, says, measurements)

    def _measurement(self, line: LineResult) -> Measurement:
        return Measurement(
            name=f"{self.role}.{line.line}",
            value=line.value,
            unit=line.unit,
            outcome=Outcome.PASSED if line.passed else Outcome.FAILED,
        )


def read(section: Section, failed: Finding | None, scope: Scope) -> RunTest:
    """Read a test step."""
    given = section.section("test")
    known_as = given.name("as", "")
    if known_as in scope.tests:
        given.note("as", f"an earlier test is called {known_as!r} already")
    testable = {role: kind for role, kind in scope.roles.items() if kind is PORT_TESTER}
    named = [key for key in given if key != "as"]
    role = named[0] if named else ""
    test = ""
    if len(named) != 1:
        given.leave_open()
        given.note_here("must name one role and its test, like '{port: lines}'")
    elif (kind := scope.role(given, role, role)) is None:
        given.leave_open()
    else:
        test = given.text(role)
        if kind is not PORT_TESTER:
            given.note(role, f"a {kind.name} has no tests; {nearest(role, testable)}")
        elif test not in kind.tests:
            given.note(role, f"a {kind.name} has no test {test!r}; {nearest(test, kind.tests)}")
    return RunTest(role, test, known_as, failed or Finding.CHECK_FAILED)
