"""What a heat tells while it goes, and what of that its verdict rests on."""

from __future__ import annotations

from wakerail.sequences.endings import sentence
from wakerail.sequences.heating.reckoning import Reckoning
from wakerail.sequences.heating.trace import HeatTrace
from wakerail.sequences.steps.action import StepContext, evidence_of
from wakerail_kit.events import CoolingAsked, EventData, HeatEstimated, HeatStageStarted, PresenceAsked
from wakerail_kit.heat_profiles import Stage, StageKind
from wakerail_kit.messages import Evidence
from wakerail_kit.units import human

#: A person is asked whether they are still there so long before the heat would be cut.
ASK_PRESENCE_S = 60.0
#: How often the model's estimate is told.
ESTIMATE_EVERY_S = 10.0


class HeatTelling:
    """Tells of the heat of one plate; ``evidence`` is in the order in which it was told."""

    def __init__(self, context: StepContext, plate: str) -> None:
        self._context = context
        self._plate = plate
        self._told_s = float("-inf")
        self._asked_presence = False
        self.evidence: list[Evidence] = []

    async def stage_began(self, number: int, stage: Stage, plate_c: float | None, says: str) -> None:
        """Tell that a stage began; ``says`` is what a person does or knows meanwhile."""
        now_s = self._context.bench.clock.monotonic_s()
        started = HeatStageStarted(
            run=self._context.run,
            number=number,
            kind=stage.kind,
            at_s=now_s,
            temperature_c=stage.temperature_c,
            duration_s=stage.time_s if stage.kind in {StageKind.SOAK, StageKind.HOLD} else None,
            says=says,
        )
        to = "to" if stage.kind in {StageKind.RAMP, StageKind.COOL} else "at"
        at = "" if plate_c is None else f", {self._plate} at {human(round(plate_c, 1), 'Cel')}"
        await self._note(started, f"{stage.kind} {to} {human(stage.temperature_c, 'Cel')} began{at}.", now_s)

    async def cooling_asked(self, at_s: float, operator: str, stage: Stage | None, plate_c: float | None) -> None:
        """Tell that a person ended the heating."""
        by = f" by {operator}" if operator else ""
        during = "" if stage is None else f" during the {stage.kind}"
        at = "" if plate_c is None else f" at {human(round(plate_c, 1), 'Cel')}"
        asked = CoolingAsked(run=self._context.run, at_s=at_s, operator=operator)
        await self._note(asked, f"Cooling was asked for{by}{during}{at}.", at_s)

    async def estimate(self, trace: HeatTrace, reckoning: Reckoning, stage: Stage, *, heats: bool) -> None:
        """Tell where plate and board are by the model, if that is due."""
        plate_c = trace.believed_c
        if plate_c is None or trace.now_s - self._told_s < ESTIMATE_EVERY_S:
            return
        self._told_s = trace.now_s
        board = reckoning.board()
        await self._context.tell(
            HeatEstimated(
                run=self._context.run,
                at_s=trace.now_s,
                plate_c=plate_c,
                board_c=None if board is None else board.likely_c,
                board_low_c=None if board is None else board.low_c,
                board_high_c=None if board is None else board.high_c,
                left_s=reckoning.left_s(stage),
                present_left_s=self._context.bench.present_left_s() if heats else None,
            )
        )

    async def mind_presence(self) -> None:
        """Ask once, in good time, whether a person is still there; the interlock does not ask."""
        left_s = self._context.bench.present_left_s()
        due = left_s <= ASK_PRESENCE_S
        if due and not self._asked_presence:
            now_s = self._context.bench.clock.monotonic_s()
            await self._context.tell(PresenceAsked(run=self._context.run, at_s=now_s, left_s=left_s))
        self._asked_presence = due

    async def _note(self, data: EventData, says: str, at_s: float) -> None:
        recorded = await self._context.tell(data)
        self.evidence.append(evidence_of(recorded.event, recorded.row, sentence(says), at_s))
