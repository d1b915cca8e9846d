"""A run out of the journal as a recording: what its watch saw, with what the run knew of the device before."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

import msgspec
import numpy as np

from wakerail.analysis.settings import ReaderSettings
from wakerail.journal import JournalReader
from wakerail.recordings.samples import Piece, Recording, UsbEvent, missing_note
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import (
    EVENT_TYPES,
    OnsetSeen,
    RunStarted,
    SettingApplied,
    StepFinished,
    StepStarted,
    UsbAttached,
    UsbDetached,
    UsbEnumerationFailed,
    any_data,
)
from wakerail_kit.messages import Event, Measurement

_CURRENT, _VOLTAGE, _LIMITING, _OUTPUT = "current", "voltage", "limiting", "output"


@dataclass(slots=True)
class _Story:
    """What a run's events tell of its watch. Times ``_s`` are monotonic seconds of the daemon of that day."""

    zero_s: float | None = None
    since_s: float | None = None
    prompted_s: float | None = None
    onset_s: float | None = None
    ended: datetime | None = None
    roles: Mapping[str, str] = field(default_factory=dict)
    applied: dict[tuple[str, str], float] = field(default_factory=dict)
    measured: dict[str, Measurement] = field(default_factory=dict)
    usb: list[UsbEvent] = field(default_factory=list)
    steps: list[StepStarted] = field(default_factory=list)

    def take(self, event: Event) -> None:
        """Take the run's events in their order; what came after its watch is not about it."""
        if event.type not in EVENT_TYPES or self.ended is not None:
            return  # of a type that this version does not know: not ours to judge
        match any_data(event):
            case RunStarted(at_s=at_s, roles=roles):
                self.zero_s, self.roles = at_s, roles
            case StepStarted() as step:
                self._start(step)
            case StepFinished() as step:
                if step.verb == "watch":
                    self.ended = datetime.fromisoformat(event.time)
                self.measured |= {one.name: one for one in step.measurements if one.value is not None}
            case SettingApplied() as applied:
                self.applied[applied.instrument, applied.setting] = applied.value
            case OnsetSeen(at_s=at_s):
                self.onset_s = at_s if self.onset_s is None else self.onset_s
            case UsbAttached() | UsbDetached() | UsbEnumerationFailed() as usb:
                self.usb.append(usb)
            case _:
                pass

    def _start(self, step: StepStarted) -> None:
        if self.zero_s is None:
            self.zero_s = step.at_s
        if step.verb == "watch":
            # what a prompt asks for is done while it stands, so the watch begins where it was raised
            if self.steps and self.steps[-1].verb == "prompt":
                self.prompted_s = self.steps[-1].at_s
            self.since_s = step.at_s if self.prompted_s is None else self.prompted_s
        self.steps.append(step)


def open_run(reader: JournalReader, which: str) -> Recording:
    """Open a run, named as ``JournalReader.find_run`` takes it: from its watch's start, or where it has none, whole.

    Times count from the start of the run. Raises ConfigInvalid if there is none such, or it recorded no current.
    """
    run = reader.find_run(which)
    story = _Story()
    for entry in reader.events(run=run):
        if isinstance(entry.message, Event):
            story.take(entry.message)
    supply = _supply(reader, run, story)
    zero_s = story.zero_s or 0.0
    trace = _Trace(reader, run, supply, story, zero_s)
    what = f"run {run}, its watch" if story.since_s is not None else f"run {run}, all of it, as it has no watch"
    asked = "" if story.prompted_s is None else " from when its prompt was raised"
    return Recording(
        read_as=f"{what}{asked}; current of {supply!r} in A, time from the start of the run",
        pieces=trace.pieces(),
        notes=trace.notes,
        known=_known(story, supply, zero_s),
        onset_s=None if story.onset_s is None else story.onset_s - zero_s,
        usb=tuple(
            msgspec.structs.replace(event, at_s=event.at_s - zero_s)
            for event in story.usb
            if story.since_s is None or event.at_s >= story.since_s
        ),
    )


def _supply(reader: JournalReader, run: str, story: _Story) -> str:
    """Return the instrument whose current is read: the one in the role ``supply`` if there is a choice."""
    named, other = story.roles.get("supply"), None
    for chunk in reader.frames(run=run, signal=_CURRENT):
        if chunk.instrument == named:
            return chunk.instrument
        other = other or chunk.instrument
    if other is None:
        raise ConfigInvalid(f"{reader.where}: run {run} recorded no current")
    return other


def _known(story: _Story, supply: str, zero_s: float) -> ReaderSettings:
    applied = story.applied
    known = ReaderSettings(
        prompted_s=None if story.prompted_s is None else story.prompted_s - zero_s,
        limit_a=applied.get((supply, "limit")),
        set_v=applied.get((supply, "volts")),
    )
    roles = [role for role, name in story.roles.items() if name == supply]
    for stat in ("mean", "median"):
        for role in roles:
            standing = story.measured.get(f"{role}.{_CURRENT} {stat}")
            if standing is not None:
                known = replace(known, standing_a=standing.value)
                if standing.high is not None:
                    known = replace(known, standing_max_a=standing.high)
    return known


@dataclass(slots=True)
class _Trace:
    """The samples of a run's watch."""

    reader: JournalReader
    run: str
    supply: str
    story: _Story
    zero_s: float
    missing: int = 0

    def notes(self) -> list[str]:
        return [missing_note(self.missing)] if self.missing else []

    def pieces(self) -> Iterator[Piece]:
        since_s = self.story.since_s
        last_s = -np.inf
        for chunk in self.reader.frames(run=self.run, instrument=self.supply, end=self.story.ended):
            current = chunk.signals.get(_CURRENT)
            if current is None:
                continue
            asked = chunk.t_s > last_s if since_s is None else (chunk.t_s >= since_s) & (chunk.t_s > last_s)
            output = chunk.signals.get(_OUTPUT)
            # with the output off the samples say nothing about the device
            powered = asked if output is None else asked & (output != 0)
            keep = powered & np.isfinite(current)
            self.missing += int(np.count_nonzero(powered & ~keep))
            if not keep.any():
                continue
            voltage, limiting = chunk.signals.get(_VOLTAGE), chunk.signals.get(_LIMITING)
            piece = Piece(
                t_s=chunk.t_s[keep] - self.zero_s,
                current_a=current[keep],
                voltage_v=None if voltage is None else voltage[keep],
                limiting=None if limiting is None else np.nan_to_num(limiting[keep]),
            )
            last_s = float(chunk.t_s[keep][-1])
            yield piece
