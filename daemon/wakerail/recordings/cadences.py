"""How a device restarted before, from the journal: the cadence of its job's earlier runs."""

from __future__ import annotations

import math

from wakerail.analysis.cadence import Cadence, cadence_of_restarts
from wakerail.analysis.seen import Restart
from wakerail.jobs.book import naming
from wakerail.journal import JournalReader
from wakerail_kit.events import EVENT_TYPES, OnsetSeen, RestartRevised, RestartSeen, StepFinished, any_data, type_of
from wakerail_kit.job_events import IsolationObserved, IsolationUndone
from wakerail_kit.messages import Event
from wakerail_kit.outcome import Finding

#: Older runs than these newest are not looked at: a journal grows for years.
_MOST_RUNS = 500
_INTERVAL = "restart-interval"  # as the reading measures it


def cadence_before_run(reader: JournalReader, which: str) -> Cadence | None:
    """Return how the device of a run, named as ``JournalReader.find_run`` takes it, restarted before; None if unknown.

    Raises ConfigInvalid if there is no such run.
    """
    run = reader.run(which)
    return None if run.job is None else cadence_before(reader, run.job, run.sequence, run.first_row)


def cadence_before(reader: JournalReader, job: str, sequence: str, before_row: float = math.inf) -> Cadence | None:
    """Return how a job's device restarted in the newest of its runs of a sequence that shows a cadence.

    None if none of the newest 500 runs does. Runs that began at ``before_row`` of the journal or later do not count,
    nor do those in which it may have restarted for want of a part that was off.
    """
    by_itself: set[str] | None = None
    for run in reader.runs(limit=_MOST_RUNS):
        if run.first_row >= before_row or run.sequence != sequence or (run.job or "").lower() != job.lower():
            continue
        if run.finding is Finding.RESTARTING:
            by_itself = _by_itself(reader, job) if by_itself is None else by_itself
            if run.run in by_itself:
                continue
            cadence = _cadence_of(reader, run.run)
            if cadence is not None:
                return cadence
    return None


def _by_itself(reader: JournalReader, job: str) -> set[str]:
    """Return the runs of which the job's isolation says that the device restarted for want of a part."""
    kept = reader.of_types((type_of(IsolationObserved), type_of(IsolationUndone)), containing=naming(job.lower()))
    found: dict[int, str] = {}
    for entry in kept:
        data = any_data(entry.message) if isinstance(entry.message, Event) else None
        if isinstance(data, IsolationObserved) and data.by_itself and data.run is not None:
            found[data.number] = data.run
        elif isinstance(data, IsolationUndone):
            found.pop(data.number, None)
    return set(found.values())


def _cadence_of(reader: JournalReader, run: str) -> Cadence | None:
    return cadence_of_restarts(*restarts_of_run(reader, run))


def restarts_of_run(reader: JournalReader, run: str) -> tuple[list[Restart], float | None]:
    """Return the restarts that a run told of and that still counted at its end, and when its first boot began."""
    onset_s, doubt_s = None, 0.0
    restarts: dict[int, RestartSeen] = {}
    taken_back: set[int] = set()
    for entry in reader.events(run=run):
        if not isinstance(entry.message, Event) or entry.message.type not in EVENT_TYPES:
            continue
        match any_data(entry.message):
            case OnsetSeen(at_s=at_s):
                onset_s = at_s if onset_s is None else onset_s
            case RestartSeen() as seen:
                restarts[seen.number] = seen
            case RestartRevised(number=number, counts=counts):
                (taken_back.discard if counts else taken_back.add)(number)
            case StepFinished(measurements=measurements):
                doubt_s = next((one.uncertainty or 0.0 for one in measurements if one.name == _INTERVAL), doubt_s)
            case _:
                pass
    counting = [
        Restart(
            at_s=seen.at_s,
            again_s=seen.again_s,
            number=seen.number,
            probability=1.0 if seen.probability is None else seen.probability,
            evidence=tuple(seen.evidence),
            says=seen.says,
            uncertainty_s=doubt_s / math.sqrt(2),  # an interval's two ends err independently
        )
        for seen in sorted(restarts.values(), key=lambda one: one.again_s)
        if seen.number not in taken_back
    ]
    return counting, onset_s
