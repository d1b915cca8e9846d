"""Requests about jobs, ``ask/job-...``. All texts are a person's own; a text that looks like a passcode is refused."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from wakerail_kit.job_events import JobStage, Resolution

#: The largest file that is kept, before it is written as base64: a photo of a telephone has 3 to 6 MB.
MAX_FILE_BYTES = 8 * 1024 * 1024
MAX_TEXT = 4000
LONGEST_SPENT_S = 7 * 86400.0

Text = Annotated[str, Meta(max_length=MAX_TEXT)]
Seconds = Annotated[float, Meta(ge=0, le=LONGEST_SPENT_S)]
Count = Annotated[int, Meta(ge=1, le=10_000)]


class OpenJob(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Open a job with the answers of the intake. It is named by its ``ticket``; without one a name is made.

    ``keep`` is what the customer must not lose, ``words`` what they say, both in words of a person's own.
    """

    family: str
    symptom: Text
    ticket: str = ""
    serial: Text = ""
    exposure: Text = ""
    condition: Text = ""
    keep: Text = ""
    customer: Text = ""
    words: Text = ""
    operator: str = ""


class NoteJob(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Note a text, the time that something took, a part that was used, or all of them.

    ``stage`` is the one the job is in, if none is named.
    """

    job: str
    text: Text = ""
    spent_s: Seconds | None = None
    part: Text = ""
    count: Count = 1
    stage: JobStage | None = None
    operator: str = ""


class KeepFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Keep a photo or another file with a job; ``content`` is base64, of at most 8 MiB."""

    job: str
    name: str
    media_type: str
    content: bytes
    says: Text = ""
    stage: JobStage | None = None
    operator: str = ""


class EnterStage(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The work on a job goes to another stage, in any order."""

    job: str
    stage: JobStage
    operator: str = ""


class PauseJob(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The job waits, for a part or for another day."""

    job: str
    why: Text = ""
    operator: str = ""


class ResumeJob(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The job goes on, on this bench; a closed one is opened again."""

    job: str
    operator: str = ""


class CloseJob(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The job is done. ``causes`` are those of the family's plan that were found, at most two."""

    job: str
    resolution: Resolution
    causes: list[str] = []
    says: Text = ""
    operator: str = ""


class ForgetJob(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Empty what is personal in a job, and remove its files. It cannot be undone, so ``confirmed`` must say so."""

    job: str
    confirmed: bool = False
    operator: str = ""


class ListJobs(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Ask for the jobs in short, newest first: all of them, or those in one ``state`` (open, paused, closed)."""

    state: str = ""


class ShowJob(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Ask for all that is known of a job; ``last`` is the one opened last."""

    job: str


JOB_VERBS: dict[str, type[Struct]] = {
    "job-open": OpenJob,
    "job-note": NoteJob,
    "job-keep": KeepFile,
    "job-stage": EnterStage,
    "job-pause": PauseJob,
    "job-resume": ResumeJob,
    "job-close": CloseJob,
    "job-forget": ForgetJob,
    "job-list": ListJobs,
    "job-show": ShowJob,
}
