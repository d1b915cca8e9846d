"""A job as a bench writes it into a real journal: intake, runs with their samples, the isolation, and the end."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wakerail.config import shipped
from wakerail.family_plans import load_family_plans
from wakerail.jobs import JobBook
from wakerail.jobs.isolation import isolation_of
from wakerail.jobs.plan_answers import advised, answer_of, ended
from wakerail.journal import Journal, JournalReader
from wakerail.report.job.charts import Chart, charts_of
from wakerail.report.job.job_report import report_of
from wakerail.report.job.material import Material, read_material
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock, rfc3339
from wakerail_kit.event_data import EventData
from wakerail_kit.events import (
    HeatLimit,
    HeatStage,
    HeatStageStarted,
    HeatStarted,
    OnsetSeen,
    PromptAnswered,
    RestartSeen,
    RunStarted,
    StepStarted,
    make_event,
)
from wakerail_kit.job_events import (
    Intake,
    IsolationObserved,
    JobClosed,
    JobNoted,
    JobOpened,
    JobPartUsed,
    JobStage,
    JobStageEntered,
    Resolution,
)
from wakerail_kit.job_report import JobReport
from wakerail_kit.messages import Frame, Identity, InstrumentUsed, Measurement, Prompt, SequenceRef, StepResult, Verdict
from wakerail_kit.outcome import Finding, Outcome

BENCH, FAMILY = "bench-1", "fenmoor-t3"
PLAN = load_family_plans(shipped("devices"))[FAMILY]
MADE = datetime(2026, 11, 27, 16, 5, tzinfo=UTC)
SUPPLY = InstrumentUsed(
    role="supply", instrument="supply", kind="power-source", driver="supply", dialect="scpi-1999",
    identity=Identity(text="Tarnwick,PS-206,SN3307,2.1", maker="Tarnwick", model="PS-206", serial="SN3307"),
    calibrated="2026-03-01",
)  # fmt: skip
PLATE = InstrumentUsed(role="plate", instrument="plate", kind="heat-source", driver="plate")
INTAKE = Intake(
    symptom="restarts over and over, since the night shift",
    serial="T3-004417",
    exposure="wet warehouse, condensation",
    condition="scratched, never opened",
    keep="the day's counts, not uploaded yet",
    words="It came back on by itself, and then it did that again and again.",
)


class Bench:
    """Writes one job, and moves its clock as the work would."""

    def __init__(self, path: Path, job: str = "t-114") -> None:
        self.path, self.job = path, job
        self.clock = SimulatedClock(datetime(2026, 11, 27, 8, 0, tzinfo=UTC))
        self.runs: list[str] = []

    async def open(self, intake: Intake = INTAKE) -> None:
        self.journal = await Journal.open(self.path, bench=BENCH, clock=self.clock)
        await self.happens(JobOpened(job=self.job, family=FAMILY, intake=intake, operator="mara"))

    async def close(self) -> None:
        await self.journal.close()

    async def happens(self, data: EventData, minutes: float = 2.0) -> None:
        self.clock.advance(60 * minutes)
        event = make_event(data, clock=self.clock, bench=BENCH, owner="job", subject=self.job)
        await self.journal.append(topics.job(BENCH, self.job), event)

    async def stage(self, stage: JobStage) -> None:
        await self.happens(JobStageEntered(job=self.job, stage=stage, operator="mara"))

    async def note(self, text: str, stage: JobStage, minutes: float | None = None) -> None:
        spent_s = None if minutes is None else 60 * minutes
        await self.happens(JobNoted(job=self.job, stage=stage, text=text, spent_s=spent_s, operator="mara"))

    async def boot(self, restarts: int = 0, length_s: float = 20.0, interval_s: float = 3.2) -> str:
        """Run a boot watch; return its run."""
        run = await self._begin("boot-watch", {"supply": "supply"}, "watch", "Watch the boot")
        start_s = self.clock.monotonic_s()
        onset_s = 1.0
        falls_s = [onset_s + (number + 1) * interval_s - 0.4 for number in range(restarts)]
        t_s = np.arange(0.0, length_s, 0.05)
        noise = np.random.default_rng(len(self.runs))
        current_a = _boot_a(t_s, onset_s, falls_s) + noise.normal(0, 0.004, t_s.size)
        signals = {"current": np.maximum(current_a, 0.0003), "voltage": 3.85 - 0.03 * current_a}
        self.journal.append_frame(self._frame("supply", t_s + start_s, signals, {"current": "A", "voltage": "V"}), run)
        await self._told(OnsetSeen(run=run, at_s=start_s + onset_s, level_a=0.09), run)
        for number, fell_s in enumerate(falls_s, 1):
            moments = {"at_s": start_s + fell_s, "again_s": start_s + fell_s + 0.4}
            seen = RestartSeen(run=run, number=number, evidence=["collapse"], says="fell", probability=0.99, **moments)
            await self._told(seen, run)
        self.clock.advance(length_s)
        measured = [
            Measurement(name="peak-current", value=0.98, unit="A", high=3.0, outcome=Outcome.PASSED),
            Measurement(name="certainty", value=0.99, unit="1", outcome=Outcome.PASSED),
        ]
        finding, outcome, reason = Finding.RUNNING, Outcome.PASSED, f"It started and stayed up for {length_s:g} s."
        if restarts:
            finding, outcome = Finding.RESTARTING, Outcome.FAILED
            reason = f"It restarted {restarts} times in {length_s:g} s, every {interval_s:g} s."
            count = Measurement(name="restarts", value=float(restarts), unit="1", high=0.0, outcome=Outcome.FAILED)
            every = Measurement(
                name="restart-interval", value=interval_s, unit="s", uncertainty=0.05, outcome=Outcome.PASSED
            )
            measured[1:1] = [count, every]
        watch = {"verb": "watch", "title": "Watch the boot", "outcome": outcome, "finding": finding}
        steps = [StepResult(number=1, duration_s=length_s, **watch)]
        return await self._end(run, "boot-watch", outcome, finding, reason, steps, measured, [SUPPLY])

    async def checks(self, sequence: str, *steps: StepResult, finding: Finding = Finding.CHECKS_PASSED) -> str:
        """Run a sequence of checks, which is as good as its worst step."""
        run = await self._begin(sequence, {}, steps[0].verb, steps[0].title)
        self.clock.advance(10)
        bad = next((step.outcome for step in steps if step.outcome is not Outcome.PASSED), Outcome.PASSED)
        return await self._end(run, sequence, bad or Outcome.PASSED, finding, "As its steps were.", list(steps), [], [])

    async def proof(self, answers: dict[str, str]) -> str:
        """Ask of each function; an empty answer stands for one that is not there."""
        run = await self._begin("proof", {}, "checklist", "Try every function")
        for number, (asks, choice) in enumerate(answers.items()):
            now = rfc3339(self.clock.now())
            fields = {"id": f"p-{number}", "bench": BENCH, "run": run, "step": 1, "time": now}
            prompt = Prompt(text=asks, choices=["yes", "no", "not there"], **fields)
            await self.journal.append(topics.run(BENCH, run, "prompt"), prompt)
            said = {"choice": choice or "not there", "note": "it rattles" if choice == "no" else ""}
            await self._told(PromptAnswered(run=run, prompt=prompt.id, confirmed=True, **said), run)
            self.clock.advance(20)
        step = StepResult(number=1, verb="checklist", title="Try every function", outcome=Outcome.FAILED)
        said = ("1 of 2 functions failed: speaker (it rattles).", [step], [], [])
        return await self._end(run, "proof", Outcome.FAILED, Finding.FUNCTION_FAILED, *said)

    async def heat(self) -> str:
        """Separate the boards on the plate."""
        run = await self._begin("separate", {"plate": "plate"}, "heat", "Heat the boards")
        start_s = self.clock.monotonic_s()
        stages = [
            HeatStage(kind="ramp", temperature_c=230, time_s=360),
            HeatStage(kind="hold", temperature_c=230, time_s=120),
        ]
        limit = HeatLimit(figure="peak", unit="Cel", high=245.0, source="IPC/JEDEC J-STD-020D, lowest Pb-free Tc")
        heat = HeatStarted(
            run=run, instrument="plate", at_s=start_s, family=FAMILY, profile="separate", alloy="SAC305",
            liquidus_c=220.0, liquidus_source="a table", ceiling_c=245.0, touch_c=48.0, touch_source="a standard",
            present_left_s=180.0, stages=stages, limits=[limit],
        )  # fmt: skip
        await self._told(heat, run)
        for number, (kind, at_s) in enumerate((("ramp", 0.0), ("hold", 120.0), ("cool", 240.0)), 1):
            told = HeatStageStarted(run=run, number=number, kind=kind, at_s=start_s + at_s, temperature_c=230.0)
            await self._told(told, run)
        t_s = np.arange(0.0, 900.0, 1.0)
        hot = 22 + 209 * (1 - np.exp(-np.minimum(t_s, 240) / 28))
        plate_c = np.where(t_s < 240, hot, 22 + (hot[239] - 22) * np.exp(-(t_s - 240) / 280))
        plate_c += np.random.default_rng(1).normal(0, 0.1, t_s.size)
        signals = {"temperature": plate_c, "heater": (t_s < 240).astype(float)}
        self.journal.append_frame(
            self._frame("plate", t_s + start_s, signals, {"temperature": "Cel", "heater": "1"}), run
        )
        self.clock.advance(900)
        peak = float(plate_c.max())
        measured = [
            Measurement(name="peak", value=peak, unit="Cel", high=245.0, source=limit.source, outcome=Outcome.PASSED)
        ]
        steps = [StepResult(number=1, verb="heat", title="Heat the boards", outcome=Outcome.PASSED, duration_s=900.0)]
        reason = "The plate kept to its profile."
        finding = Finding.PROFILE_KEPT
        return await self._end(run, "separate", Outcome.PASSED, finding, reason, steps, measured, [PLATE])

    async def advise(self) -> None:
        """Let the plan say what is next, as the daemon would."""
        with JournalReader(self.path) as reader:
            book = JobBook(reader)
            job, jobs = book.job(self.job), book.jobs()
        answer = answer_of(isolation_of(job, PLAN, jobs), jobs)
        await self.happens(advised(answer), 0.01)
        if (end := ended(answer)) is not None:
            await self.happens(end, 0.01)

    async def observe(self, number: int, says: str, *done: str, shown: float, run: str) -> None:
        """Observe a boot; the fault restarts it every 3.2 s."""
        seen = IsolationObserved(
            job=self.job, number=number, kind="boot", done=sorted(done), certainty=shown, run=run, says=says,
            interval_s=3.2 if shown > 0.5 else None,
        )  # fmt: skip
        await self.happens(seen, 0.1)
        await self.advise()

    async def _begin(self, sequence: str, roles: dict[str, str], verb: str, title: str) -> str:
        self.clock.advance(90)
        run = f"01a219c6-c81c-7b3b-a695-{len(self.runs):012d}"
        self.runs.append(run)
        now_s = self.clock.monotonic_s()
        started = RunStarted(run=run, sequence=sequence, inputs={}, roles=roles, cautions=[], job=self.job, at_s=now_s)
        await self._told(started, run)
        self._started = rfc3339(self.clock.now())
        await self._told(StepStarted(run=run, number=1, verb=verb, title=title, at_s=now_s), run)
        return run

    async def _told(self, data: EventData, run: str) -> None:
        event = make_event(data, clock=self.clock, bench=BENCH, owner="sequence", run=run)
        await self.journal.append(topics.run(BENCH, run, "event"), event)

    async def _end(
        self, run: str, sequence: str, outcome: Outcome, finding: Finding, reason: str,
        steps: list[StepResult], measured: list[Measurement], used: list[InstrumentUsed],
    ) -> str:  # fmt: skip
        verdict = Verdict(
            id=f"01a219c6-fbe1-7333-a757-{len(self.runs):012d}", bench=BENCH, run=run, job=self.job,
            sequence=SequenceRef(name=sequence, sha256="5d" * 32), inputs={"volts": "3.85 V"}, started=self._started,
            ended=rfc3339(self.clock.now()), outcome=outcome, finding=finding, reason=reason, steps=steps,
            measurements=measured, evidence=[], instruments=used, operator="mara", software_version="0.1.0",
            cautions=["Disconnect the lithium cell; bench power goes to the board alone, never to a cell."],
        )  # fmt: skip
        await self.journal.append(topics.run(BENCH, run, "verdict"), verdict)
        return run

    def _frame(self, name: str, t_s: np.ndarray, signals: dict[str, np.ndarray], units: dict[str, str]) -> Frame:
        return Frame(
            bench=BENCH, instrument=name, number=1, start=rfc3339(self.clock.now()), t_s=t_s.tolist(),
            half_width_s=[0.001] * len(t_s), signals={key: each.tolist() for key, each in signals.items()}, units=units,
        )  # fmt: skip


def _boot_a(t_s: np.ndarray, onset_s: float, falls_s: list[float]) -> np.ndarray:
    begins_s = np.array([onset_s, *(fell_s + 0.4 for fell_s in falls_s)])
    boot = np.searchsorted(begins_s, t_s, side="right") - 1
    since_s = np.where(boot >= 0, t_s - begins_s[np.maximum(boot, 0)], -1.0)
    level_a = np.select([since_s < 0, since_s < 0.4, since_s < 1.4, since_s < 6.0], [0.0, 0.09, 0.27, 0.66], 0.31)
    for fell_s in falls_s:
        level_a = np.where((t_s >= fell_s) & (t_s < fell_s + 0.4), 0.0, level_a)
    return level_a


async def whole_job(bench: Bench) -> None:
    """Write the whole job, from the intake to its end: the charge port was at fault."""
    await bench.open()
    await bench.stage(JobStage.TRIAGE)
    await bench.note("Corrosion at the charge port, white and green.", JobStage.TRIAGE, 10)
    test = StepResult(number=1, verb="test", title="Test the port as it is", outcome=Outcome.FAILED, says="CC1 leaks.")
    await bench.checks("port-check", test, finding=Finding.PORT_FAULT)
    await bench.stage(JobStage.ISOLATE)
    await bench.advise()
    first = await bench.boot(restarts=5)
    await bench.observe(1, "The fault with everything connected, every 3.2 s.", shown=0.99, run=first)
    off = ["back-cover", "scanner"]
    second = await bench.boot(restarts=5)
    await bench.observe(2, "The fault with scanner off, every 3.2 s.", *off, shown=0.99, run=second)
    third = await bench.boot()
    await bench.observe(3, "A clean boot with port-board off.", "back-cover", "port-board", shown=0.01, run=third)
    fourth = await bench.boot(restarts=5)
    await bench.observe(4, "The fault with everything connected, every 3.2 s.", shown=0.99, run=fourth)
    failed = {"kind": "check", "name": "port-check", "run": bench.runs[0], "says": "The port-check failed."}
    await bench.happens(IsolationObserved(job=bench.job, number=5, certainty=1.0, **failed), 0.1)
    await bench.advise()
    await bench.stage(JobStage.REWORK)
    await bench.heat()
    await bench.happens(JobPartUsed(job=bench.job, stage=JobStage.REWORK, part="charge port flex", operator="mara"))
    await bench.note("Port flex replaced, its pads cleaned; boards joined again.", JobStage.REWORK, 45)
    await bench.stage(JobStage.PROOF)
    await bench.boot(length_s=60.0)
    ports = StepResult(number=1, verb="test", title="Test the port as it is", outcome=Outcome.PASSED)
    await bench.checks("port-check", ports, finding=Finding.PORT_CLEAR)
    answers = {
        "Does the scanner read a label?": "yes",
        "Is the test tone clear?": "no",
        "Does it find the network?": "",
    }
    await bench.proof(answers)
    await bench.happens(
        JobClosed(
            job=bench.job, resolution=Resolution.REPAIRED, causes=["charge-port"], operator="mara",
            says="The charge port was corroded; its flex was replaced",
        )
    )  # fmt: skip
    await bench.close()


def told_of(path: Path, which: str = "last", **changes: Any) -> tuple[JobReport, list[Chart], Material]:
    """Return the report of a job in a journal, with its charts."""
    with JournalReader(path) as reader:
        material = read_material(reader, which, lambda _: None)
    charts = charts_of(material)
    given = {"plan": PLAN, "device": "Fenmoor T3 handheld data terminal", "made": MADE, "software_version": "0.1.0"}
    return report_of(material, **{**given, **changes}, charts=[chart.told for chart in charts]), charts, material


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path / "bench.sqlite")


@pytest.fixture
def told() -> Callable[..., tuple[JobReport, list[Chart], Material]]:
    return told_of


@pytest.fixture(scope="session", name="path_of_whole")
def _path_of_whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    import asyncio  # noqa: PLC0415

    bench = Bench(tmp_path_factory.mktemp("job") / "bench.sqlite")
    asyncio.run(whole_job(bench))
    return bench.path


@pytest.fixture(scope="session", name="whole")
def _whole(path_of_whole: Path) -> tuple[JobReport, list[Chart], Material]:
    """The report of a whole job."""
    return told_of(path_of_whole)
