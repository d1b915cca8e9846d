"""The demo's job: a device from a wet warehouse that restarts, from intake to handover.

What happens at the bench is not written here: sequences, plan and simulated device decide it, and where they come to
something else than a repaired device, the story ends there and says so.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass

from rich.console import Console
from rich.text import Text

from wakerail.bus import BusClient
from wakerail.cli.bench import ask_over
from wakerail.cli.demo_hands import AttendedScreen, DemoHands
from wakerail.cli.following import follow_run
from wakerail.cli.isolating import Isolating
from wakerail.cli.looks import indented
from wakerail.cli.session import Session
from wakerail.config import shipped
from wakerail.family_plans import load_family_plans
from wakerail.planning.ending import EndSort
from wakerail.report.signs import signs_for
from wakerail_kit.errors import WakerailError
from wakerail_kit.job_events import JobStage, Resolution
from wakerail_kit.job_requests import CloseJob, EnterStage, NoteJob, OpenJob
from wakerail_kit.messages import RunSequence, Verdict
from wakerail_kit.outcome import Outcome
from wakerail_kit.plan_requests import PlanObserve

FAMILY, TICKET, WHO = "fenmoor-t3", "T-114", "demo"
#: What is wrong with the device.
FAULTS = ("dirty-port", "corroded-joint")
#: The cause that the boards showed when they were apart.
_CAUSE = "board-joint"
_WINDOW = {"window": "18 s"}
#: As long as the upper board takes to come off, or to settle.
_HOLD = {"hold": "40 s"}
_PROOF = {"least": "30 s", "charge": "10 s"}


async def tell_story(session: Session, console: Console, speed: float) -> None:
    """Take the device through its job on a bench that goes ``speed`` times as fast as a real one, and show it.

    Raises WakerailError where that comes to something else than a repaired device.
    """
    plan = load_family_plans(shipped("devices"))[FAMILY]
    hands = DemoHands(session.folder, plan, console)
    async with BusClient(session.url, session.bench, clock=session.clock) as client:
        await _Story(client, console, hands, speed).tell()


@dataclass
class _Story:
    client: BusClient
    console: Console
    hands: DemoHands
    speed: float

    async def tell(self) -> None:
        await self._intake()
        await self._isolate(await self._triage())
        await self._rework()
        await self._prove()
        await self._hand_over()

    async def _intake(self) -> None:
        self._chapter("Intake", "A handheld data terminal from a wet warehouse restarts over and over.")
        self._say(
            "A simulated bench stands in for the hardware, over the real transports: supply and meter on TCP, plate "
            "and port tester on serial lines, USB events. The technician's hands are simulated, too."
        )
        fast = f"{self.speed:g} times as fast as"
        self._say(f"The bench's clock runs up to {fast} yours: its times are not the times that you wait.")
        intake = OpenJob(
            family=FAMILY,
            ticket=TICKET,
            symptom="restarts over and over, does not come up",
            exposure="wet warehouse, condensation; green traces at the port",
            condition="housing sound, no swelling of the cell",
            keep="the day's counts, not uploaded yet",
            words="It was fine until the cold store was defrosted.",
            operator=WHO,
        )
        await ask_over(self.client, "job-open", intake)
        await self._note(f"A demonstration: the bench is simulated, and its clock runs up to {fast} a real one.")

    async def _triage(self) -> Verdict:
        await self._enter(JobStage.TRIAGE, "The charge port first: it is quick, and liquid gets there first.")
        return await self._run("port-check")

    async def _isolate(self, port_check: Verdict) -> None:
        self._chapter("Isolate", "Does the restart go with a part? One boot after another, as the plan says.")
        told = PlanObserve(job=TICKET, run=port_check.run, done=[], operator=WHO)
        await ask_over(self.client, "plan-observe", told)
        isolating = Isolating(
            client=self.client, console=self.console, hands=self.hands, job=TICKET, operator=WHO, inputs=_WINDOW
        )
        end = (await isolating.go()).next
        if end.sort != EndSort.BOARD:
            raise WakerailError(f"the demo's isolation did not come to the board: {end.says}")

    async def _rework(self) -> None:
        await self._enter(JobStage.REWORK, "The board itself: its stacked boards come apart, are cleaned and rejoined.")
        await self._run("separate", _HOLD)
        self._hand("Clean the pads of both boards, away from the plate, and let them dry.")
        await asyncio.to_thread(self.hands.do_line, "clean boards")
        await self._note("Green corrosion between the boards around the joint; cleaned both, dried.", spent_s=900.0)
        await self._run("rejoin", _HOLD)
        self._hand("Connect every part again.")
        await asyncio.to_thread(self.hands.connect_all)

    async def _prove(self) -> None:
        await self._enter(JobStage.PROOF, "Does it boot, stay up, show on USB, charge, and do all that it should?")
        await self._run("proof", _PROOF)

    async def _hand_over(self) -> None:
        await self._enter(JobStage.HANDOVER, "The job is closed, and the next plan of this family has learned from it.")
        closing = CloseJob(
            job=TICKET,
            resolution=Resolution.REPAIRED,
            causes=[_CAUSE],
            says="The joint between the boards was corroded; it was cleaned and joined again.",
            operator=WHO,
        )
        await ask_over(self.client, "job-close", closing)

    async def _run(self, sequence: str, inputs: Mapping[str, str] | None = None) -> Verdict:
        """Run a sequence of the job to its verdict, and show it. Raises WakerailError unless it passed."""
        request = RunSequence(sequence=sequence, inputs=dict(inputs or {}), job=TICKET, operator=WHO)
        with AttendedScreen(self.hands) as screen:
            verdict = await follow_run(self.client, request, screen, asyncio.Event())
        signs = signs_for(ascii_only=self.console.options.ascii_only)
        self.console.print(Text.assemble("\n  ", signs.word(verdict.outcome), f"   {sequence}: {verdict.finding}"))
        self._say(verdict.reason)
        if verdict.outcome is not Outcome.PASSED:
            raise WakerailError(
                f"{sequence} {verdict.outcome}, {verdict.finding}: {verdict.reason} The demo ends here."
            )
        return verdict

    async def _enter(self, stage: JobStage, says: str) -> None:
        await ask_over(self.client, "job-stage", EnterStage(job=TICKET, stage=stage, operator=WHO))
        self._chapter(stage.value.capitalize(), says)

    async def _note(self, text: str, spent_s: float | None = None) -> None:
        await ask_over(self.client, "job-note", NoteJob(job=TICKET, text=text, spent_s=spent_s, operator=WHO))

    def _chapter(self, title: str, says: str) -> None:
        self.console.print()
        self.console.rule(f"[bold]{title}", align="left")
        self._say(says)

    def _say(self, says: str) -> None:
        self.console.print(indented(says))

    def _hand(self, does: str) -> None:
        self.console.print(f"  ☞ {does}", style="bold")
