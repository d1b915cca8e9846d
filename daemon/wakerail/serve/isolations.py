"""Isolations read from a journal, for the daemon and for the command line alike. Slow: reads, then reckons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from wakerail.analysis.cadence import cadence_of_restarts, reading_of
from wakerail.cadence_table import load_cadence_table
from wakerail.config import shipped
from wakerail.family_plans import load_family_plans
from wakerail.jobs import Job, JobBook
from wakerail.jobs.isolation import Isolation, isolation_of
from wakerail.jobs.plan_answers import answer_of, stats_of
from wakerail.jobs.run_tells import RunSeen, Told, told_by
from wakerail.journal import JournalReader
from wakerail.planning.course import check_done
from wakerail.planning.model import FamilyPlan
from wakerail.planning.said import read_observation
from wakerail.recordings.cadences import restarts_of_run
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest
from wakerail_kit.plan_requests import FamilyStats, PlanAdvice


@dataclass(frozen=True, slots=True)
class Isolations:
    """The isolations of the jobs in a journal of all benches; ``devices`` is where the families' plans are."""

    reader: JournalReader
    devices: Path

    def isolation(self, which: str, boots: int = 1) -> tuple[Isolation, Sequence[Job]]:
        """Return the isolation of a job, and the jobs that may have taught it. Raises ConfigInvalid."""
        book = JobBook(self.reader)
        job, jobs = book.job(which), book.jobs()
        plans = load_family_plans(self.devices)
        if job.family not in plans:
            raise ConfigInvalid(
                f"family {job.family} of job {job.name} has no plan; give it a section `plan` in {self.devices}"
            )
        return isolation_of(job, plans[job.family], jobs, boots=boots), jobs

    def advice(self, which: str, boots: int = 1, seen: Sequence[str] = ()) -> tuple[PlanAdvice, Job]:
        """Return what is next in a job's isolation, or would be if this were seen as well. Raises ConfigInvalid."""
        isolation, jobs = self.isolation(which, boots)
        for text in seen:
            isolation = isolation.with_seen(read_observation(isolation.plan, text))
        return answer_of(isolation, jobs), isolation.job

    def told(self, isolation: Isolation, run: str, done: Sequence[str] | None) -> tuple[Told, RunSeen]:
        """Return what a run tells, with these actions done, or those of the last boot. Raises ConfigInvalid."""
        verdict = self.reader.verdict(self.reader.find_run(run))
        off = isolation.course.done if done is None else frozenset(done)
        check_done(isolation.plan, off)
        restarts, onset_s = restarts_of_run(self.reader, verdict.run)
        cadence = cadence_of_restarts(restarts, onset_s)
        rows = load_cadence_table(shipped("cadence.yaml"))
        row = None if cadence is None else reading_of(cadence, rows)
        interval_s = None if cadence is None else cadence.median_s
        if interval_s is None and restarts and onset_s is not None and restarts[0].again_s > onset_s:
            interval_s = restarts[0].again_s - onset_s
        seen = RunSeen(verdict, off, interval_s, None if row is None else row.name)
        return told_by(isolation, seen, frozenset(one.name for one in rows)), seen

    def stats(self, family: str = "") -> list[FamilyStats]:
        """Return what the shop has seen of a family, or of all that have a plan. Raises ConfigInvalid."""
        plans = load_family_plans(self.devices)
        if family and family not in plans:
            raise ConfigInvalid(f"family {family!r} has no plan; {nearest(family, plans)}")
        book = JobBook(self.reader)
        jobs = {job.name: job for job in book.jobs()}
        wanted: list[FamilyPlan] = [plan for name, plan in plans.items() if family in {"", name}]
        return [stats_of(plan, jobs, book.events()) for plan in wanted]
