"""A job as JSON: what the daemon answers, and what the command line prints with ``--json``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec

from wakerail.jobs.job import Job, NoteKept
from wakerail.journal import RunSummary
from wakerail_kit.events import type_of

Json = dict[str, Any]


def short(job: Job) -> Json:
    """Return a job in short, without anything personal."""
    return {
        "job": job.name,
        "family": job.family,
        "state": job.state.value,
        "stage": job.stage.value,
        "symptom": job.intake.symptom,
        "bench": job.bench,
        "opened": job.opened,
        "closed": job.closed_at,
        "resolution": job.closed.resolution.value if job.closed else None,
        "causes": job.closed.causes if job.closed else [],
        "spent_s": job.spent_s,
        "forgotten": job.forgotten,
    }


def whole(job: Job, runs: Sequence[RunSummary]) -> Json:
    """Return all of a job: the intake, what was noted and kept in its order, its runs, its isolation."""
    told: Json = short(job) | {
        "operator": job.operator,
        "intake": job.intake,
        "kept": [_kept(note) for note in job.kept],
        "runs": list(runs),
        "isolation": {
            "observations": job.observations,
            "advice": job.advice[-1] if job.advice else None,
            "ended": job.ended,
        },
        "closing": job.closed,
    }
    plain: Json = msgspec.to_builtins(told)
    return plain


def _kept(note: NoteKept) -> Json:
    """Return what was kept, with the name of its event (``job-noted``), its time and its bench."""
    what: Json = msgspec.to_builtins(note.what)
    del what["job"]
    return {"time": note.time, "bench": note.bench, "event": type_of(type(note.what)).split(".")[1], **what}
