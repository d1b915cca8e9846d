"""What happens to a job, from intake to handover, and in the isolation of its cause.

A job is named by its ticket. Its events go out on ``job/<job>/event``; in their order they are the job.
A run belongs to a job by its ``RunStarted``. Fields that are ``Personal`` are emptied when the job is to be forgotten;
their JSON Schema says ``x-personal``, so that whoever keeps these events elsewhere knows what to empty, too.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

from msgspec import Meta, Struct

from wakerail_kit.event_data import EventData

PERSONAL = Meta(extra_json_schema={"x-personal": True})
Personal = Annotated[str, PERSONAL]


class JobStage(StrEnum):
    """Where the work on a device stands."""

    INTAKE = "intake"
    TRIAGE = "triage"
    ISOLATE = "isolate"
    BOARD = "board"
    REWORK = "rework"
    PROOF = "proof"
    HANDOVER = "handover"


class Resolution(StrEnum):
    """How a job was closed."""

    REPAIRED = "repaired"
    NO_FAULT_FOUND = "no-fault-found"
    NOT_REPAIRED = "not-repaired"


class Intake(Struct, frozen=True, kw_only=True):
    """What was said and seen when the device came in; texts of a person's own, empty where nobody said.

    ``keep`` is what the customer must not lose (their data).
    """

    symptom: str
    serial: Personal = ""
    exposure: str = ""
    condition: str = ""
    keep: Personal = ""
    customer: Personal = ""
    words: Personal = ""


class JobOpened(EventData, frozen=True, kw_only=True):
    """A device came in."""

    job: str
    family: str
    intake: Intake
    operator: str = ""


class JobStageEntered(EventData, frozen=True, kw_only=True):
    """The work on a job went to another stage, in any order."""

    job: str
    stage: JobStage
    operator: str = ""


class JobNoted(EventData, frozen=True, kw_only=True):
    """Something was noted, with the time it took if anyone said."""

    job: str
    stage: JobStage
    text: Personal
    spent_s: float | None = None
    operator: str = ""


class JobPartUsed(EventData, frozen=True, kw_only=True):
    """A part went into the device."""

    job: str
    stage: JobStage
    part: str
    count: int = 1
    operator: str = ""


class JobFileKept(EventData, frozen=True, kw_only=True):
    """A photo or another file was kept, by the SHA-256 of its bytes; empty once it was forgotten."""

    job: str
    stage: JobStage
    sha256: Personal
    name: Personal
    media_type: Personal
    size_bytes: Annotated[int, PERSONAL]
    says: Personal = ""
    operator: str = ""


class JobPaused(EventData, frozen=True, kw_only=True):
    """The job waits, for a part or for another day."""

    job: str
    why: Personal = ""
    operator: str = ""


class JobResumed(EventData, frozen=True, kw_only=True):
    """The job goes on, on the bench that says so; a closed one is open again."""

    job: str
    operator: str = ""


class JobClosed(EventData, frozen=True, kw_only=True):
    """The job is done. ``causes`` are those of the family's plan that were found; one or two teach the next plans."""

    job: str
    resolution: Resolution
    causes: list[str] = []
    says: Personal = ""
    operator: str = ""


class JobForgotten(EventData, frozen=True, kw_only=True):
    """What was personal in the job's earlier events was emptied, and its files were removed."""

    job: str
    operator: str = ""


class IsolationAdvised(EventData, frozen=True, kw_only=True):
    """What to do next, and why, after so many observations: a ``try``, a ``check`` (``name``) or the ``end``.

    ``shares`` are the likelihoods of the causes then; ``expected_s`` the cost still to be expected.
    """

    job: str
    after: int
    kind: str
    says: str
    to_do: list[str] = []
    to_undo: list[str] = []
    name: str = ""
    shares: dict[str, float]
    expected_s: float = 0.0


class IsolationObserved(EventData, frozen=True, kw_only=True):
    """Something was seen that tells of the cause: a ``boot``, the verdict of a ``check`` or a ``sign``.

    ``name`` is that of the check or the sign; of a boot the finding of its run, empty where a person typed it.
    ``done`` are the plan's actions that were done then, ``certainty`` how sure it is that the fault was seen or the
    check failed, ``interval_s`` the time from boot to boot. ``by_itself``: it may have restarted for want of a part
    that was off, which is no fault and no cadence of one. ``number`` counts from 1 and is never used twice.
    """

    job: str
    number: int
    kind: str
    name: str = ""
    done: list[str] = []
    certainty: float = 1.0
    interval_s: float | None = None
    by_itself: bool = False
    run: str | None = None
    says: str
    operator: str = ""


class IsolationUndone(EventData, frozen=True, kw_only=True):
    """An observation was wrong: it counts no more."""

    job: str
    number: int
    operator: str = ""


class IsolationEnded(EventData, frozen=True, kw_only=True):
    """The isolation came to its end: ``confirmed``, ``the board itself`` or ``inconclusive``."""

    job: str
    sort: str
    causes: list[str]
    probability: float
    says: str
