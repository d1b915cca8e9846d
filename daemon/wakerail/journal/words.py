"""A message of the journal as one line for a person: who it is about, what happened, and how it sounds."""

from __future__ import annotations

import msgspec

from wakerail.journal import job_words  # noqa: F401  its lines are among those of line_of
from wakerail.journal.lines import Line, Tone, joined, line_of, quantity
from wakerail.journal.records import Message
from wakerail_kit import events
from wakerail_kit.events import EventData, any_data
from wakerail_kit.messages import Event, Prompt
from wakerail_kit.outcome import Outcome

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
            line = Line(f"step {message.step}", joined(message.text, *message.cautions), Tone.ASKING)
        case _:
            says = f"{message.sequence.name}: {message.outcome}, {message.finding}: {message.reason}"
            line = Line("verdict", says, tone_of(message.outcome))
    return line._replace(says=printable(line.says))


def describe_data(data: EventData) -> Line:
    """Return what an event tells as a line."""
    line = line_of(data)
    return line._replace(says=printable(line.says))


def _describe_event(event: Event) -> Line:
    try:
        return line_of(any_data(event))
    except (KeyError, msgspec.ValidationError):  # written by another version: shown as it is
        name = event.type.removeprefix("wakerail.").rpartition(".")[0].replace("-", " ")
        data = msgspec.json.encode(event.data).decode()
        return Line(event.subject or event.source.rpartition("/")[2], f"{name or event.type} {data}", Tone.QUIET)


@line_of.register
def _(data: events.InstrumentConnected) -> Line:
    identity = data.identity
    known = joined(
        " ".join(filter(None, (identity.maker, identity.model))), identity.serial and f"serial {identity.serial}"
    )
    return Line(data.instrument, f"connected: {known or identity.text}", Tone.GOOD)


@line_of.register
def _(data: events.InstrumentLost) -> Line:
    return Line(data.instrument, f"lost ({data.state}): {data.why}", Tone.BAD)


@line_of.register
def _(data: events.InstrumentFaulted) -> Line:
    after = f" after {data.after}" if data.after else ""
    return Line(data.instrument, f"reports error {data.code}, {data.text}{after}", Tone.CAUTION)


@line_of.register
def _(data: events.SettingApplied) -> Line:
    switched = data.unit in {"", "1"} and data.value in {0.0, 1.0}
    value = ("on" if data.value else "off") if switched else quantity(data.value, data.unit)
    return Line(data.instrument, f"{data.setting} {value}", Tone.PLAIN if switched else Tone.QUIET)


@line_of.register
def _(data: events.MadeSafe) -> Line:
    if data.reached:
        return Line(data.instrument, f"made safe: {data.why}", Tone.QUIET)
    return Line(data.instrument, f"could not be made safe, treat it as energised: {data.why}", Tone.BAD)


@line_of.register
def _(data: events.InterlockTripped) -> Line:
    return Line(data.instrument, f"interlock {data.interlock} tripped: {data.says}", Tone.BAD)


@line_of.register
def _(data: events.InterlockReset) -> Line:
    return Line(data.instrument, "interlock reset" + (f" by {data.operator}" if data.operator else ""))


@line_of.register
def _(data: events.WorkerDied) -> Line:
    after = f"NOT SAFE: {', '.join(data.not_reached)}" if data.not_reached else "every instrument was made safe"
    return Line("daemon", f"its worker {data.how}; {after}", Tone.BAD)


@line_of.register
def _(data: events.PresenceConfirmed) -> Line:
    return Line(data.instrument, f"{data.operator} is at the bench; heat may go on for {round(data.left_s)} s")


@line_of.register
def _(data: events.PortTested) -> Line:
    if data.passed:
        return Line(data.instrument, f"port tested: {len(data.lines)} lines passed", Tone.GOOD)
    failed = (f"{line.line} {line.says}".strip() for line in data.lines if not line.passed)
    return Line(data.instrument, f"port tested: {'; '.join(failed) or 'failed'}", Tone.BAD)


@line_of.register
def _(data: events.MeterRead) -> Line:
    if data.value is None:
        return Line(data.instrument, f"{data.quantity}: " + ("beyond its range" if data.overload else "no number"))
    return Line(data.instrument, f"{data.quantity} {quantity(data.value, data.unit)}")


