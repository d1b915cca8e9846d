"""``inject: {supply: $rail, meter: meter, volts: ..., limit: ..., for: ...}``: find a shorted rail's warm spot.

The output is on only while somebody looks for warmth, and for no longer than ``for``; whatever happens it goes off. An
interlock beside the supply holds it to the volts and the limit until the run is over.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field

from wakerail.analysis.injection import Flowed, Injected, compare, is_short, no_short, resistance
from wakerail.sequences.access import InstrumentAccess
from wakerail.sequences.arrivals import StillOn
from wakerail.sequences.endings import RunEnded, bench_fault, interlock, sentence
from wakerail.sequences.probing import require_no_voltage, require_output_off, steady, try_leads
from wakerail.sequences.steps.action import Amount, OfFamily, StepContext, StepOutput, Word, evidence_of
from wakerail.sequences.steps.scope import Scope
from wakerail.sequences.steps.settings import ApplySettings
from wakerail.sequences.timing import leave_behind
from wakerail_kit.errors import DeviceRefused
from wakerail_kit.families import DeviceFamily
from wakerail_kit.hints import nearest
from wakerail_kit.kinds import MULTIMETER, POWER_SOURCE
from wakerail_kit.messages import Evidence, Frame
from wakerail_kit.rails import Rail
from wakerail_kit.units import human
from wakerail_kit.yamldoc import Section

#: The supply's own trips stand this far above what is set; where it has none, the readings alone are watched.
_TRIP, _TRIP_MORE = 1.2, 0.05
#: However a sequence is written, a short gets no longer than this.
LONGEST_S = 600.0


@dataclass(frozen=True, slots=True)
class Inject(OfFamily):
    """An injection into a rail of the family, with the rail's resistance before and after."""

    role: str
    rail: Word
    meter: str
    volts: Amount
    limit: Amount
    time: Amount
    verb: str = "inject"
    checks: bool = True
    energises: bool = True
    known_as: str = ""

    @property
    def roles(self) -> frozenset[str]:
        return frozenset({self.role, self.meter})

    def words(self, values: Mapping[str, float]) -> str:
        what = f"{self.volts.words(values)}, at most {self.limit.words(values)}"
        return f"Inject {what} for up to {self.time.words(values)} and look for warmth"

    def duration_s(self, values: Mapping[str, float]) -> float | None:  # noqa: ARG002  as the protocol asks
        return None

    @property
    def needs(self) -> str:
        return "a rail"

    def lacks(self, family: DeviceFamily, names: Mapping[str, str], values: Mapping[str, float]) -> str:
        name = self.rail.value(names)
        if name not in family.rails:
            return f"has no rail {name!r}; {nearest(name, family.rails)}"
        return self._injected(values).too_much_for(family.rails[name])

    def _injected(self, values: Mapping[str, float]) -> Injected:
        return Injected(self.volts.value(values), self.limit.value(values))

    async def run(self, context: StepContext) -> StepOutput:
        family = context.family
        rail = family.rails[self.rail.value(context.names)]
        where = f"pin {rail.pin} of {family.connectors[rail.connector].says}"
        meter = context.instrument(self.meter)
        await require_output_off(context, self.role)
        injected = self._injected(context.values)
        context.instrument(self.role).allow(injected, rail.most_w)  # from here to the end of the run
        leads_ohm = await try_leads(context, meter)
        before_ohm = await self._resistance(context, meter, where, leads_ohm)
        if not is_short(rail, before_ohm):
            outcome, finding, says = no_short(rail, before_ohm)
            return StepOutput(outcome, finding, sentence(says), (resistance(rail, "before", before_ohm),))
        text = f"Meter off the board. Supply's plus on {where}, its minus on ground; check the polarity, then confirm."
        answered, _ = await context.ask(text)
        if not answered.person:
            raise RunEnded(bench_fault("nobody is there to look for warmth, and nothing was injected"))
        injection = _Injection(context, self.role, rail, injected)
        flowed, evidence = await injection.run(min(LONGEST_S, self.time.value(context.values)))
        await context.ask("The output is off. Take the supply's leads off the board, let it cool, then confirm.")
        after_ohm = await self._resistance(context, meter, where, leads_ohm)
        outcome, finding, says = compare(rail, before_ohm, after_ohm)
        seen = flowed.measurements(injected, rail.most_w) if flowed is not None else ()
        measured = (resistance(rail, "before", before_ohm), *seen, resistance(rail, "after", after_ohm))
        noted = f" {evidence[0].says}" if evidence else " Nothing was noted of a warm spot."
        return StepOutput(outcome, finding, sentence(says) + noted, measured, evidence)

    @staticmethod
    async def _resistance(context: StepContext, meter: InstrumentAccess, where: str, leads_ohm: float) -> float | None:
        await context.ask(f"Meter's red lead on {where}, its black lead on ground, then confirm.")
        await require_no_voltage(context, meter, where)
        found = await steady(context, meter, "resistance")
        return None if found.value is None else max(0.0, found.value - leads_ohm)


