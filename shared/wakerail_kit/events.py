"""The event types: one struct for each thing that can happen, named in the past tense.

An event's ``data`` follows the struct; its CloudEvents ``type`` is ``wakerail.<kebab-name>.v1``.
Times ``at_s`` are monotonic seconds of the daemon's clock; inside a run they count from the start of the run's
watch only where the field is named ``since_start_s``.
"""

from __future__ import annotations

import re
from typing import Any, TypeVar

import msgspec
from msgspec import Struct

from wakerail_kit import job_events  # noqa: F401  its events are among EVENT_TYPES
from wakerail_kit.clock import Clock, rfc3339
from wakerail_kit.event_data import EventData as EventData  # noqa: PLC0414  part of this module's words
from wakerail_kit.ids import new_id
from wakerail_kit.messages import Event, Identity, InstrumentState, Measurement
from wakerail_kit.outcome import Finding, Outcome


class InstrumentConnected(EventData, frozen=True, kw_only=True):
    """The instrument answered and said who it is."""

    instrument: str
    identity: Identity


class InstrumentLost(EventData, frozen=True, kw_only=True):
    """The instrument stopped answering, or is out of step; it is treated as energised until it is back."""

    instrument: str
    state: InstrumentState
    why: str


class InstrumentFaulted(EventData, frozen=True, kw_only=True):
    """The instrument put an error into its queue (code and text as SCPI-1999 21.8 writes them)."""

    instrument: str
    code: int
    text: str
    after: str = ""


class SettingApplied(EventData, frozen=True, kw_only=True):
    """A setting was sent and taken. ``value`` is in ``unit`` (UCUM); on and off are 1 and 0."""

    instrument: str
    setting: str
    value: float
    unit: str


class MadeSafe(EventData, frozen=True, kw_only=True):
    """The instrument was put into its safe state (output off, heater off), or could not be."""

    instrument: str
    reached: bool
    why: str


class InterlockTripped(EventData, frozen=True, kw_only=True):
    """A limit kept beside the instrument was crossed; the instrument was made safe first."""

    instrument: str
    interlock: str
    says: str
    value: float | None
    limit: float | None
    unit: str


class InterlockReset(EventData, frozen=True, kw_only=True):
    """A person let a tripped instrument be used again."""

    instrument: str
    operator: str


class WorkerDied(EventData, frozen=True, kw_only=True):
    """The process that serves the bench died or hung; the supervisor walked over the instruments in its place.

    ``not_reached`` are the instruments that could not be seen in their safe state and may be on.
    """

    how: str
    not_reached: list[str]


class PresenceConfirmed(EventData, frozen=True, kw_only=True):
    """A person confirmed to be at the bench: the plate may heat for ``left_s`` more seconds before it is cut."""

    instrument: str
    operator: str
    left_s: float


class LineResult(Struct, frozen=True, kw_only=True):
    """One line of a charge port: ``vbus``, ``ground``, ``d_plus``, ``d_minus``, ``cc1``, ``cc2``, ..."""

    line: str
    passed: bool
    says: str = ""
    value: float | None = None
    unit: str = ""


class PortTested(EventData, frozen=True, kw_only=True):
    """The port tester's answer, line by line, with the raw text it gave."""

    instrument: str
    passed: bool
    lines: list[LineResult]
    raw: str


class MeterRead(EventData, frozen=True, kw_only=True):
    """One reading of a multimeter. ``quantity`` is ``voltage``, ``resistance`` or ``diode``; ``unit`` is UCUM.

    ``value`` is None where there is none: with ``overload`` it was beyond the meter's range (an open line, to an
    ohmmeter), without it the meter itself said that it has no number. ``raw`` is the answer as it came.
    """

    instrument: str
    quantity: str
    value: float | None
    unit: str
    overload: bool = False
    raw: str = ""


