"""What travels on the bus and lies in the journal: frames, status, events, prompts, verdicts, requests.

Every one is a msgspec struct, so that JSON and JSON Schema come from the same lines. Wall times are
RFC 3339 text in UTC; ``t_s`` are monotonic seconds of the daemon's clock.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any

import msgspec
from msgspec import Meta, Struct

from wakerail_kit.job_requests import JOB_VERBS
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.plan_requests import PLAN_VERBS

VERDICT_SCHEMA_VERSION = 1

#: The measurement of a boot watch that says how sure its finding is, from 0 to 1.
CERTAINTY = "certainty"


class Identity(Struct, frozen=True, kw_only=True):
    """Who an instrument says it is. Empty text where it does not say."""

    text: str
    maker: str = ""
    model: str = ""
    serial: str = ""
    firmware: str = ""


class Frame(Struct, frozen=True, kw_only=True):
    """A batch of samples from one instrument, oldest first.

    ``t_s``, ``half_width_s`` and every list in ``signals`` have the same length, at least 1. ``half_width_s``
    is the uncertainty of each time: half of the span between query and answer. A sample that the
    instrument could not give is None. ``number`` counts frames of this instrument from 1, so that a
    gap shows; ``start`` is the civil time of ``t_s[0]``.
    """

    bench: str
    instrument: str
    number: int
    start: str
    t_s: list[float]
    half_width_s: list[float]
    signals: dict[str, list[float | None]]
    units: dict[str, str]


class InstrumentState(StrEnum):
    """Where an instrument stands; ``gone`` is what the last will says when the daemon died."""

    CONNECTING = "connecting"
    READY = "ready"
    UNAVAILABLE = "unavailable"
    TRIPPED = "tripped"
    STOPPED = "stopped"
    GONE = "gone"


class Status(Struct, frozen=True, kw_only=True):
    """An instrument's (or the daemon's) state, retained on the bus. ``words`` says it to a person."""

    bench: str
    instrument: str
    state: InstrumentState
    words: str
    since: str
    kind: str = ""
    driver: str = ""
    address: str = ""
    identity: Identity | None = None


class Event(Struct, frozen=True, kw_only=True, omit_defaults=False):
    """Something that happened: a CloudEvents 1.0 event in JSON.

    ``type`` names the struct in ``wakerail_kit.events`` that ``data`` follows. The extension attributes
    ``runid`` and ``causeid`` join an event to the run and the event that it came from.
    """

    specversion: str = "1.0"
    id: str
    source: str
    type: str
    time: str
    subject: str | None = None
    datacontenttype: str = "application/json"
    runid: str | None = None
    causeid: str | None = None
    data: dict[str, Any]


class Prompt(Struct, frozen=True, kw_only=True):
    """An instruction that a person confirms before a run goes on. With ``choices`` it is a question: one of them."""

    id: str
    bench: str
    run: str
    step: int
    text: str
    choices: list[str] = []
    cautions: list[str] = []
    time: str


class Measurement(Struct, frozen=True, kw_only=True):
    """One measured value against its limits. ``unit`` is a UCUM code; None means no limit on that side.

    ``source`` is who says that the limits are right, where anyone does.
    """

    name: str
    value: float | None
    unit: str
    low: float | None = None
    high: float | None = None
    uncertainty: float | None = None
    source: str = ""
    outcome: Outcome


class StepResult(Struct, frozen=True, kw_only=True):
    """What one step did. ``outcome`` is None for a step that was not reached or not due."""

    number: int
    verb: str
    title: str
    outcome: Outcome | None
    finding: Finding | None = None
    says: str = ""
    started: str | None = None
    duration_s: float | None = None


class Evidence(Struct, frozen=True, kw_only=True):
    """An event that the verdict rests on, with its place in the journal.

    ``time`` is when it was noted, ``at_s`` when what it tells of happened, in seconds from the run's start.
    """

    event_id: str
    type: str
    time: str
    at_s: float | None = None
    says: str
    journal_row: int | None = None


class InstrumentUsed(Struct, frozen=True, kw_only=True):
    """An instrument as it stood in for a role of the sequence.

    ``calibrated`` is the date of its last calibration as the bench states it, empty if it does not.
    """

    role: str
    instrument: str
    kind: str
    driver: str
    dialect: str = ""
    identity: Identity | None = None
    calibrated: str = ""


class SequenceRef(Struct, frozen=True, kw_only=True):
    """Which text was run: the sequence's name and the SHA-256 of its file."""

    name: str
    sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]


