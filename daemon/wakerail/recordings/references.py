"""Known-good boots out of the journal: the current of runs that passed, each from its onset on."""

from __future__ import annotations

from wakerail.analysis.known_good import Boot, boot_since
from wakerail.journal import JournalReader
from wakerail.recordings.runs import open_run
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import RunStarted, UsbAttached, read_event, type_of
from wakerail_kit.job_events import IsolationObserved
from wakerail_kit.messages import Event
from wakerail_kit.outcome import Outcome

#: More references make the median no better, and take longer to read.
_MOST_REFERENCES = 8
#: Older runs than these newest are not looked at: a journal grows for years.
_MOST_RUNS = 500


def family_of(reader: JournalReader, run: str) -> str | None:
    """Return the device family that was named for a run (its id in full), else that USB knew; None if neither."""
    begun = next(reader.events(run=run, type=type_of(RunStarted), limit=1), None)
    started = read_event(begun.message, RunStarted) if begun and isinstance(begun.message, Event) else None
    if started is not None and started.family:
        return started.family
    family = None
    for entry in reader.events(run=run, type=type_of(UsbAttached)):
        attached = read_event(entry.message, UsbAttached) if isinstance(entry.message, Event) else None
        family = attached.family if attached is not None and attached.family else family
    return family


def known_good_boots(reader: JournalReader, family: str, sequence: str, but: str) -> list[Boot]:
    """Return boots of a family in runs of a sequence that passed, newest first, without the run ``but``.

    At most eight, and of the newest 500 runs only, at whatever voltage. A boot with something unplugged is none.
    """
    boots: list[Boot] = []
    unplugged = _with_something_off(reader)
    for run in reader.runs(limit=_MOST_RUNS):
        if run.sequence != sequence or run.outcome is not Outcome.PASSED or run.run in {but, *unplugged}:
            continue
        if family_of(reader, run.run) != family:
            continue
        try:
            boot = boot_of_run(reader, run.run)
        except ConfigInvalid:
            continue  # a run that passed but kept no current or saw no boot begin is no reference
        boots.append(boot)
        if len(boots) == _MOST_REFERENCES:
            break
    return boots


def _with_something_off(reader: JournalReader) -> set[str]:
    """Return the runs that watched a boot in an isolation while something was unplugged."""
    entries = reader.events(type=type_of(IsolationObserved))
    seen = [read_event(entry.message, IsolationObserved) for entry in entries if isinstance(entry.message, Event)]
    return {one.run for one in seen if one is not None and one.run is not None and one.done}


def boot_of_run(reader: JournalReader, which: str) -> Boot:
    """Return the boot of a run, named as ``JournalReader.find_run`` takes it, from the onset that its watch saw.

    Raises ConfigInvalid if there is no such run, it recorded no current, or its watch saw no boot begin.
    """
    recording = open_run(reader, which)
    parts = ((piece.t_s, piece.current_a) for piece in recording.pieces)
    boot = None if recording.onset_s is None else boot_since(parts, recording.onset_s)
    if boot is None:
        raise ConfigInvalid(f"{reader.where}: run {which!r} saw no boot begin; name a boot-watch that passed")
    return boot
