"""Restarts in plain sentences: each by itself, and how often, how regularly and after how long they came."""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Sequence
from typing import Protocol

from wakerail.analysis.seen import Restart
from wakerail.analysis.sorts import Sort
from wakerail.analysis.words import brief, level_words

COLLAPSE, DIP, OPENING, NEW_OPENING = "current-collapse", "current-dip", "opening-again", "new-opening"
_SPEAKS = 1.0  # a log-likelihood ratio above this is named as evidence
_REGULAR = 0.1  # times that differ by less are called one time


class Begin(Protocol):
    """A moment at which a boot began: of which sort, when the one before ended, and what was drawn between."""

    @property
    def sort(self) -> Sort: ...
    @property
    def at_s(self) -> float: ...
    @property
    def again_s(self) -> float: ...
    @property
    def low_a(self) -> float: ...


def evidence_of(sort: Sort, alike: float, novel: float, *, dipped: bool = False) -> list[str]:
    """Return the names of what a restart rests on that the current shows.

    ``alike`` is what the opening known says for it, ``novel`` what speaks for one not seen before; ``dipped``: the
    current fell for no more than an instant.
    """
    if sort is Sort.JUMP:
        return [OPENING] if not dipped else [DIP, OPENING] if alike > _SPEAKS else [DIP]
    names = [COLLAPSE if sort is Sort.COLLAPSE else DIP]
    if alike > max(novel, _SPEAKS):
        names.append(OPENING)
    elif novel > _SPEAKS:
        names.append(NEW_OPENING)
    return names


def tell_begin(begin: Begin, up_s: float | None, evidence: Sequence[str]) -> str:
    """Say what was seen of one restart; ``up_s`` is how long the boot before it was up, None if from before."""
    up = "" if up_s is None else f"after {brief(up_s)} up "
    if begin.sort is Sort.JUMP:
        dipped = ["the current dipped for an instant"] if DIP in evidence else []
        opened = ["the boot opened as the first did"] if OPENING in evidence else []
        return up + ", and ".join(dipped + opened)
    down = brief(begin.again_s - begin.at_s, 2)
    says = f"{up}the current fell to {level_words(begin.low_a)} and rose again {down} later"
    if OPENING in evidence:
        says += ", and the boot opened as the first did"
    elif NEW_OPENING in evidence:
        says += ", to levels as of a boot"
    return says


def tell_restarts(
    restarts: Sequence[Restart], onset_s: float | None, watched_s: float, fell_s: float | None, end_s: float
) -> str:
    """Say how often, how regularly and after how long: the same time each time points to one place in the boot."""
    begun_s = [onset_s, *(restart.again_s for restart in restarts)]
    ups_s = [restart.at_s - begin_s for begin_s, restart in zip(begun_s, restarts, strict=False) if begin_s is not None]
    if len(restarts) == 1:
        up = f", after {brief(ups_s[0])} up" if ups_s else ""
        last_s = restarts[-1].again_s
        if fell_s is not None:
            return f"It restarted once{up}, and stopped again {brief(fell_s - last_s)} later."
        return f"It restarted once{up}, and then stayed up for the {brief(end_s - last_s)} until the watch ended."
    doubt_s = max(restart.uncertainty_s for restart in restarts)
    # from boot to boot, as the cadence counts them
    again_s = [restart.again_s for restart in restarts]
    boots_s = again_s if onset_s is None or onset_s >= again_s[0] else [onset_s, *again_s]
    intervals_s = [after_s - before_s for before_s, after_s in itertools.pairwise(boots_s)]
    every = _in_words(intervals_s, doubt_s, "every {}" if len(intervals_s) > 1 else "{} apart", "{} to {} apart")
    up = _in_words(ups_s, doubt_s, "about {}", "{} to {}")
    return f"It restarted {len(restarts)} times in {brief(watched_s)}, {every}; each time after {up} up."


def _in_words(times_s: list[float], doubt_s: float, alike: str, unlike: str) -> str:
    """Put times that are the same, as far as they are known, into ``alike``; else their range into ``unlike``."""
    low_s, high_s = min(times_s), max(times_s)
    if high_s - low_s <= max(2 * doubt_s, _REGULAR * high_s):
        return alike.format(brief(statistics.median(times_s)))
    return unlike.format(brief(low_s), brief(high_s))