class UsbAttached(EventData, frozen=True, kw_only=True):
    """A USB device was enumerated. ``mode`` is the boot mode by the device family's table, if known.

    ``mode_order`` is its place in the order of a boot (0 is earliest), ``last_order`` that of the family's last mode,
    in which a booted device shows.
    """

    instrument: str
    at_s: float
    path: str
    vendor_id: int
    product_id: int
    device_class: int
    revision_bcd: int | None = None
    speed_mbit_s: float | None = None
    serial: str = ""
    maker: str = ""
    product: str = ""
    family: str = ""
    mode: str = ""
    mode_order: int | None = None
    last_order: int | None = None


class UsbDetached(EventData, frozen=True, kw_only=True):
    """A USB device left the bus."""

    instrument: str
    at_s: float
    path: str
    vendor_id: int | None = None
    product_id: int | None = None
    family: str = ""
    mode: str = ""


class UsbEnumerationFailed(EventData, frozen=True, kw_only=True):
    """Something was plugged in that did not enumerate; ``count`` is how often on this port so far."""

    instrument: str
    at_s: float
    path: str
    count: int
    says: str = ""


class RunStarted(EventData, frozen=True, kw_only=True):
    """A sequence began. ``at_s`` is the moment that its verdict's evidence counts from; None: not recorded."""

    run: str
    sequence: str
    inputs: dict[str, str]
    roles: dict[str, str]
    cautions: list[str]
    family: str = ""
    job: str | None = None
    operator: str = ""
    at_s: float | None = None


class StepStarted(EventData, frozen=True, kw_only=True):
    """A step began. ``duration_s`` is how long it will take where that is known."""

    run: str
    number: int
    verb: str
    title: str
    at_s: float
    duration_s: float | None = None


class StepFinished(EventData, frozen=True, kw_only=True):
    """A step ended with an outcome."""

    run: str
    number: int
    verb: str
    title: str
    outcome: Outcome
    finding: Finding | None = None
    says: str = ""
    measurements: list[Measurement] = []


class PromptRaised(EventData, frozen=True, kw_only=True):
    """A person is asked to do something."""

    run: str
    prompt: str
    text: str


class PromptAnswered(EventData, frozen=True, kw_only=True):
    """A person confirmed, or said no; ``note`` is what they wanted kept. ``person``: it was a person, not a script.

    ``choice`` is their answer where the prompt is a question, empty where nobody looked.
    """

    run: str
    prompt: str
    confirmed: bool
    choice: str = ""
    operator: str = ""
    note: str = ""
    person: bool = True


class OnsetSeen(EventData, frozen=True, kw_only=True):
    """The device began to draw: the boot's first sample above the standing level."""

    run: str
    at_s: float
    level_a: float


class RestartSeen(EventData, frozen=True, kw_only=True):
    """The device went through its boot again. ``at_s``: the running boot ended; ``again_s``: the next began.

    ``probability`` is how sure that is; None: not recorded. What is learnt later comes as ``RestartRevised``.
    """

    run: str
    at_s: float
    again_s: float
    number: int
    evidence: list[str]
    says: str
    probability: float | None = None


class RestartRevised(EventData, frozen=True, kw_only=True):
    """What was told of restart ``number`` is told anew: how sure it is now, and whether it still ``counts``."""

    run: str
    number: int
    at_s: float
    probability: float
    counts: bool
    says: str


class StageLevel(Struct, frozen=True, kw_only=True):
    """A stretch of like behaviour: its bounds, and mean, standard deviation, peak, charge and energy in it.

    ``energy_j`` is None where voltage was not measured throughout.
    """

    start_s: float
    end_s: float
    mean_a: float
    spread_a: float
    peak_a: float
    charge_ma_s: float
    energy_j: float | None = None


class StagesRead(EventData, frozen=True, kw_only=True):
    """The stages of a watch, told at its end. Of ``count`` stages in all, the first are in ``stages``."""

    run: str
    count: int
    stages: list[StageLevel]


class HeatStage(Struct, frozen=True, kw_only=True):
    """A stage of a heat: ``ramp``, ``soak``, ``hold`` or ``cool``, to or at a temperature.

    ``time_s`` is how long a soak or hold lasts and what a ramp may take at most; None: until it is cool.
    """

    kind: str
    temperature_c: float
    time_s: float | None = None


