"""The report of a job as a program reads it: what was brought in, found and done, with its places in the journal.

The printed report says the same in words. Times are RFC 3339 in UTC.
"""

from __future__ import annotations

from msgspec import Struct

from wakerail_kit.job_events import Intake, IsolationEnded
from wakerail_kit.messages import Identity, Verdict
from wakerail_kit.outcome import Outcome

REPORT_SCHEMA_VERSION = 1


class Deed(Struct, frozen=True, kw_only=True):
    """Something that was done or noted with a job.

    ``event`` names it (``job-noted``, ``job-part-used``, ...), ``row`` is its place in the journal; ``removed``: its
    words were personal and were forgotten.
    """

    time: str
    bench: str
    event: str
    row: int
    stage: str = ""
    says: str
    spent_s: float | None = None
    operator: str = ""
    removed: bool = False


class PartUsed(Struct, frozen=True, kw_only=True):
    """A part that went into the device, how many of it, and the rows of the journal that say so."""

    part: str
    count: int
    rows: list[int] = []


class FileKept(Struct, frozen=True, kw_only=True):
    """A photo or another file of the job, by the SHA-256 of its bytes; all empty where it was forgotten.

    ``photo`` is its number among the photos that the report shows, None if it is none of them; ``not_shown`` says why a
    picture is not shown; it is ``lost`` if its file is gone or not what was kept. ``row`` is its place in the journal.
    """

    time: str
    stage: str
    name: str
    says: str
    media_type: str
    size_bytes: int
    sha256: str
    row: int
    photo: int | None = None
    not_shown: str = ""
    lost: bool = False
    removed: bool = False


class RunReported(Struct, frozen=True, kw_only=True):
    """A run of the job. ``verdict`` is None where it has none (yet): under way, or ``cut_off`` for good.

    ``first_row`` to ``last_row`` are its messages in the journal, ``verdict_row`` is that of the verdict.
    """

    run: str
    bench: str
    sequence: str
    started: str
    first_row: int
    last_row: int
    cut_off: bool = False
    verdict: Verdict | None = None
    verdict_row: int | None = None


class ChartReported(Struct, frozen=True, kw_only=True):
    """A chart in the report: of which run it is, its title, and what it shows in words and numbers."""

    name: str
    run: str
    title: str
    says: str


class StepReported(Struct, frozen=True, kw_only=True):
    """A step of the isolation: an observation, and how likely each cause was after it.

    ``advised`` is what was to be tried and why. ``other_shares`` are the likelihoods that the opposite result would
    have left, None where there is none or nobody can reckon it any more. ``run`` is where it was seen.
    """

    number: int
    advised: str = ""
    says: str
    run: str | None = None
    shares: dict[str, float] = {}
    other_says: str = ""
    other_shares: dict[str, float] | None = None


class IsolationReported(Struct, frozen=True, kw_only=True):
    """The isolation as far as it came. ``titles`` are what the causes are called in words.

    ``before`` are the likelihoods before anything was seen, ``next`` is what was advised last if it has not ended.
    """

    titles: dict[str, str] = {}
    before: dict[str, float] = {}
    steps: list[StepReported] = []
    next: str = ""
    ended: IsolationEnded | None = None


class FunctionChecked(Struct, frozen=True, kw_only=True):
    """A function of the device that was checked, its newest result, and in which run.

    ``outcome`` is None where a person was asked and could not say: it is not on this device, or nobody looked.
    """

    says: str
    outcome: Outcome | None = None
    detail: str = ""
    run: str


class InstrumentReported(Struct, frozen=True, kw_only=True):
    """An instrument that took part. ``calibrated`` is the date of its last calibration, empty if not stated."""

    bench: str
    instrument: str
    kind: str
    identity: Identity | None = None
    calibrated: str = ""
    runs: list[str] = []


class JobReport(Struct, frozen=True, kw_only=True):
    """All that is told of a job. ``interim``: it was not closed when the report was made.

    ``found_for_customer`` says in plain words what was found, ``causes`` names what was at fault as the shop calls it.
    ``forgotten``: what was personal in the job was removed, so its texts are empty here.
    """

    schema_version: int = REPORT_SCHEMA_VERSION
    job: str
    family: str
    device: str
    made: str
    software_version: str
    interim: bool
    state: str
    stage: str
    opened: str
    closed: str | None = None
    resolution: str | None = None
    benches: list[str]
    operators: list[str] = []
    forgotten: bool = False
    intake: Intake
    found_for_customer: list[str]
    causes: list[str] = []
    closing: str = ""
    deeds: list[Deed] = []
    parts: list[PartUsed] = []
    files: list[FileKept] = []
    spent_s: float = 0.0
    spent_by_stage_s: dict[str, float] = {}
    runs: list[RunReported] = []
    charts: list[ChartReported] = []
    isolation: IsolationReported | None = None
    functions: list[FunctionChecked] = []
    instruments: list[InstrumentReported] = []
    cautions: list[str] = []
