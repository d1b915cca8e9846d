"""A meter's probes in a person's hands: readings that have come to rest, tried leads, a board without power."""

from __future__ import annotations

from dataclasses import dataclass

from wakerail.analysis.lines import SHORT_OHM
from wakerail.sequences.access import InstrumentAccess
from wakerail.sequences.endings import RunEnded, bench_fault
from wakerail.sequences.steps.action import StepContext
from wakerail.sequences.timing import within
from wakerail_kit.errors import ContractViolation
from wakerail_kit.events import MeterRead
from wakerail_kit.messages import Frame
from wakerail_kit.units import human

READING_LIMIT_S = 15.0
#: A reading counts once so many in a row lie together, ``_BETWEEN_S`` apart; capacitors charge through the meter.
_TOGETHER = 3
_BETWEEN_S = 0.25
_SETTLES_WITHIN_S = 10.0
_SLACK_SHARE = 0.01
_SLACK = {"V": 0.002, "Ohm": 0.05}
#: More than this on a line, and the board is not without power (common practice, no source).
MOST_V = 0.05


@dataclass(frozen=True, slots=True)
class Steady:
    """A reading that came to rest, in the meter's unit; None is an overload. ``settled`` False: it never did."""

    value: float | None
    settled: bool = True


async def read_once(context: StepContext, meter: InstrumentAccess, quantity: str) -> MeterRead:
    """Return one reading. Raises RunEnded if the meter has none to give."""
    work = meter.test(quantity, run=context.run)
    found = await within(context.bench.clock, READING_LIMIT_S, work, f"{meter.name}: {quantity}")
    if not isinstance(found, MeterRead):
        raise ContractViolation(f"{meter.name}: {quantity!r} gave {type(found).__name__}")
    if found.value is None and not found.overload:
        raise RunEnded(bench_fault(f"{meter.name} gave no number for a {quantity}: {found.raw!r}"))
    return found


async def steady(context: StepContext, meter: InstrumentAccess, quantity: str) -> Steady:
    """Read again and again until the readings lie together; return the middle one."""
    clock = context.bench.clock
    end_s = clock.monotonic_s() + _SETTLES_WITHIN_S
    newest: list[float | None] = []
    while True:
        found = await read_once(context, meter, quantity)
        newest = [*newest, found.value][-_TOGETHER:]
        if len(newest) == _TOGETHER and _lie_together(newest, _SLACK[found.unit]):
            return Steady(None if newest[0] is None else sorted(one for one in newest if one is not None)[1])
        if clock.monotonic_s() >= end_s:
            return Steady(newest[-1], settled=False)
        await clock.sleep(_BETWEEN_S)


def _lie_together(values: list[float | None], slack: float) -> bool:
    known = [value for value in values if value is not None]
    if len(known) < len(values):
        return not known
    return max(known) - min(known) <= max(slack, _SLACK_SHARE * max(map(abs, known)))


async def try_leads(context: StepContext, meter: InstrumentAccess) -> float:
    """Have the leads touched together; return their resistance. Raises RunEnded if they are broken."""
    await context.ask("Touch the tips of the meter's two leads together, hold them there, then confirm.")
    found = await steady(context, meter, "resistance")
    if found.value is None or not found.settled or found.value > SHORT_OHM:
        reads = "nothing" if found.value is None else human(found.value, "Ohm")
        raise RunEnded(
            bench_fault(
                f"the {meter.name}'s leads read {reads} when they touch, more than {human(SHORT_OHM, 'Ohm')}; "
                "a lead, its plug or its tip is bad"
            )
        )
    return found.value


async def require_no_voltage(context: StepContext, meter: InstrumentAccess, where: str) -> None:
    """Raise RunEnded if there is a voltage between the leads."""
    found = await read_once(context, meter, "voltage")
    if found.value is None or abs(found.value) > MOST_V:
        reads = "more than the meter can show" if found.value is None else human(abs(found.value), "V")
        raise RunEnded(
            bench_fault(
                f"there is {reads} on {where}: the board has power. Take the cell out, take the supply's leads off, "
                "let the capacitors discharge, and begin again"
            )
        )


async def require_output_off(context: StepContext, role: str) -> None:
    """Raise RunEnded if the supply's output is on, or if it does not tell; a bench without a supply has none on."""
    if not role or not context.has(role):
        return
    supply = context.instrument(role)
    with context.arrivals.listen(supply) as listener:
        while True:
            arrival = await listener.next()
            told = arrival.signals.get("output", ()) if isinstance(arrival, Frame) else ()
            newest = next((on for on in reversed(told) if on is not None), None)
            if newest is not None:
                break
    if newest:
        raise RunEnded(bench_fault(f"the output of {supply.name} is on; a board is measured without power"))
