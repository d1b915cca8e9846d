"""A message of the journal as one line for a person: who it is about, what happened, and how it sounds."""

from __future__ import annotations

import functools
from enum import StrEnum
from typing import NamedTuple

import msgspec

from wakerail.journal.records import Message
from wakerail_kit import events
from wakerail_kit.events import EventData, any_data
from wakerail_kit.messages import Event, Prompt
from wakerail_kit.outcome import Outcome


class Tone(StrEnum):
    """How a line sounds: what a reader's eye should do with it."""

    PLAIN = "plain"
    QUIET = "quiet"
    GOOD = "good"
    BAD = "bad"
    CAUTION = "caution"
    ASKING = "asking"


class Line(NamedTuple):
    """A message in words. ``who`` is an instrument, or the sequence's part in it (``run``, ``step 3``)."""

    who: str
    says: str
    tone: Tone = Tone.PLAIN


_TONES = {
    Outcome.PASSED: Tone.GOOD,
    Outcome.FAILED: Tone.BAD,
    Outcome.INCONCLUSIVE: Tone.CAUTION,
    Outcome.ABORTED: Tone.CAUTION,
}


def tone_of(outcome: Outcome | None) -> Tone:
    """Return how an outcome sounds."""
    return _TONES[outcome] if outcome is not None else Tone.PLAIN


def describe(message: Message) -> Line:
    """Return a message as a line. An event of a type that this version does not know is shown by its type and data."""
    match message:
        case Event():
            line = _describe_event(message)
        case Prompt():
            line = Line(f"step {message.step}", _joined(message.text, *message.cautions), Tone.ASKING)
        case _:
            says = f"{message.sequence.name}: {message.outcome}, {message.finding}: {message.reason}"
            line = Line("verdict", says, tone_of(message.outcome))
    return line._replace(says=_printable(line.says))


def _describe_event(event: Event) -> Line:
    try:
        return _line(any_data(event))
    except (KeyError, msgspec.ValidationError):  # written by another version: shown as it is
        name = event.type.removeprefix("wakerail.").rpartition(".")[0].replace("-", " ")
        data = msgspec.json.encode(event.data).decode()
        return Line(event.subject or event.source.rpartition("/")[2], f"{name or event.type} {data}", Tone.QUIET)


@functools.singledispatch
def _line(data: EventData) -> Line:
    raise KeyError(type(data))


@_line.register
def _(data: events.InstrumentConnected) -> Line:
    identity = data.identity
    known = _joined(
        " ".join(filter(None, (identity.maker, identity.model))), identity.serial and f"serial {identity.serial}"
    )
    return Line(data.instrument, f"connected: {known or identity.text}", Tone.GOOD)


@_line.register
def _(data: events.InstrumentLost) -> Line:
    return Line(data.instrument, f"lost ({data.state}): {data.why}", Tone.BAD)


@_line.register
def _(data: events.InstrumentFaulted) -> Line:
    after = f" after {data.after}" if data.after else ""
    return Line(data.instrument, f"reports error {data.code}, {data.text}{after}", Tone.CAUTION)


@_line.register
def _(data: events.SettingApplied) -> Line:
    switched = data.unit in {"", "1"} and data.value in {0.0, 1.0}
    value = ("on" if data.value else "off") if switched else _quantity(data.value, data.unit)
    return Line(data.instrument, f"{data.setting} {value}", Tone.PLAIN if switched else Tone.QUIET)


@_line.register
def _(data: events.MadeSafe) -> Line:
    if data.reached:
        return Line(data.instrument, f"made safe: {data.why}", Tone.QUIET)
    return Line(data.instrument, f"could not be made safe, treat it as energised: {data.why}", Tone.BAD)


@_line.register
def _(data: events.InterlockTripped) -> Line:
    return Line(data.instrument, f"interlock {data.interlock} tripped: {data.says}", Tone.BAD)


@_line.register
def _(data: events.InterlockReset) -> Line:
    return Line(data.instrument, "interlock reset" + (f" by {data.operator}" if data.operator else ""))


@_line.register
def _(data: events.WorkerDied) -> Line:
    after = f"NOT SAFE: {', '.join(data.not_reached)}" if data.not_reached else "every instrument was made safe"
    return Line("daemon", f"its worker {data.how}; {after}", Tone.BAD)


@_line.register
def _(data: events.PresenceConfirmed) -> Line:
    return Line(data.instrument, f"{data.operator} is at the bench; heat may go on for {round(data.left_s)} s")


@_line.register
def _(data: events.PortTested) -> Line:
    if data.passed:
        return Line(data.instrument, f"port tested: {len(data.lines)} lines passed", Tone.GOOD)
    failed = (f"{line.line} {line.says}".strip() for line in data.lines if not line.passed)
    return Line(data.instrument, f"port tested: {'; '.join(failed) or 'failed'}", Tone.BAD)


