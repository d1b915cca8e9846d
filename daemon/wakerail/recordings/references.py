"""Known-good boots out of the journal: the current of runs that passed, each from its onset on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wakerail.analysis.known_good import Boot, Comparison, compare, make_known_good
from wakerail.journal import JournalReader
from wakerail.recordings.runs import open_run
from wakerail.recordings.samples import Recording
from wakerail.recordings.units import Floats
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import UsbAttached, read_event, type_of
from wakerail_kit.messages import Event
from wakerail_kit.outcome import Outcome

#: More references make the median no better, and take longer to read.
_MOST_REFERENCES = 8
#: Older runs than these newest are not looked at: a journal grows for years.
_MOST_RUNS = 500
#: A device has long booted by then; this also bounds the memory for fast samples.
_BOOT_S = 600.0


@dataclass(frozen=True, slots=True)
class Likeness:
    """How a boot compares with the known-good one that was made from so many ``references``."""

    references: int
    comparison: Comparison


def family_of(reader: JournalReader, run: str) -> str | None:
    """Return the device family that USB knew in a run (its id in full), None where it knew none."""
    family = None
    for entry in reader.events(run=run, type=type_of(UsbAttached)):
        attached = read_event(entry.message, UsbAttached) if isinstance(entry.message, Event) else None
        family = attached.family if attached is not None and attached.family else family
    return family


def known_good_boots(reader: JournalReader, family: str, sequence: str, but: str) -> list[Boot]:
    """Return boots of a family in runs of a sequence that passed, newest first, without the run ``but``.

    At most eight, and of the newest 500 runs only.
    """
    boots: list[Boot] = []
    for run in reader.runs(limit=_MOST_RUNS):
        if run.sequence != sequence or run.outcome is not Outcome.PASSED or run.run == but:
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


def boot_of_run(reader: JournalReader, which: str) -> Boot:
    """Return the boot of a run, named as ``JournalReader.find_run`` takes it, from the onset that its watch saw.

    Raises ConfigInvalid if there is no such run, it recorded no current, or its watch saw no boot begin.
    """
    recording = open_run(reader, which)
    boot = None if recording.onset_s is None else boot_since(recording, recording.onset_s)
    if boot is None:
        raise ConfigInvalid(f"{reader.where}: run {which!r} saw no boot begin; name a boot-watch that passed")
    return boot


def boot_since(recording: Recording, onset_s: float) -> Boot | None:
    """Read a recording's first ten minutes from an onset on; None where fewer than two samples are in it."""
    times_s: list[Floats] = []
    currents_a: list[Floats] = []
    for piece in recording.pieces:
        if piece.t_s[0] > onset_s + _BOOT_S:
            break
        keep = (piece.t_s >= onset_s) & (piece.t_s <= onset_s + _BOOT_S)
        times_s.append(piece.t_s[keep] - onset_s)
        currents_a.append(piece.current_a[keep])
    if sum(map(len, times_s)) < 2:
        return None
    return Boot(np.concatenate(times_s), np.concatenate(currents_a))


def likeness(boot: Boot | None, references: Sequence[Boot]) -> Likeness:
    """Compare a boot with the known-good one of ``references``; with None there was no boot to be seen."""
    if boot is None:
        says = "There is no beginning of a boot in it to compare with the known-good one."
        return Likeness(len(references), Comparison(None, None, None, says))
    return Likeness(len(references), compare(boot, make_known_good(references)))
