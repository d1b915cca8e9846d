"""``wakerail demo --plan``: a job from its opening to its closing, its cause isolated on the simulated bench."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from wakerail.bus import BusClient
from wakerail.cli.bench import ask_over
from wakerail.cli.following import follow_run
from wakerail.cli.isolating import Isolating, Said
from wakerail.cli.report import report
from wakerail.cli.run import Screen
from wakerail.cli.session import Session, simulated_bench
from wakerail.cli.terminal import Reply
from wakerail.config import shipped
from wakerail.family_plans import load_family_plans
from wakerail.planning.model import CauseSort, FamilyPlan
from wakerail_kit.job_events import Resolution
from wakerail_kit.job_requests import CloseJob, NoteJob, OpenJob
from wakerail_kit.messages import Prompt, RunSequence
from wakerail_kit.plan_requests import Deed
from wakerail_sim.hands import tell

FAMILY, TICKET, WHO = "fenmoor-t3", "t-1042", "demo"
#: What is wrong, and how the device is: without its front sensor it restarts by itself.
FAULTS = ("part-restart:scanner", "missing-part-restart:front-sensor")
#: As short as a clean boot can be told in, with two rounds of the fault.
_WINDOW = "18 s"


@dataclass
class SimulatedHands:
    """Hands that do on the simulated bench what they are asked, and press the power button at a prompt."""

    folder: Path
    plan: FamilyPlan
    console: Console

    @property
    def prompts(self) -> Callable[[Prompt], Reply] | None:
        return lambda _: Reply(confirmed=tell(self.folder, "press power-button") == "ok")

    async def do(self, question: str, deed: Deed | None, *, undo: bool) -> Said:
        self.console.print(f"  [bold]{question}[/bold]  (the simulated hands do it)")
        parts: Sequence[str] = () if deed is None else sorted(self.plan.action[deed.action].disconnects)
        for part in parts:
            done = await asyncio.to_thread(tell, self.folder, f"{'replug' if undo else 'unplug'} {part}")
            if done != "ok":
                return Said.STOP
        return Said.DONE

    def replace(self, part: str) -> None:
        """Put a sound part in."""
        tell(self.folder, f"replace {part}")

    def connect_all(self) -> None:
        """Plug in again whatever is still unplugged."""
        off = tell(self.folder, "state").rpartition("unplugged=")[2]
        for part in off.split(",") if off != "-" else ():
            tell(self.folder, f"replug {part}")


def demo_plan(scratch: Path, faults: Sequence[str], out: Path, console: Console) -> None:
    """Open a job, isolate its cause on a simulated bench, close it, and write its report into ``out``.

    Raises what the daemon refuses.
    """
    options = [option for text in faults or FAULTS for option in ("--fault", text)]
    with simulated_bench(scratch, "demo", options) as session:
        asyncio.run(_job(session, console))
    report(TICKET, out=out, journal=str(scratch / "demo.sqlite"))


async def _job(session: Session, console: Console) -> None:
    plan = load_family_plans(shipped("devices"))[FAMILY]
    async with BusClient(session.url, session.bench) as client:
        intake = OpenJob(
            family=FAMILY, ticket=TICKET, symptom="restarts over and over", exposure="rain, last week", operator=WHO
        )
        await ask_over(client, "job-open", intake)
        console.print(f"  job {TICKET} is open: {intake.symptom}")
        hands = SimulatedHands(session.folder, plan, console)
        isolating = Isolating(
            client=client, console=console, hands=hands, job=TICKET, operator=WHO, inputs={"window": _WINDOW}
        )
        end = (await isolating.go()).next
        mended = [cause for cause in end.causes if plan.cause[cause].sort is CauseSort.PART]
        for part in mended:
            console.print(f"\n  [bold]A sound {part} goes in[/bold]  (the simulated hands do it)")
            await asyncio.to_thread(hands.replace, part)
            await ask_over(client, "job-note", NoteJob(job=TICKET, part=part, operator=WHO))
        if mended:
            await asyncio.to_thread(hands.connect_all)
            last = RunSequence(sequence="boot-watch", inputs={"window": _WINDOW}, job=TICKET, operator=WHO)
            with Screen(as_json=False, do=hands.prompts) as screen:
                verdict = await follow_run(client, last, screen, asyncio.Event())
            console.print(f"  boot-watch with everything connected: {verdict.outcome}, {verdict.finding}")
        closing = CloseJob(
            job=TICKET,
            resolution=Resolution.REPAIRED if mended else Resolution.NOT_REPAIRED,
            causes=end.causes[:2],
            says="The part that was found was replaced." if mended else "",
            operator=WHO,
        )
        await ask_over(client, "job-close", closing)
        console.print(
            f"\n  job {TICKET} is closed: {closing.resolution}; the next plan of {FAMILY} has learned from it"
        )
