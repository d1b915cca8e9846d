"""One heat, from its first set point until plate and board may be touched.

The heater is on for ramps, soaks and the hold; then, whatever ended them, it is off and the heat waits until it is
cool. What must never happen is not kept here but by the interlocks beside the instrument.
"""

from __future__ import annotations

from dataclasses import dataclass

from wakerail.sequences.access import InstrumentAccess
from wakerail.sequences.arrivals import Listener
from wakerail.sequences.endings import RunEnded, interlock, sentence
from wakerail.sequences.heating.cold_start import BLIND_LIMIT_S, first_believed_c
from wakerail.sequences.heating.course import Course
from wakerail.sequences.heating.judging import Halt, judge, measured
from wakerail.sequences.heating.reckoning import Reckoning
from wakerail.sequences.heating.telling import HeatTelling
from wakerail.sequences.heating.trace import HeatTrace
from wakerail.sequences.steps.action import StepContext, StepOutput
from wakerail.sequences.timing import within
from wakerail_kit.errors import ConfigInvalid, DeviceUnavailable
from wakerail_kit.events import HeatStarted
from wakerail_kit.heat_profiles import Stage, StageKind
from wakerail_kit.messages import Evidence, Frame, Measurement
from wakerail_kit.units import human

#: As near below its set point a plate counts as having come to it, for so many samples on end.
ARRIVED_WITHIN_K, ARRIVED_COUNT = 2.0, 3
#: Cool for so many samples on end is cool.
COOL_COUNT = 3
#: A plate that is hot after so long does not cool by itself: something heats it.
COOLING_LIMIT_S = 3600.0
#: What one setting may take, above the instrument host's own time-outs.
APPLY_LIMIT_S = 10.0


@dataclass(frozen=True, slots=True)
class _Cool:
    """A person asked to cool now."""

    at_s: float
    operator: str