@dataclass(slots=True)
class _Injection:
    """The output on, watched, and off again. ``off_s`` is when it was switched off."""

    context: StepContext
    role: str
    rail: Rail
    injected: Injected
    _voltage_v: list[float] = field(default_factory=list)
    _current_a: list[float] = field(default_factory=list)

    async def run(self, time_s: float) -> tuple[Flowed | None, tuple[Evidence, ...]]:
        """Inject until a person has answered or the time is over; return what flowed and what they noted.

        Raises RunEnded if a reading is beyond what was set, and whatever ends a run.
        """
        clock = self.context.bench.clock
        text = (
            f"Look for warmth, with a thermal camera or the back of a hand above the part, never on it. The output "
            f"goes off by itself after {human(time_s, 's')}. Confirm as soon as you know; note TEXT keeps where it was."
        )
        tasks: list[asyncio.Task[object]] = []
        begin_s = off_s = clock.monotonic_s()
        try:
            await self._on()
            begin_s = clock.monotonic_s()
            asking = asyncio.ensure_future(self.context.ask(text))
            watching = asyncio.ensure_future(self._watch(begin_s + time_s))
            tasks = [asking, watching]
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            if watching.done():
                watching.result()
        except BaseException:
            for task in tasks:
                leave_behind(task)
            raise
        finally:
            await self._off()
            off_s = clock.monotonic_s()
        leave_behind(watching)
        answered, recorded = await asking
        evidence: tuple[Evidence, ...] = ()
        if answered.note:
            evidence = (evidence_of(recorded.event, recorded.row, f"Noted of the warm spot: {answered.note}."),)
        return Flowed.of(self._voltage_v, self._current_a, off_s - begin_s), evidence

    async def _on(self) -> None:
        volts_v, limit_a = self.injected.volts_v, self.injected.limit_a
        await self._set({"output": False, "volts": Amount("V", volts_v), "limit": Amount("A", limit_a)})
        supply = self.context.instrument(self.role)
        for trip, unit, value, limited in (
            ("over-voltage", "V", volts_v, "volts"),
            ("over-current", "A", limit_a, "limit"),
        ):
            with suppress(DeviceRefused):  # not every supply has them; the readings are watched in any case
                await self._set({trip: Amount(unit, _TRIP * value + _TRIP_MORE)})
                # as low as this they would cut the next boot
                self.context.put_back.setdefault(supply.name, {})[trip] = _TRIP * supply.limits[limited]
        await self._set({"output": True})

    async def _off(self) -> None:
        await self._set({"output": False})

    async def _set(self, wanted: Mapping[str, Amount | bool]) -> None:
        await ApplySettings(self.role, POWER_SOURCE, wanted).run(self.context)

    async def _watch(self, end_s: float) -> None:
        """Take readings until the time is over. Raises RunEnded for one that is too much."""
        supply = self.context.instrument(self.role)
        still_on = StillOn(supply, self.context.on_since_s.get(supply.name))
        at_s = 0.0
        with self.context.arrivals.listen(supply) as listener:
            while at_s < end_s:
                arrival = await listener.next()
                if not isinstance(arrival, Frame):
                    continue
                still_on.take(arrival)
                at_s = arrival.t_s[-1]
                voltages, currents = arrival.signals.get("voltage", ()), arrival.signals.get("current", ())
                for voltage_v, current_a in zip(voltages, currents, strict=False):
                    if voltage_v is not None and current_a is not None:
                        self._take(voltage_v, current_a)
        still_on.finish()

    def _take(self, voltage_v: float, current_a: float) -> None:
        self._voltage_v.append(voltage_v)
        self._current_a.append(current_a)
        if beyond := self.injected.beyond(voltage_v, current_a, self.rail.most_w):
            raise RunEnded(interlock(f"the injection was cut: {beyond.says}"))


def read(section: Section, scope: Scope) -> Inject:
    """Read an inject step."""
    given = section.section("inject")
    known = ("meter", "volts", "limit", "for")
    role = scope.one_role(given, POWER_SOURCE, known, "main")
    meter = given.text("meter")
    kind = scope.role(given, "meter", meter) if meter else None
    if kind is not None and kind is not MULTIMETER:
        given.note("meter", f"{meter!r} is no multimeter")
    return Inject(
        role=role,
        rail=scope.word(given, role) if role else Word(""),
        meter=meter,
        volts=scope.amount(given, "volts", "V", above_zero=True),
        limit=scope.amount(given, "limit", "A", above_zero=True),
        time=scope.amount(given, "for", "s", above_zero=True),
    )
