"""Has the boot reader watch a recording in frames, as a bench hands it on, and keeps what it told, and when."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from _scoring import CaseT, Found, Score, match

from wakerail.analysis.seen import Restart, Revision, Seen
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail_sim.noise import Floats


@dataclass(frozen=True, slots=True)
class Watched:
    """The restarts that count in the end, all that were told while it ran, and how many were taken back at any time."""

    restarts: tuple[Found, ...]
    told: tuple[Found, ...]
    taken_back: int


def watch(t_s: Floats, current_a: Floats, frame_s: float) -> Watched:
    """Watch a recording; what was told counts as given at the end of its frame, what only the end shows, there."""
    end_s = float(t_s[-1])
    ends_s = np.arange(frame_s, end_s + 2 * frame_s, frame_s)
    places = np.searchsorted(t_s, ends_s, side="right")
    reader = BootReader(ReaderSettings())
    told: dict[int, Found] = {}
    taken_back = 0
    for (start, end), at_s in zip(itertools.pairwise([0, *places.tolist()]), ends_s.tolist(), strict=True):
        if end == start:
            continue
        seen = reader.take(t_s[start:end], current_a[start:end])
        told |= {one.number: _found(one, at_s) for one in seen if isinstance(one, Restart)}
        taken_back += _taken_back(seen)
    reading = reader.finish(end_s)
    restarts = [_found(one, told[one.number].given_s if one.number in told else end_s) for one in reading.restarts]
    return Watched(tuple(restarts), tuple(told.values()), taken_back + _taken_back(reading.last_seen))


def compare(
    seed: int,
    case: CaseT,
    confusers: tuple[str, ...],
    truth: Sequence[tuple[float, float]],
    sample_s: float,
    watched: Watched,
    length_s: float,
) -> Score[CaseT]:
    """Compare what was told with the true restarts of a recording."""
    pairs, missed, invented = match(truth, watched.restarts, sample_s)
    live, _, false_live = match(truth, watched.told, sample_s)
    return Score(
        seed,
        case,
        confusers,
        length_s,
        tuple(pairs),
        tuple(missed),
        tuple(invented),
        watched.taken_back,
        len(live),
        len(false_live),
    )


def _found(restart: Restart, given_s: float) -> Found:
    return Found(restart.at_s, restart.again_s, given_s, f"{restart.probability:.3f} {restart.says}")


def _taken_back(seen: Iterable[Seen]) -> int:
    return sum(isinstance(one, Revision) and not one.counts for one in seen)