class Heating:
    """A heat of one plate. ``meanwhile`` is what a person does while the solder is liquid."""

    def __init__(self, context: StepContext, plate: InstrumentAccess, course: Course, meanwhile: str) -> None:
        self._context = context
        self._plate = plate
        self._course = course
        self._meanwhile = meanwhile
        self._trace = HeatTrace()
        self._reckoning = Reckoning(course.profile)
        self._telling = HeatTelling(context, plate.name)
        self._cool: _Cool | None = None
        self._over = False
        self._told: HeatStarted | None = None
        self._stage: Stage | None = None
        #: Whether the heater is meant to be on, so that it can be cut short.
        self.heats = False

    # --- what the run asks of it ---

    async def cool(self, operator: str) -> None:
        """End the heating; the heater is off when this returns.

        Raises ConfigInvalid if it does not heat; DeviceRefused, DeviceUnavailable or OutOfSync for the plate.
        """
        if not self.heats:
            raise ConfigInvalid(f"run {self._context.run} does not heat now; there is nothing to cut short")
        if self._cool is None:
            self._cool = _Cool(self._context.bench.clock.monotonic_s(), operator)
        await self._apply("heater", False)

    def so_far(self) -> tuple[tuple[Measurement, ...], tuple[Evidence, ...]]:
        """Return the figures of what was heated so far, and the evidence; nothing once it has come to its own end."""
        if self._over or self._told is None:
            return (), ()
        return measured(self._told, self._trace, self._reckoning, cooled_early=True), tuple(self._telling.evidence)

    def warning(self) -> str:
        """Return what a person must know of a plate that a run leaves before it is cool; empty if it is cool."""
        newest_c = next((c for c in reversed(self._trace.temperature_c) if c is not None), None)
        if newest_c is None or newest_c <= self._course.touch_c:
            return ""
        name, touch = self._plate.name, human(self._course.touch_c, "Cel")
        return f"still hot: {name} was at {human(newest_c, 'Cel')} when last seen; touch nothing above {touch}"

    # --- the heat ---

    async def run(self) -> StepOutput:
        """Heat and cool down. Raises DeviceRefused, DeviceUnavailable or OutOfSync for the plate."""
        with self._context.arrivals.listen(self._plate) as listener:
            await first_believed_c(self._context, listener, self._trace, self._plate.name)
            self._require_person()
            self._told = self._course.told(
                run=self._context.run,
                instrument=self._plate.name,
                at_s=self._context.bench.clock.monotonic_s(),
                present_left_s=self._context.bench.present_left_s(),
            )
            await self._context.tell(self._told)
            self.heats = True
            halt = await self._heat(listener)
            self.heats = False
            await self._apply("heater", False)
            if (asked := self._cool) is not None:  # told when the heater is off, and not before
                await self._telling.cooling_asked(asked.at_s, asked.operator, self._stage, self._trace.believed_c)
            await self._cool_down(listener, halt)
        self._over = True
        return judge(self._told, self._trace, self._reckoning, halt, tuple(self._telling.evidence))

    def _require_person(self) -> None:
        """Raise RunEnded if nobody has confirmed to be there: nothing is heated then."""
        if self._context.bench.present_left_s() <= 0:
            says = "nothing was heated: heat needs a person at the plate, and nobody has confirmed to be there"
            raise RunEnded(interlock(says))

    async def _heat(self, listener: Listener) -> Halt | None:
        """Go through the heated stages; return why it was cut short, None if it was not."""
        for number, stage in enumerate(self._course.heated, 1):
            await self._begin(number, stage, self._meanwhile if stage.kind is StageKind.HOLD else "")
            if stage.kind is StageKind.RAMP:
                await self._apply("temperature", stage.temperature_c)
                if number == 1 and self._cool is None:
                    await self._apply("heater", True)
            if (halt := await self._until_done(listener, stage)) is not None:
                return halt
        return None

    async def _until_done(self, listener: Listener, stage: Stage) -> Halt | None:
        begun_s = self._context.bench.clock.monotonic_s()
        arrived = 0
        while True:
            await self._next(listener)
            if self._cool is not None:
                by = f" by {self._cool.operator}" if self._cool.operator else ""
                return Halt(by_person=True, says=f"It was cooled early{by}, during the {stage.kind}.")
            now_s, at_c = self._trace.now_s, self._trace.believed_c
            if stage.kind is StageKind.RAMP:
                there = at_c is not None and at_c >= stage.temperature_c - ARRIVED_WITHIN_K
                arrived = arrived + 1 if there else 0
                if arrived >= ARRIVED_COUNT:
                    return None
            if stage.kind is StageKind.RAMP and (wrong := self._reckoning.misbehaviour) is not None:
                return Halt(by_person=False, says=sentence(f"{self._plate.name}: {wrong.says}"))
            if now_s - begun_s >= (stage.time_s or 0.0):
                return None if stage.kind is not StageKind.RAMP else self._too_slow(stage, at_c)

    def _too_slow(self, stage: Stage, at_c: float | None) -> Halt:
        came = "its temperature is not known" if at_c is None else f"it came to {human(round(at_c, 1), 'Cel')}"
        target, limit = human(stage.temperature_c, "Cel"), human(stage.time_s or 0.0, "s")
        says = (
            f"{self._plate.name} was not at {target} within {limit}: {came}. "
            f"{self._reckoning.why_slow(stage.temperature_c)}"
        )
        return Halt(by_person=False, says=says)

    async def _cool_down(self, listener: Listener, halt: Halt | None) -> None:
        """Wait until plate and board are below the touch limit."""
        stage = self._course.stages[-1]
        why = "" if halt is None else f"{halt.says} "
        await self._begin(len(self._course.stages), stage, f"{why}Still hot: wait, touch nothing.")
        begun_s = seen_s = self._context.bench.clock.monotonic_s()
        cool = 0
        while cool < COOL_COUNT:
            await self._next(listener)
            now_s, at_c = self._trace.now_s, self._trace.believed_c
            board = self._reckoning.board()
            if at_c is not None:
                seen_s = now_s
                below = max(at_c, at_c if board is None else board.high_c) <= stage.temperature_c
                cool = cool + 1 if below else 0
            elif now_s - seen_s > BLIND_LIMIT_S:
                raise DeviceUnavailable(f"{self._plate.name}: its sensor gives no temperature; treat it as hot")
            if now_s - begun_s > COOLING_LIMIT_S:
                limit = human(COOLING_LIMIT_S / 60, "min")
                raise DeviceUnavailable(
                    f"{self._plate.name}: still hot after {limit} with the heater off; pull its plug"
                )

    # --- its parts ---

    async def _next(self, listener: Listener) -> None:
        """Take the next frame, and tell what is due."""
        arrival = await listener.next()
        if not isinstance(arrival, Frame):
            return
        stage = self._stage
        asked_c = None if stage is None or stage.kind is StageKind.COOL else stage.temperature_c
        self._trace.take(arrival, lambda _: asked_c)
        self._reckoning.take(self._trace, len(arrival.t_s))
        if stage is not None:
            await self._telling.estimate(self._trace, self._reckoning, stage, heats=self.heats)
        if self.heats:
            await self._telling.mind_presence()

    async def _begin(self, number: int, stage: Stage, says: str) -> None:
        self._stage = stage
        await self._telling.stage_began(number, stage, self._trace.believed_c, says)

    async def _apply(self, setting: str, value: float | bool) -> None:
        name = self._plate.name
        work = self._plate.apply(setting, value, run=self._context.run)
        await within(self._context.bench.clock, APPLY_LIMIT_S, work, f"{name}: setting {setting}")
        self._context.applied.setdefault(name, {})[setting] = value
