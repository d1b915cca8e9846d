"""``survey: {meter: $connector, unpowered: supply}``: a connector's lines against the known-good ones of its family."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail.analysis.lines import BRIDGE_OHM, Line, bridge_suspects, bridged, conclude, function_of
from wakerail.sequences.access import InstrumentAccess
from wakerail.sequences.probing import require_no_voltage, require_output_off, steady, try_leads
from wakerail.sequences.steps.action import OfFamily, StepContext, StepOutput, Word, evidence_of
from wakerail.sequences.steps.scope import Scope
from wakerail_kit.connectors import Known, Pin
from wakerail_kit.families import DeviceFamily
from wakerail_kit.hints import nearest
from wakerail_kit.kinds import MULTIMETER, POWER_SOURCE
from wakerail_kit.messages import Evidence
from wakerail_kit.yamldoc import Section


@dataclass(frozen=True, slots=True)
class SurveyLines(OfFamily):
    """A survey of a connector, pin by pin, with a meter. The ``supply`` named as unpowered must be off."""

    role: str
    connector: Word
    supply: str
    verb: str = "survey"
    checks: bool = True
    known_as: str = ""

    @property
    def roles(self) -> frozenset[str]:
        return frozenset({self.role})

    def words(self, values: Mapping[str, float]) -> str:  # noqa: ARG002  as the protocol asks
        return f"Read the lines of {self.connector.told}, pin by pin"

    def duration_s(self, values: Mapping[str, float]) -> float | None:  # noqa: ARG002
        return None

    @property
    def needs(self) -> str:
        return f"the connector {self.connector.told!r}" if self.connector.name else "a connector"

    def lacks(self, family: DeviceFamily, names: Mapping[str, str], values: Mapping[str, float]) -> str:  # noqa: ARG002  as the base asks
        name = self.connector.value(names)
        if name in family.connectors:
            return ""
        return f"has no connector {name!r}; {nearest(name, family.connectors)}"

    async def run(self, context: StepContext) -> StepOutput:
        meter = context.instrument(self.role)
        connector = context.family.connectors[self.connector.value(context.names)]
        await require_output_off(context, self.supply)
        leads_ohm = await try_leads(context, meter)
        evidence: list[Evidence] = []
        lines: list[Line] = []
        for pin in connector.pins:
            said = f"{lines[-1].read()} " if lines else ""
            where = f"pin {pin.name} of {connector.says}"
            text = f"{said}Red lead on ground, black lead on {where} ({pin.line}), then confirm."
            await self._ask(context, text, evidence)
            await require_no_voltage(context, meter, where)
            lines.append(await self._read(context, meter, pin, leads_ohm))
        for pair in bridge_suspects(lines):
            if await self._is_bridge(context, meter, pair, leads_ohm, evidence):
                lines = bridged(lines, pair)
        found = conclude(connector, lines)
        measurements = tuple(line.measurement(connector) for line in lines)
        return StepOutput(found.outcome, found.finding, found.says, measurements, tuple(evidence))

    @staticmethod
    async def _read(context: StepContext, meter: InstrumentAccess, pin: Pin, leads_ohm: float) -> Line:
        found = await steady(context, meter, function_of(pin))
        value = found.value
        if value is not None and pin.known is Known.OHMS:
            value = max(0.0, value - leads_ohm)
        return Line(pin, value, found.settled)

    async def _is_bridge(
        self,
        context: StepContext,
        meter: InstrumentAccess,
        pair: tuple[Line, Line],
        leads_ohm: float,
        evidence: list[Evidence],
    ) -> bool:
        one, other = (f"pin {line.pin.name} ({line.pin.line})" for line in pair)
        text = f"They read alike and should not: one lead on {one}, the other on {other}, then confirm."
        await self._ask(context, text, evidence)
        found = await steady(context, meter, "resistance")
        return found.settled and found.value is not None and found.value - leads_ohm <= BRIDGE_OHM

    @staticmethod
    async def _ask(context: StepContext, text: str, evidence: list[Evidence]) -> None:
        answered, recorded = await context.ask(text)
        if answered.note:
            evidence.append(evidence_of(recorded.event, recorded.row, f"Noted: {answered.note}"))


def read(section: Section, scope: Scope) -> SurveyLines:
    """Read a survey step."""
    given = section.section("survey")
    role = scope.one_role(given, MULTIMETER, ("unpowered",), "display")
    supply = given.text("unpowered", default="")
    if "unpowered" in given:
        kind = scope.role(given, "unpowered", supply)
        if kind is not None and kind is not POWER_SOURCE:
            given.note("unpowered", f"{supply!r} is no power-source; name the supply that must be off")
    return SurveyLines(role, scope.word(given, role) if role else Word(""), supply)