@line_of.register
def _(data: events.UsbAttached) -> Line:
    called = data.mode or data.product or "device"
    return Line(data.instrument, f"USB attached: {called} ({data.vendor_id:04x}:{data.product_id:04x}) at {data.path}")


@line_of.register
def _(data: events.UsbDetached) -> Line:
    return Line(data.instrument, f"USB detached: {data.mode or 'device'} at {data.path}")


@line_of.register
def _(data: events.UsbEnumerationFailed) -> Line:
    says = f": {data.says}" if data.says else ""
    return Line(data.instrument, f"USB enumeration failed at {data.path}, {_times(data.count)}{says}", Tone.CAUTION)


@line_of.register
def _(data: events.RunStarted) -> Line:
    inputs = ", ".join(f"{name} {value}" for name, value in data.inputs.items())
    return Line("run", joined(f"{data.sequence} started" + (f" with {inputs}" if inputs else ""), *data.cautions))


@line_of.register
def _(data: events.StepStarted) -> Line:
    return Line(f"step {data.number}", data.title, Tone.QUIET)


@line_of.register
def _(data: events.StepFinished) -> Line:
    finding = f", {data.finding}" if data.finding else ""
    says = f"{data.outcome}{finding}: {data.says or data.title}"
    return Line(f"step {data.number}", says, tone_of(data.outcome))


@line_of.register
def _(data: events.PromptRaised) -> Line:
    return Line("prompt", data.text, Tone.ASKING)


@line_of.register
def _(data: events.PromptAnswered) -> Line:
    by = f" by {data.operator}" if data.operator else ""
    note = f": {data.note}" if data.note else ""
    said = (data.choice or "confirmed") if data.confirmed else "refused"
    answer = said + by + ("" if data.person else ", without a person")
    return Line("prompt", answer + note, Tone.PLAIN if data.confirmed else Tone.CAUTION)


@line_of.register
def _(data: events.OnsetSeen) -> Line:
    return Line("device", f"began to draw {quantity(data.level_a, 'A')}")


@line_of.register
def _(data: events.RestartSeen) -> Line:
    return Line("device", f"restart {data.number}: {data.says}", Tone.BAD)


@line_of.register
def _(data: events.RestartRevised) -> Line:
    counts = "" if data.counts else ", which counts no more"
    return Line("device", f"restart {data.number} anew: {data.says}{counts}", Tone.CAUTION)


@line_of.register
def _(data: events.StagesRead) -> Line:
    return Line("device", f"went through {data.count} stage{'' if data.count == 1 else 's'}", Tone.QUIET)


@line_of.register
def _(data: events.HeatStarted) -> Line:
    says = f"heats by the profile {data.profile} of {data.family}: {data.alloy}, liquid from "
    return Line(data.instrument, says + quantity(data.liquidus_c, "Cel"), Tone.CAUTION)


@line_of.register
def _(data: events.HeatStageStarted) -> Line:
    duration = "" if data.duration_s is None else f" for {quantity(data.duration_s, 's')}"
    to = "to" if data.kind in {"ramp", "cool"} else "at"
    says = f"{data.kind} {to} {quantity(data.temperature_c, 'Cel')}{duration}"
    return Line("heat", joined(says, data.says), Tone.CAUTION)


@line_of.register
def _(data: events.HeatEstimated) -> Line:
    says = f"plate {quantity(round(data.plate_c, 1), 'Cel')}"
    if data.board_c is not None:
        says += f", board about {quantity(round(data.board_c, 1), 'Cel')}"
    if data.board_low_c is not None and data.board_high_c is not None:
        says += f", from {data.board_low_c:.0f} to {quantity(round(data.board_high_c), 'Cel')}"
    return Line("heat", says, Tone.QUIET)


@line_of.register
def _(data: events.PresenceAsked) -> Line:
    return Line("heat", f"is somebody at the plate? to be confirmed within {round(data.left_s)} s", Tone.ASKING)


@line_of.register
def _(data: events.CoolingAsked) -> Line:
    return Line("heat", "to be cooled now" + (f", said {data.operator}" if data.operator else ""))


@line_of.register
def _(data: events.RunFinished) -> Line:
    return Line("run", f"finished: {data.outcome}, {data.finding}", tone_of(data.outcome))


def printable(text: str) -> str:
    """Return one line that cannot upset a terminal, whatever an instrument sent."""
    return "".join(sign if sign.isprintable() else "\N{MIDDLE DOT}" for sign in " ".join(text.split()))


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"