class HeatLimit(Struct, frozen=True, kw_only=True):
    """A limit that a figure of the heat is judged by, and who says so; a soak is timed from and to a temperature."""

    figure: str
    unit: str
    low: float | None = None
    high: float | None = None
    source: str
    from_c: float | None = None
    to_c: float | None = None


class HeatStarted(EventData, frozen=True, kw_only=True):
    """A plate begins to heat by a profile of a device family, with what the heat will be judged by.

    ``present_left_s`` is for how long a person has confirmed to be there.
    """

    run: str
    instrument: str
    at_s: float
    family: str
    profile: str
    alloy: str
    liquidus_c: float
    liquidus_source: str
    ceiling_c: float
    touch_c: float
    touch_source: str
    present_left_s: float
    stages: list[HeatStage]
    limits: list[HeatLimit]


class HeatStageStarted(EventData, frozen=True, kw_only=True):
    """A stage of a heat began.

    ``duration_s`` is what it will take where that is known, ``says`` what a person does or knows meanwhile.
    """

    run: str
    number: int
    kind: str
    at_s: float
    temperature_c: float
    duration_s: float | None = None
    says: str = ""


class HeatEstimated(EventData, frozen=True, kw_only=True):
    """Where a heat stands by the model of plate and board, every few seconds.

    The board is between ``board_low_c`` and ``board_high_c``, likely at ``board_c``; ``left_s`` is about how long the
    stage still takes. None where the model cannot tell.
    """

    run: str
    at_s: float
    plate_c: float
    board_c: float | None = None
    board_low_c: float | None = None
    board_high_c: float | None = None
    left_s: float | None = None
    present_left_s: float | None = None


class PresenceAsked(EventData, frozen=True, kw_only=True):
    """Whoever is at the plate is to confirm it within ``left_s``, or the heat is cut (``ask/present``)."""

    run: str
    at_s: float
    left_s: float


class CoolingAsked(EventData, frozen=True, kw_only=True):
    """A person ended the heating before its time: it is done when it is done."""

    run: str
    at_s: float
    operator: str = ""


class RunFinished(EventData, frozen=True, kw_only=True):
    """A run ended; its verdict is in the journal under ``verdict``."""

    run: str
    verdict: str
    outcome: Outcome
    finding: Finding
    reason: str


_Data = TypeVar("_Data", bound=EventData)


def type_of(data: type[EventData]) -> str:
    """Return the CloudEvents type of an event struct: ``RestartSeen`` is ``wakerail.restart-seen.v1``."""
    kebab = re.sub(r"(?<=[a-z])(?=[A-Z])", "-", data.__name__).lower()
    return f"wakerail.{kebab}.v1"


EVENT_TYPES: dict[str, type[EventData]] = {type_of(data): data for data in EventData.__subclasses__()}


def make_event(
    data: EventData,
    *,
    clock: Clock,
    bench: str,
    owner: str,
    run: str | None = None,
    cause: str | None = None,
    subject: str | None = None,
) -> Event:
    """Wrap event data into a CloudEvents envelope.

    ``owner`` is the instrument, ``sequence`` for a run's own, or ``job`` for a job's, which is then the ``subject``.
    """
    now = clock.now()
    return Event(
        id=new_id(now),
        source=f"/wakerail/{bench}/{owner}",
        type=type_of(type(data)),
        time=rfc3339(now),
        subject=subject or (run if owner == "sequence" else owner),
        runid=run,
        causeid=cause,
        data=msgspec.to_builtins(data),
    )


def read_event(event: Event, data: type[_Data]) -> _Data | None:
    """Return the event's data as the struct ``data``, or None if the event is of another type."""
    return msgspec.convert(event.data, data) if event.type == type_of(data) else None


def any_data(event: Event) -> Any:
    """Return the event's data as its own struct. Raises KeyError for a type that this version does not know."""
    return msgspec.convert(event.data, EVENT_TYPES[event.type])
