"""What a report is made from, read from the journal: the job, its runs with their verdicts, and what those showed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

import msgspec

from wakerail.jobs import Job, JobBook
from wakerail.journal import Entry, FileStore, JournalReader, RunSummary
from wakerail.journal.records import PROMPT
from wakerail.report.heat_record import HeatSeen
from wakerail.report.job.photos import NotShown, Photo, photos_of
from wakerail.report.run_trace import RunTrace, WatchSeen
from wakerail_kit.events import PromptAnswered, read_event, type_of
from wakerail_kit.messages import Event, Prompt, StepResult, Verdict
from wakerail_kit.outcome import Finding, Outcome

_WATCH, _HEAT = "watch", "heat"
_BOOTS = {Finding.NO_DRAW, Finding.STANDING_DRAW, Finding.HARD_SHORT, Finding.STALLED, Finding.RESTARTING}


@dataclass(frozen=True, slots=True)
class RunSeen:
    """A run of the job, with its verdict and that one's row in the journal; both None while it has none.

    ``answers`` are what a person said to questions: the question, the choice (empty if nobody looked), and a note.
    """

    summary: RunSummary
    verdict: Verdict | None = None
    verdict_row: int | None = None
    answers: tuple[tuple[str, str, str], ...] = ()

    def step(self, verb: str) -> StepResult | None:
        """Return the run's step of that verb that was done, None if it came to none."""
        steps = self.verdict.steps if self.verdict is not None else []
        return next((step for step in steps if step.verb == verb and step.outcome is not None), None)

    @property
    def boot(self) -> Finding | None:
        """What a boot that was watched came to; None if none was, or what was seen is not about the device."""
        watch = self.step(_WATCH)
        if watch is None:
            return None
        if watch.outcome is Outcome.PASSED:
            return Finding.RUNNING
        about_device = watch.outcome is Outcome.FAILED or watch.finding is Finding.STALLED
        return watch.finding if about_device and watch.finding in _BOOTS else None

    @property
    def shows_fault(self) -> bool:
        """Tell whether a boot was watched, and the device did not come up or did not stay up."""
        return self.boot not in {None, Finding.RUNNING}

    @property
    def heated(self) -> bool:
        """Tell whether a plate was heated."""
        return self.step(_HEAT) is not None


@dataclass(frozen=True, slots=True)
class Material:
    """All that a report is made from. ``runs`` are in the order in which they began; ``others`` are the shop's jobs.

    ``before`` is the boot that showed the fault first, or the first one of all; ``after`` the newest boot, if it is
    another one. ``watches`` and ``heats`` are what these boots and all heats showed, by run; ``photos`` are the
    pictures among the job's files, by their SHA-256.
    """

    job: Job
    runs: tuple[RunSeen, ...] = ()
    others: tuple[Job, ...] = ()
    before: RunSeen | None = None
    after: RunSeen | None = None
    watches: dict[str, WatchSeen] = field(default_factory=dict)
    heats: dict[str, HeatSeen] = field(default_factory=dict)
    photos: Mapping[str, Photo | NotShown] = field(default_factory=dict)


def read_material(
    reader: JournalReader, which: str, told: Callable[[str], object], files: FileStore | None = None
) -> Material:
    """Read a job, named as ``JobBook.job`` takes it. ``told`` hears what is read just now, in a few words.

    ``files`` is where the files of jobs are kept, None if nobody knows.

    Raises ConfigInvalid if there is none such, and what the reader raises.
    """
    book = JobBook(reader)
    job = book.job(which)
    told("the runs")
    runs = tuple(_seen(reader, summary) for summary in book.runs_of(job.name))
    before, after = boots_of(runs)
    watches, heats = {}, {}
    drawn = [run for run in runs if run.heated or run is before or run is after]
    for number, run in enumerate(drawn, 1):
        told(f"the samples of run {number} of {len(drawn)}")
        trace = _trace(reader.messages(run=run.summary.run))
        for chunk in reader.frames(run=run.summary.run):
            trace.take(chunk.frame())
        if run.heated and (heat := trace.heat.seen()) is not None:
            heats[run.summary.run] = heat
        elif (watch := trace.seen()) is not None:
            watches[run.summary.run] = watch
    told("the photos")
    return Material(job, runs, tuple(book.jobs()), before, after, watches, heats, photos_of(job, files))


def boots_of(runs: Iterable[RunSeen]) -> tuple[RunSeen | None, RunSeen | None]:
    """Return the boot before the work and the newest one; None where there is none, or no other one."""
    boots = [run for run in runs if run.boot is not None]
    if not boots:
        return None, None
    before = next((run for run in boots if run.shows_fault), boots[0])
    return before, boots[-1] if boots[-1] is not before else None


def _seen(reader: JournalReader, summary: RunSummary) -> RunSeen:
    for entry in reader.verdicts(run=summary.run, limit=1):
        if isinstance(entry.message, Verdict):
            return RunSeen(summary, entry.message, entry.row, _answers(reader, summary.run))
    return RunSeen(summary)


def _answers(reader: JournalReader, run: str) -> tuple[tuple[str, str, str], ...]:
    """Return what a person said to the questions of a run; a prompt to do something is none."""
    prompts = (entry.message for entry in reader.messages(run=run, type=PROMPT))
    asked = {one.id: one.text for one in prompts if isinstance(one, Prompt) and one.choices}
    if not asked:
        return ()
    events = (entry.message for entry in reader.messages(run=run, type=type_of(PromptAnswered)))
    answers = (read_event(one, PromptAnswered) for one in events if isinstance(one, Event))
    return tuple((asked[one.prompt], one.choice, one.note) for one in answers if one and one.prompt in asked)


def _trace(entries: Iterable[Entry]) -> RunTrace:
    """Return what a run's messages tell; those of another version are left out."""
    trace = RunTrace()
    for entry in entries:
        try:
            trace.take(entry.message)
        except msgspec.ValidationError:
            continue
    return trace