class Verdict(Struct, frozen=True, kw_only=True):
    """The structured answer of a run: what was concluded, why, and on what evidence.

    ``cautions`` are those that the run was begun with.
    """

    id: str
    schema_version: int = VERDICT_SCHEMA_VERSION
    bench: str
    run: str
    job: str | None = None
    sequence: SequenceRef
    inputs: dict[str, str]
    started: str
    ended: str
    outcome: Outcome
    finding: Finding
    reason: str
    steps: list[StepResult]
    measurements: list[Measurement]
    evidence: list[Evidence]
    instruments: list[InstrumentUsed]
    cautions: list[str] = []
    operator: str
    software_version: str


# --- requests to the daemon: ask/<verb>, answered on the response topic that the asker names ---


class RunSequence(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Start a sequence. ``inputs`` are texts as a person writes them (``{"volts": "3.85 V"}``).

    ``family`` is the device family on the bench; a sequence that heats needs it for its profile.
    """

    sequence: str
    inputs: dict[str, str] = {}
    family: str = ""
    job: str | None = None
    operator: str = ""


class AbortRun(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """End a run at once, safely."""

    run: str
    why: str = "stopped by a person"


class AnswerPrompt(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Confirm a prompt, or say no and end the run.

    ``choice`` is the answer to a prompt that is a question; one from nobody may leave it out.
    ``note`` is what the person wants kept with it. ``person`` is false where no person stood there (a jig, a script):
    such an answer never says that the plate is attended.
    """

    run: str
    prompt: str
    confirmed: bool = True
    choice: str = ""
    note: str = ""
    person: bool = True


class CoolRun(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """End the heating of a run now, of whichever heats if none is named; it goes on with cooling down."""

    run: str = ""
    operator: str = ""


class ResetInterlock(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A person has looked: let a tripped instrument be used again."""

    instrument: str
    operator: str = ""


class ConfirmPresence(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A person is at the bench: heat may go on for as long as the bench allows from now."""

    operator: str


class ListInstruments(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Ask for the status of every instrument."""


class ListSequences(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Ask which sequences the daemon knows."""


class MakeSafe(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """End every run and put every instrument into its safe state, now."""

    why: str = "everything was switched off by hand"


class SafeState(Struct, frozen=True, kw_only=True):
    """How an instrument was seen after it was to be made safe. What cannot hurt is always ``safe``."""

    instrument: str
    kind: str
    can_hurt: bool
    safe: bool
    says: str


class Ask(Struct, frozen=True, kw_only=True):
    """The envelope of a request: ``reply_to`` is the response topic, ``id`` comes back in the answer."""

    id: str
    reply_to: str
    args: dict[str, Any] = {}


class Answer(Struct, frozen=True, kw_only=True):
    """The answer to a request. With ``ok`` false, ``says`` is one clear line and ``exit_code`` the CLI's."""

    id: str
    ok: bool
    data: Any = None
    says: str = ""
    exit_code: int = 0


ASK_VERBS: dict[str, type[Struct]] = {
    "run": RunSequence,
    "abort": AbortRun,
    "confirm": AnswerPrompt,
    "cool": CoolRun,
    "present": ConfirmPresence,
    "reset": ResetInterlock,
    "safe": MakeSafe,
    "instruments": ListInstruments,
    "sequences": ListSequences,
    **JOB_VERBS,
    **PLAN_VERBS,
}


def encode(message: Struct) -> bytes:
    """Return a message as JSON bytes."""
    return msgspec.json.encode(message)
