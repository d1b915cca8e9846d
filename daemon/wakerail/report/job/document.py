"""The report of a job laid out in sections, in the order in which it is read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, tzinfo

from wakerail.report.job.blocks import (
    Block,
    Branching,
    Branchings,
    Cell,
    Document,
    Facts,
    Grid,
    Heading,
    Picture,
    Points,
    Print,
    Prints,
    Section,
    Tone,
    Toned,
    Words,
)
from wakerail.report.job.photos import NotShown, Photo
from wakerail.report.job.plain_words import minutes_in_words
from wakerail.report.job.words_of_facts import came_to, identity_cell, measurement_cells, outcome_words, shares_of
from wakerail.report.words import sources_of
from wakerail_kit.job_report import FileKept, JobReport, RunReported

_SHORT_ID, _SHORT_HASH = 8, 16
_NOT_SAID = Toned("not stated", Tone.QUIET)
_REMOVED = Toned("removed: what was personal in this job was forgotten", Tone.QUIET)
_STATUS = {
    "repaired": Toned("✔ Repaired", Tone.GOOD),
    "no-fault-found": Toned("? No fault found", Tone.OPEN),
    "not-repaired": Toned("✘ Not repaired", Tone.BAD),
}


def document_of(
    report: JobReport, zone: tzinfo | None = None, photos: Mapping[str, Photo | NotShown] | None = None
) -> Document:
    """Return the report as it is printed, with its times in a zone; None: that of this machine.

    ``photos`` are those that the report shows, by their SHA-256.
    """
    return _Layout(report, zone, photos or {}).document()


def _files_kept(files: Sequence[FileKept]) -> Grid:
    rows = [
        (
            file.name or Toned("(removed)", Tone.QUIET),
            file.says,
            _where_shown(file),
            Toned(file.sha256[:_SHORT_HASH], Tone.CODE),
        )
        for file in files
    ]
    return Grid("Files kept", ("File", "What it shows", "In this report", "SHA-256 begins"), rows, (23, 30, 25, 22))


def _where_shown(file: FileKept) -> Cell:
    """Return where a file is in the report, or why it is not."""
    if file.photo is not None:
        return f"photo {file.photo}"
    if file.not_shown:
        return Toned(f"not shown: {file.not_shown}", Tone.OPEN)
    return Toned("" if file.removed else "no picture", Tone.QUIET)


class _Layout:
    def __init__(self, report: JobReport, zone: tzinfo | None, photos: Mapping[str, Photo | NotShown]) -> None:
        self.report, self.zone, self.photos = report, zone, photos

    def document(self) -> Document:
        report = self.report
        sections = [
            Section("brought", "What was brought in", self._brought()),
            Section("found", "What was found", [Words(text, lead=True) for text in report.found_for_customer]),
            Section("done", "What was done", self._done()),
            Section("photos", "Photos", self._prints()),
            Section("boots", "The boots before and after", self._charts("boot-")),
            Section("heat", "The heat", self._charts("heat-")),
            Section("isolation", "How the cause was isolated", self._isolation()),
            Section("functions", "What was checked", self._functions()),
            Section("detail", "What was found, in the technician's detail", self._detail()),
            Section("instruments", "Instruments", self._instruments()),
            Section("cautions", "Cautions", [Points(report.cautions)]),
            Section("sources", "Where each figure comes from", self._sources()),
        ]
        return Document(
            title=f"{'Interim report' if report.interim else 'Report'} on job {report.job.upper()}",
            subtitle=report.device,
            status=_STATUS.get(report.resolution or "", Toned("▶ Work under way", Tone.OPEN)),
            head=self._head(),
            sections=[section for section in sections if section.blocks],
            foot=f"Job {report.job.upper()}, made {self._time(report.made)} by Wakerail {report.software_version}",
        )

    def _head(self) -> list[tuple[str, Cell]]:
        report = self.report
        facts: list[tuple[str, Cell]] = [("Device", report.device)]
        facts += self._personal("Serial number", report.intake.serial)
        if report.intake.customer:
            facts.append(("Customer", report.intake.customer))
        facts.append(("Came in", self._time(report.opened)))
        if report.closed is not None:
            facts.append(("Closed", self._time(report.closed)))
        if report.interim:
            facts.append(("Stands at", f"{report.state}, {report.stage}"))
        facts.append(("Bench", ", ".join(report.benches)))
        if report.operators:
            facts.append(("Worked on by", ", ".join(report.operators)))
        return facts

    def _personal(self, name: str, says: str) -> list[tuple[str, Cell]]:
        """Return a personal fact: removed, not stated, or as it was told."""
        if self.report.forgotten:
            return [(name, _REMOVED)]
        return [(name, says or _NOT_SAID)]

    def _brought(self) -> list[Block]:
        intake = self.report.intake
        facts: list[tuple[str, Cell]] = [
            ("What it does", intake.symptom or _NOT_SAID),
            *self._personal("In the customer's words", intake.words),
            ("Exposed to liquid", intake.exposure or _NOT_SAID),
            ("Condition", intake.condition or _NOT_SAID),
            *self._personal("Must not be lost", intake.keep),
        ]
        return [Facts(facts)]

    # --- what was done ---

    def _done(self) -> list[Block]:
        report = self.report
        lines: list[tuple[str, tuple[Cell, ...]]] = []
        for deed in report.deeds:
            says: Cell = Toned(deed.says, Tone.QUIET) if deed.removed else deed.says or "Time noted"
            spent = minutes_in_words(deed.spent_s) if deed.spent_s else ""
            lines.append((deed.time, (self._time(deed.time), deed.stage, says, spent, deed.operator, str(deed.row))))
        for run in report.runs:
            who = "" if run.verdict is None else run.verdict.operator
            where = str(run.verdict_row or run.last_row)
            lines.append(
                (run.started, (self._time(run.started), "", f"{run.sequence}: {came_to(run)}", "", who, where))
            )
        if not lines:
            return [Words("Nothing has been noted or run yet.", quiet=True)]
        lines.sort(key=lambda line: line[0])
        heads = ("When", "Stage", "What", "Time", "By", "Row")
        rows = [row for _, row in lines]
        caption = "Notes, parts and runs, in their order, each with its row in the journal"
        blocks: list[Block] = [Grid(caption, heads, rows, (20, 11, 42, 10, 10, 7), frozenset({3, 5}))]
        if report.parts:
            parts = [(part.part, str(part.count), ", ".join(map(str, part.rows))) for part in report.parts]
            blocks.append(Grid("Parts used", ("Part", "Count", "Rows"), parts, (70, 12, 18), frozenset({1, 2})))
        if report.spent_s:
            stages: list[tuple[Cell, ...]] = [
                (stage, minutes_in_words(spent_s)) for stage, spent_s in report.spent_by_stage_s.items()
            ]
            stages.append(("in all", minutes_in_words(report.spent_s)))
            blocks.append(Grid("Time that was noted", ("Stage", "Time"), stages, (85, 15), frozenset({1})))
        if report.files:
            blocks.append(_files_kept(report.files))
        return blocks

    def _prints(self) -> list[Block]:
        prints = []
        for file in self.report.files:
            photo = self.photos.get(file.sha256)
            if file.photo is not None and isinstance(photo, Photo):
                taken = f"{file.name}, {file.stage}, {self._time(file.time)}"
                says = file.says or "What it shows was not said."
                where = f"{taken}; journal row {file.row}, SHA-256 begins {file.sha256[:_SHORT_HASH]}"
                prints.append(Print(photo.jpeg, photo.width_px, photo.height_px, f"Photo {file.photo}", says, where))
        return [Prints(prints)] if prints else []

    # --- charts ---

    def _charts(self, sort: str) -> list[Block]:
        found: list[Block] = []
        runs = {run.run: run for run in self.report.runs}
        for chart in self.report.charts:
            if chart.name.startswith(sort):
                run = runs[chart.run]
                title = f"{chart.title}: {self._time(run.started)}, {came_to(run)}"
                found.append(Picture(chart.name, title, f"{chart.says} Run ends in {chart.run[-_SHORT_ID:]}."))
                if sort == "heat-" and run.verdict is not None:
                    found += self._measurements(run, f"Figures of this heat ({run.sequence})")
        return found

    # --- the isolation ---

    def _isolation(self) -> list[Block]:
        isolation = self.report.isolation
        if isolation is None:
            return []
        root = shares_of(isolation, "Before anything was seen", isolation.before)
        steps = []
        for number, step in enumerate(isolation.steps, 1):
            where = f"seen in the run that ends in {step.run[-_SHORT_ID:]}" if step.run else "typed by a person"
            other = step.other_shares
            steps.append(
                Branching(
                    title=f"Step {number}",
                    tried=step.advised,
                    seen=step.says,
                    where=f"observation {step.number}, {where}",
                    taken=shares_of(isolation, "After what was seen", step.shares),
                    other=None if other is None else shares_of(isolation, f"Had it been: {step.other_says}", other),
                )
            )
        blocks: list[Block] = [
            Words("How likely each cause was after each step, and what the opposite would have meant.", quiet=True),
            Branchings(root, steps),
        ]
        if isolation.ended is not None:
            sort, says = isolation.ended.sort, isolation.ended.says
            end = "The end" if says.lower().startswith(sort) else f"The end, {sort}"
            blocks.append(Words(f"{end}: {says}", lead=True))
        elif isolation.next and self.report.interim:
            blocks.append(Words(f"Next: {isolation.next}"))
        return blocks

    # --- checks, detail, instruments, sources ---

    def _functions(self) -> list[Block]:
        report = self.report
        if not report.functions:
            return [Words("No function has been checked.", quiet=True)]
        times = {run.run: run.started for run in report.runs}
        rows = [
            (
                one.says,
                outcome_words(one.outcome) if one.outcome else Toned("– not judged", Tone.QUIET),
                one.detail,
                self._time(times[one.run]),
            )
            for one in report.functions
        ]
        heads = ("Function", "Result", "How", "When")
        blocks: list[Block] = [Grid("Functions checked, the newest result of each", heads, rows, (40, 15, 25, 20))]
        if not any(one.says.endswith("?") for one in report.functions):
            blocks.append(Words("No checklist of functions was gone through by a person.", quiet=True))
        return blocks

    def _detail(self) -> list[Block]:
        blocks: list[Block] = []
        for run in self.report.runs:
            blocks.append(Heading(f"{run.sequence}, {self._time(run.started)}"))
            verdict = run.verdict
            if verdict is None:
                blocks.append(Words(f"{came_to(run).capitalize()}: it has no verdict.", quiet=True))
                continue
            inputs = ", ".join(f"{name} {value}" for name, value in verdict.inputs.items())
            facts: list[tuple[str, Cell]] = [("Result", outcome_words(verdict.outcome, f", {verdict.finding}"))]
            facts.append(("Why", verdict.reason))
            if inputs:
                facts.append(("With", inputs))
            blocks.append(Facts(facts))
            if not any(chart.run == run.run and chart.name.startswith("heat-") for chart in self.report.charts):
                blocks += self._measurements(run, "Measured")
        return blocks

    def _measurements(self, run: RunReported, caption: str) -> list[Block]:
        measured = run.verdict.measurements if run.verdict is not None else []
        if not measured:
            return []
        numbers = sources_of(measured)
        rows = [measurement_cells(one, numbers) for one in measured]
        heads = ("Measured", "Value", "Limit", "Result")
        caption = f"{caption}; verdict in journal row {run.verdict_row}"
        blocks: list[Block] = [Grid(caption, heads, rows, (32, 23, 28, 17), frozenset({1}))]
        if numbers:
            blocks.append(Words("  ".join(f"[{number}] {source}" for source, number in numbers.items()), quiet=True))
        return blocks

    def _instruments(self) -> list[Block]:
        rows = [
            (
                f"{one.instrument} on {one.bench}",
                one.kind,
                identity_cell(one),
                one.calibrated or _NOT_SAID,
                str(len(one.runs)),
            )
            for one in self.report.instruments
        ]
        if not rows:
            return []
        heads = ("Instrument", "Kind", "Who it says it is", "Calibrated", "Runs")
        return [Grid("Instruments used", heads, rows, (20, 17, 38, 16, 9), frozenset({4}))]

    def _sources(self) -> list[Block]:
        rows: list[tuple[Cell, ...]] = []
        for run in self.report.runs:
            verdict = run.verdict
            where = f"{run.first_row} to {run.last_row}"
            if run.verdict_row is not None:
                where += f"; verdict {run.verdict_row}"
            sha256 = verdict.sequence.sha256 if verdict is not None else "–"
            rows.append(
                (
                    Toned(run.run, Tone.CODE),
                    Toned(verdict.id if verdict is not None else "none", Tone.CODE),
                    where,
                    f"{run.sequence}",
                    Toned(sha256, Tone.CODE),
                )
            )
        if not rows:
            return []
        heads = ("Run", "Verdict", "Journal rows", "Sequence", "SHA-256 of its file")
        says = "`wakerail log show RUN` tells each of these runs; its samples are in the same journal."
        return [
            Grid("Runs and verdicts in the journal", heads, rows, (22, 22, 14, 14, 28)),
            Words(says.replace("`", ""), quiet=True),
        ]

    def _time(self, time: str) -> str:
        return datetime.fromisoformat(time).astimezone(self.zone).strftime("%Y-%m-%d\N{NO-BREAK SPACE}%H:%M")
