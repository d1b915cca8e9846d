"""The report of a job, made of what was read from the journal: pure, the same material gives the same report."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime

from wakerail.jobs import Job, Kept, NoteKept
from wakerail.jobs.forgetting import empty
from wakerail.planning.model import FamilyPlan
from wakerail.report.job.material import Material, RunSeen
from wakerail.report.job.photos import NotShown, Photo
from wakerail.report.job.plain_words import cause_titles, found_in_plain_words, unplugged
from wakerail.report.job.telling_isolation import isolation_told
from wakerail_kit.clock import rfc3339
from wakerail_kit.events import type_of
from wakerail_kit.job_events import (
    JobFileKept,
    JobNoted,
    JobPartUsed,
    JobPaused,
    JobResumed,
    JobStageEntered,
)
from wakerail_kit.job_report import (
    ChartReported,
    Deed,
    FileKept,
    FunctionChecked,
    InstrumentReported,
    JobReport,
    PartUsed,
    RunReported,
)
from wakerail_kit.outcome import Outcome

_JUDGED = {Outcome.PASSED, Outcome.FAILED}
_REMOVED = "(removed)"
#: What a sequence as a whole, and what a step of any sequence checks of the device.
_CHECKED = {"rail-check": "It takes no power before it is switched on", "port-check": "The lines of the charge port"}
_STEPS = {"watch": "It starts, and stays on", "usb-mode": "It shows on USB", "charge": "It charges"}
_ANSWERS = {"yes": Outcome.PASSED, "no": Outcome.FAILED}
#: What holds for every device, whatever was run (common practice, no source).
_CAUTIONS = (
    "A device that was opened may be less tight against water and dust than when it was new.",
    "A lithium cell that swells, gets hot or smells must not be charged or used; follow local rules.",
)


def report_of(
    material: Material,
    *,
    plan: FamilyPlan | None,
    device: str,
    charts: Sequence[ChartReported],
    made: datetime,
    software_version: str,
) -> JobReport:
    """Return the report of a job.

    ``plan`` is that of its family, None if it is not known here; ``device`` is what a person calls the family; ``made``
    is now.
    """
    if material.job.forgotten:
        material = replace(material, job=_without_personal(material.job))
    job = material.job
    isolation = isolation_told(job, plan, material.others)
    titles = {} if plan is None else {cause.name: cause.title for cause in plan.causes}
    causes = cause_titles(material, titles)
    notes = [note.what for note in job.kept if isinstance(note.what, JobNoted)]
    return JobReport(
        job=job.name,
        family=job.family,
        device=device or job.family,
        made=rfc3339(made),
        software_version=software_version,
        interim=job.closed is None,
        state=job.state.value,
        stage=job.stage.value,
        opened=job.opened,
        closed=job.closed_at,
        resolution=None if job.closed is None else job.closed.resolution.value,
        benches=_once([job.bench, *(note.bench for note in job.kept), *(run.summary.bench for run in material.runs)]),
        operators=_once(_operators(material)),
        forgotten=job.forgotten,
        intake=job.intake,
        found_for_customer=found_in_plain_words(material, causes),
        causes=causes,
        closing="" if job.closed is None else job.closed.says,
        deeds=_deeds(job),
        parts=_parts(job),
        files=_files(material),
        spent_s=job.spent_s,
        spent_by_stage_s={
            stage: sum(note.spent_s or 0.0 for note in notes if note.stage == stage)
            for stage in _once(note.stage.value for note in notes if note.spent_s)
        },
        runs=[_run(run) for run in material.runs],
        charts=list(charts),
        isolation=isolation,
        functions=_functions(material),
        instruments=_instruments(material.runs),
        cautions=_once([*(caution for run in material.runs for caution in _cautions(run)), *_CAUTIONS]),
    )


def _without_personal(job: Job) -> Job:
    """Return a job without what is personal in it, whatever a copy of its events may still hold."""
    kept = tuple(replace(note, what=empty(note.what)) for note in job.kept)
    closed = None if job.closed is None else empty(job.closed)
    return replace(job, intake=empty(job.intake), kept=kept, closed=closed)


def _once(names: Iterable[str]) -> list[str]:
    return [name for name in dict.fromkeys(names) if name]


def _operators(material: Material) -> Iterable[str]:
    yield material.job.operator
    yield from (note.what.operator for note in material.job.kept)
    yield from (run.summary.operator for run in material.runs)


def _deeds(job: Job) -> list[Deed]:
    """Return what was done, in its order: what was noted and kept, and how it was closed."""
    deeds = [_deed(note, forgotten=job.forgotten) for note in job.kept]
    if job.closed is not None and job.closed_at is not None:
        causes = f"; at fault: {', '.join(job.closed.causes)}" if job.closed.causes else ""
        deeds.append(
            Deed(
                time=job.closed_at,
                bench=job.bench,
                event=_name(job.closed),
                row=job.closed_row,
                says=f"Closed: {job.closed.resolution}{causes}",
                operator=job.closed.operator,
            )
        )
    return deeds


def _deed(note: NoteKept, *, forgotten: bool) -> Deed:
    what = note.what
    says, removed = _said(what), False
    if forgotten and isinstance(what, JobNoted | JobFileKept | JobPaused) and not says:
        says, removed = _REMOVED, True
    return Deed(
        time=note.time,
        bench=note.bench,
        event=_name(what),
        row=note.row,
        stage=getattr(what, "stage", ""),
        says=says,
        spent_s=what.spent_s if isinstance(what, JobNoted) else None,
        operator=what.operator,
        removed=removed,
    )


def _name(data: object) -> str:
    return type_of(type(data)).split(".")[1]  # type: ignore[arg-type]


def _said(what: Kept) -> str:
    match what:
        case JobNoted(text=text):
            return text
        case JobPartUsed(part=part, count=count):
            return f"Part used: {part}" + (f", {count} of it" if count != 1 else "")
        case JobFileKept(name=name, says=says):
            return ": ".join(filter(None, (f"File kept: {name}" if name else "", says)))
        case JobStageEntered(stage=stage):
            return f"On to {stage}"
        case JobPaused(why=why):
            return f"Paused: {why}" if why else "Paused"
        case JobResumed():
            return "Went on"


def _parts(job: Job) -> list[PartUsed]:
    used: dict[str, PartUsed] = {}
    for note in job.kept:
        if isinstance(note.what, JobPartUsed):
            before = used.get(note.what.part, PartUsed(part=note.what.part, count=0))
            used[note.what.part] = PartUsed(
                part=before.part, count=before.count + note.what.count, rows=[*before.rows, note.row]
            )
    return list(used.values())


def _files(material: Material) -> list[FileKept]:
    """Return the files in the order in which they were kept; those that are shown are numbered in it."""
    found: list[FileKept] = []
    numbers = itertools.count(1)
    for note in material.job.kept:
        if not isinstance(what := note.what, JobFileKept):
            continue
        photo = material.photos.get(what.sha256)
        found.append(
            FileKept(
                time=note.time,
                stage=what.stage,
                name=what.name,
                says=what.says,
                media_type=what.media_type,
                size_bytes=what.size_bytes,
                sha256=what.sha256,
                row=note.row,
                photo=next(numbers) if isinstance(photo, Photo) else None,
                not_shown=photo.why if isinstance(photo, NotShown) else "",
                lost=isinstance(photo, NotShown) and photo.lost,
                removed=not what.sha256,
            )
        )
    return found


def _run(run: RunSeen) -> RunReported:
    summary = run.summary
    return RunReported(
        run=summary.run,
        bench=summary.bench,
        sequence=summary.sequence,
        started=summary.started,
        first_row=summary.first_row,
        last_row=summary.last_row,
        cut_off=summary.cut_off,
        verdict=run.verdict,
        verdict_row=run.verdict_row,
    )


def _functions(material: Material) -> list[FunctionChecked]:
    """Return what was checked of the device, the newest result of each: by sequences and steps, and by a person."""
    found: dict[str, FunctionChecked] = {}

    def add(run: RunSeen, says: str, outcome: Outcome | None, detail: str) -> None:
        found[says] = FunctionChecked(says=says, outcome=outcome, detail=detail, run=run.summary.run)

    for run in material.runs:
        if run.verdict is None:
            continue
        name, off = run.verdict.sequence.name, unplugged(material.job, run.summary.run)
        if name in _CHECKED and run.verdict.outcome in _JUDGED:
            add(run, _CHECKED[name], run.verdict.outcome, run.verdict.finding)
        for step in run.verdict.steps:
            if step.verb in _STEPS and step.outcome in _JUDGED:
                without = f", with {', '.join(off)} off" if off else ""
                add(run, _STEPS[step.verb], step.outcome, f"measured{without}")
        for asked, choice, note in run.answers:
            said = choice or "nobody looked"
            add(run, asked, _ANSWERS.get(choice), f"{said}: {note}" if note and not material.job.forgotten else said)
    return list(found.values())


def _instruments(runs: Iterable[RunSeen]) -> list[InstrumentReported]:
    found: dict[tuple[object, ...], InstrumentReported] = {}
    for run in runs:
        for used in run.verdict.instruments if run.verdict is not None else ():
            bench = run.summary.bench
            who = used.identity.text if used.identity is not None else ""
            known = (bench, used.instrument, who, used.calibrated)
            if known not in found:
                found[known] = InstrumentReported(
                    bench=bench,
                    instrument=used.instrument,
                    kind=used.kind,
                    identity=used.identity,
                    calibrated=used.calibrated,
                )
            if run.summary.run not in found[known].runs:
                found[known].runs.append(run.summary.run)
    return list(found.values())


def _cautions(run: RunSeen) -> list[str]:
    return run.verdict.cautions if run.verdict is not None else []
