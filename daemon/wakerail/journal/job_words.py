"""What happens to a job, and in the isolation of its cause, as lines for a person."""

from __future__ import annotations

from wakerail.journal.lines import Line, Tone, joined, line_of
from wakerail_kit import job_events
from wakerail_kit.job_events import Resolution

_CLOSED = {
    Resolution.REPAIRED: Tone.GOOD,
    Resolution.NO_FAULT_FOUND: Tone.CAUTION,
    Resolution.NOT_REPAIRED: Tone.BAD,
}
_FORGOTTEN = "(forgotten)"


@line_of.register
def _(data: job_events.JobOpened) -> Line:
    return _about(data.job, _by(f"opened: {data.family}, {data.intake.symptom}", data.operator))


@line_of.register
def _(data: job_events.JobStageEntered) -> Line:
    return _about(data.job, f"goes to {data.stage}", Tone.QUIET)


@line_of.register
def _(data: job_events.JobNoted) -> Line:
    spent = "" if data.spent_s is None else f"took {time_spent(data.spent_s)}"
    return _about(data.job, joined(data.text or ("" if spent else _FORGOTTEN), spent))


@line_of.register
def _(data: job_events.JobPartUsed) -> Line:
    return _about(data.job, f"part used: {data.part}" + (f", {data.count} times" if data.count != 1 else ""))


@line_of.register
def _(data: job_events.JobFileKept) -> Line:
    if not data.name:
        return _about(data.job, f"file kept: {_FORGOTTEN}", Tone.QUIET)
    return _about(data.job, joined(f"file kept: {data.name}, {file_size(data.size_bytes)}", data.says))


@line_of.register
def _(data: job_events.JobPaused) -> Line:
    return _about(data.job, "paused" + (f": {data.why}" if data.why else ""), Tone.CAUTION)


@line_of.register
def _(data: job_events.JobResumed) -> Line:
    return _about(data.job, _by("goes on", data.operator))


@line_of.register
def _(data: job_events.JobClosed) -> Line:
    cause = f"at fault: {', '.join(data.causes)}" if data.causes else ""
    return _about(data.job, joined(f"closed: {data.resolution}", cause, data.says), _CLOSED[data.resolution])


@line_of.register
def _(data: job_events.JobForgotten) -> Line:
    return _about(data.job, _by("what was personal in it was forgotten", data.operator), Tone.CAUTION)


@line_of.register
def _(data: job_events.IsolationAdvised) -> Line:
    return _about(data.job, f"advised: {data.says}", Tone.ASKING)


@line_of.register
def _(data: job_events.IsolationObserved) -> Line:
    return _about(data.job, f"observation {data.number}: {data.says}")


@line_of.register
def _(data: job_events.IsolationUndone) -> Line:
    return _about(data.job, f"observation {data.number} counts no more", Tone.CAUTION)


@line_of.register
def _(data: job_events.IsolationEnded) -> Line:
    return _about(data.job, f"isolation ended, {data.sort}: {data.says}", Tone.CAUTION)


def time_spent(spent_s: float) -> str:
    """Return a time of work as people say it."""
    hours, minutes = divmod(round(spent_s / 60), 60)
    if hours:
        return f"{hours} h" + (f" {minutes} min" if minutes else "")
    return f"{minutes} min" if minutes else f"{spent_s:.0f} s"


def file_size(size_bytes: int) -> str:
    """Return the size of a file as people say it."""
    if size_bytes < 1000:
        return f"{size_bytes} B"
    return f"{size_bytes / 1e3:.0f} kB" if size_bytes < 1_000_000 else f"{size_bytes / 1e6:.1f} MB"


def _about(job: str, says: str, tone: Tone = Tone.PLAIN) -> Line:
    return Line(f"job {job}", says, tone)


def _by(says: str, operator: str) -> str:
    return says + (f"; by {operator}" if operator else "")