@_line.register
def _(data: events.UsbAttached) -> Line:
    called = data.mode or data.product or "device"
    return Line(data.instrument, f"USB attached: {called} ({data.vendor_id:04x}:{data.product_id:04x}) at {data.path}")


@_line.register
def _(data: events.UsbDetached) -> Line:
    return Line(data.instrument, f"USB detached: {data.mode or 'device'} at {data.path}")


@_line.register
def _(data: events.UsbEnumerationFailed) -> Line:
    says = f": {data.says}" if data.says else ""
    return Line(data.instrument, f"USB enumeration failed at {data.path}, {_times(data.count)}{says}", Tone.CAUTION)


@_line.register
def _(data: events.RunStarted) -> Line:
    inputs = ", ".join(f"{name} {value}" for name, value in data.inputs.items())
    return Line("run", _joined(f"{data.sequence} started" + (f" with {inputs}" if inputs else ""), *data.cautions))


@_line.register
def _(data: events.StepStarted) -> Line:
    return Line(f"step {data.number}", data.title, Tone.QUIET)


@_line.register
def _(data: events.StepFinished) -> Line:
    finding = f", {data.finding}" if data.finding else ""
    says = f"{data.outcome}{finding}: {data.says or data.title}"
    return Line(f"step {data.number}", says, tone_of(data.outcome))


@_line.register
def _(data: events.PromptRaised) -> Line:
    return Line("prompt", data.text, Tone.ASKING)


@_line.register
def _(data: events.PromptAnswered) -> Line:
    by = f" by {data.operator}" if data.operator else ""
    note = f": {data.note}" if data.note else ""
    answer = ("confirmed" if data.confirmed else "refused") + by + ("" if data.person else ", without a person")
    return Line("prompt", answer + note, Tone.PLAIN if data.confirmed else Tone.CAUTION)


@_line.register
def _(data: events.OnsetSeen) -> Line:
    return Line("device", f"began to draw {_quantity(data.level_a, 'A')}")


@_line.register
def _(data: events.RestartSeen) -> Line:
    return Line("device", f"restart {data.number}: {data.says}", Tone.BAD)


@_line.register
def _(data: events.RestartRevised) -> Line:
    counts = "" if data.counts else ", which counts no more"
    return Line("device", f"restart {data.number} anew: {data.says}{counts}", Tone.CAUTION)


@_line.register
def _(data: events.StagesRead) -> Line:
    return Line("device", f"went through {data.count} stage{'' if data.count == 1 else 's'}", Tone.QUIET)


@_line.register
def _(data: events.HeatStarted) -> Line:
    says = f"heats by the profile {data.profile} of {data.family}: {data.alloy}, liquid from "
    return Line(data.instrument, says + _quantity(data.liquidus_c, "Cel"), Tone.CAUTION)


@_line.register
def _(data: events.HeatStageStarted) -> Line:
    duration = "" if data.duration_s is None else f" for {_quantity(data.duration_s, 's')}"
    to = "to" if data.kind in {"ramp", "cool"} else "at"
    says = f"{data.kind} {to} {_quantity(data.temperature_c, 'Cel')}{duration}"
    return Line("heat", _joined(says, data.says), Tone.CAUTION)


@_line.register
def _(data: events.HeatEstimated) -> Line:
    says = f"plate {_quantity(round(data.plate_c, 1), 'Cel')}"
    if data.board_c is not None:
        says += f", board about {_quantity(round(data.board_c, 1), 'Cel')}"
    if data.board_low_c is not None and data.board_high_c is not None:
        says += f", from {data.board_low_c:.0f} to {_quantity(round(data.board_high_c), 'Cel')}"
    return Line("heat", says, Tone.QUIET)


@_line.register
def _(data: events.PresenceAsked) -> Line:
    return Line("heat", f"is somebody at the plate? to be confirmed within {round(data.left_s)} s", Tone.ASKING)


@_line.register
def _(data: events.CoolingAsked) -> Line:
    return Line("heat", "to be cooled now" + (f", said {data.operator}" if data.operator else ""))


@_line.register
def _(data: events.RunFinished) -> Line:
    return Line("run", f"finished: {data.outcome}, {data.finding}", tone_of(data.outcome))


def _quantity(value: float, unit: str) -> str:
    from wakerail_kit.units import human  # noqa: PLC0415  pint is not to slow the daemon's start

    return human(value, unit)


def _joined(*parts: str) -> str:
    *before, last = [part for part in parts if part] or [""]
    return "; ".join([*(part.rstrip(".") for part in before), last])


def _printable(text: str) -> str:
    """Return one line that cannot upset a terminal, whatever an instrument sent."""
    return "".join(sign if sign.isprintable() else "\N{MIDDLE DOT}" for sign in " ".join(text.split()))


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"
