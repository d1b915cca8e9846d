"""``charge: {supply: port, over: 20 s}``: the supply stands in for a charger; does the device take what it should?"""

from __future__ import annotations

import statistics
from collections.abc import Mapping
from dataclasses import dataclass

from wakerail.analysis.proving import judge_charging
from wakerail.sequences.arrivals import StillOn
from wakerail.sequences.steps.action import Amount, OfFamily, StepContext, StepOutput
from wakerail.sequences.steps.measure import ENOUGH
from wakerail.sequences.steps.scope import Scope
from wakerail.sequences.steps.settings import ApplySettings
from wakerail_kit.families import DeviceFamily
from wakerail_kit.kinds import POWER_SOURCE
from wakerail_kit.messages import Frame
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.proving import Charging
from wakerail_kit.yamldoc import Section

#: A device negotiates, and ramps its charging up, for about so long (common practice, no source).
_SETTLES_S = 3.0


@dataclass(frozen=True, slots=True)
class Charge(OfFamily):
    """The charging of the family, by a supply at the charge port. The output is off again when the step ends."""

    role: str
    over: Amount
    verb: str = "charge"
    checks: bool = True
    energises: bool = True
    known_as: str = ""

    @property
    def roles(self) -> frozenset[str]:
        return frozenset({self.role})

    def words(self, values: Mapping[str, float]) -> str:
        return f"Charge from the {self.role} and measure for {self.over.words(values)}"

    def duration_s(self, values: Mapping[str, float]) -> float | None:
        return _SETTLES_S + self.over.value(values)

    @property
    def needs(self) -> str:
        return "charging"

    def lacks(self, family: DeviceFamily, names: Mapping[str, str], values: Mapping[str, float]) -> str:  # noqa: ARG002  as the base asks
        return "" if family.charging is not None else "does not say how it charges"

    async def run(self, context: StepContext) -> StepOutput:
        charging = context.family.charging
        assert charging is not None
        await self._set(context, charging, on=True)
        await context.bench.clock.sleep(_SETTLES_S)
        current_a, voltage_v, limiting = await self._sampled(context)
        await self._set(context, charging, on=False)
        expected = self.over.value(context.values) * context.instrument(self.role).rate_hz
        if len(current_a) < max(1.0, ENOUGH * expected):
            says = f"Only {len(current_a)} of about {expected:.0f} samples of the {self.role} came."
            return StepOutput(Outcome.INCONCLUSIVE, Finding.TOO_LITTLE_DATA, says)
        limited = bool(limiting) and statistics.fmean(limiting) >= ENOUGH
        proof = judge_charging(charging, statistics.fmean(current_a), min(voltage_v), limiting=limited)
        return StepOutput(proof.outcome, proof.finding, proof.says, proof.measurements)

    async def _set(self, context: StepContext, charging: Charging, *, on: bool) -> None:
        wanted: dict[str, Amount | bool] = {"output": False}
        if on:
            wanted = {
                "volts": Amount("V", charging.volts_v),
                "limit": Amount("A", charging.limit_a),
                "output": True,
            }
        await ApplySettings(self.role, POWER_SOURCE, wanted).run(context)

    async def _sampled(self, context: StepContext) -> tuple[list[float], list[float], list[float]]:
        """Return the currents, voltages and limiting flags of the time."""
        supply = context.instrument(self.role)
        still_on = StillOn(supply, context.on_since_s.get(supply.name))
        end_s = context.bench.clock.monotonic_s() + self.over.value(context.values)
        found: dict[str, list[float]] = {"current": [], "voltage": [], "limiting": []}
        with context.arrivals.listen(supply) as listener:
            at_s = 0.0
            while at_s < end_s:
                arrival = await listener.next()
                if isinstance(arrival, Frame):
                    still_on.take(arrival)
                    for signal, samples in found.items():
                        samples += [one for one in arrival.signals.get(signal, ()) if one is not None]
                    at_s = arrival.t_s[-1]
        still_on.finish()
        return found["current"], found["voltage"], found["limiting"]


def read(section: Section, scope: Scope) -> Charge:
    """Read a charge step."""
    given = section.section("charge")
    role = scope.one_role(given, POWER_SOURCE, ("over",), "port")
    if role:
        given.text(role, one_of=["port"])
    return Charge(role, scope.amount(given, "over", "s", above_zero=True))
