"""Compares the restarts that a reader found with the true ones, and says how good that is, with exact intervals."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.stats import beta, chi2

from wakerail_sim.noise import Floats

CONFIDENCE = 0.95
_NEAR_S, _NEAR_SAMPLES = 0.5, 3
_FAR = 1e6


class Recorded(Protocol):
    """What a recording was to show: ``fault`` is None if nothing restarts, ``rate_hz`` the samples in a second."""

    @property
    def fault(self) -> str | None: ...

    @property
    def rate_hz(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Found:
    """A restart that the reader gave: its two times (s), when it was given, and why."""

    at_s: float
    again_s: float
    given_s: float
    why: str


@dataclass(frozen=True, slots=True)
class Pair:
    """A true restart and the one found for it: how far off its times are, and how late it was given (s)."""

    at_off_s: float
    again_off_s: float
    latency_s: float


CaseT = TypeVar("CaseT", bound=Recorded)


@dataclass(frozen=True, slots=True)
class Score(Generic[CaseT]):
    """What became of one recording. ``case`` is what it was to show, ``confusers`` what of that came about.

    ``found_live`` and ``false_live`` count the true and the false ones of the restarts that were told while it ran.
    """

    seed: int
    case: CaseT
    confusers: tuple[str, ...]
    length_s: float
    pairs: tuple[Pair, ...]
    missed: tuple[tuple[float, float], ...]
    invented: tuple[Found, ...]
    taken_back: int
    found_live: int
    false_live: int


def match(
    truth: Sequence[tuple[float, float]], found: Sequence[Found], sample_s: float
) -> tuple[list[Pair], list[tuple[float, float]], list[Found]]:
    """Pair true and found restarts one to one; return the pairs, the true ones missed and the found ones invented.

    Two belong together when either of their times is within 0.5 s or three samples, whichever is more.
    """
    times_s = np.array([(one.at_s, one.again_s) for one in found]).reshape(-1, 2)
    paired = pairing(np.array(truth).reshape(-1, 2), times_s, sample_s)
    off_s = np.abs(times_s[np.newaxis] - np.array(truth).reshape(-1, 1, 2))
    pairs = [Pair(float(off_s[i, j, 0]), float(off_s[i, j, 1]), found[j].given_s - truth[i][1]) for i, j in paired]
    missed = set(range(len(truth))) - {i for i, _ in paired}
    invented = set(range(len(found))) - {j for _, j in paired}
    return pairs, [truth[i] for i in sorted(missed)], [found[j] for j in sorted(invented)]


def pairing(truth_s: Floats, found_s: Floats, sample_s: float) -> list[tuple[int, int]]:
    """Return which true and found restarts are paired, by their places; of each the two times (s), n x 2."""
    if not len(truth_s) or not len(found_s):
        return []
    near_s = max(_NEAR_S, _NEAR_SAMPLES * sample_s)
    off_s = np.abs(found_s[np.newaxis] - truth_s[:, np.newaxis])
    nearest_s = off_s.min(axis=2)
    of_truth, of_found = linear_sum_assignment(np.where(nearest_s <= near_s, off_s.sum(axis=2), _FAR))
    return [(i, j) for i, j in zip(of_truth.tolist(), of_found.tolist(), strict=True) if nearest_s[i, j] <= near_s]


def share(hits: int, total: int) -> tuple[float, float, float] | None:
    """Return a share with its exact interval (Clopper and Pearson 1934); None of nothing."""
    if total == 0:
        return None
    tail = (1 - CONFIDENCE) / 2
    low = float(beta.ppf(tail, hits, total - hits + 1)) if hits else 0.0
    high = float(beta.ppf(1 - tail, hits + 1, total - hits)) if hits < total else 1.0
    return hits / total, low, high


def rate(count: int, exposure: float) -> tuple[float, float, float] | None:
    """Return events per exposure with the exact interval for a Poisson count (Garwood 1936); None without exposure."""
    if exposure == 0:
        return None
    tail = (1 - CONFIDENCE) / 2
    low = float(chi2.ppf(tail, 2 * count)) / 2 if count else 0.0
    high = float(chi2.ppf(1 - tail, 2 * count + 2)) / 2
    return count / exposure, low / exposure, high / exposure


def summary(scores: Iterable[Score[CaseT]]) -> dict[str, object]:
    """Return the figures of some recordings: names end in the unit, intervals are [figure, low, high]."""
    scores = list(scores)
    faulty = [score for score in scores if score.case.fault is not None]
    healthy = [score for score in scores if score.case.fault is None]
    pairs = [pair for score in faulty for pair in score.pairs]
    missed = sum(len(score.missed) for score in faulty)
    invented = sum(len(score.invented) for score in faulty)
    false = sum(len(score.invented) for score in healthy)
    hours = sum(score.length_s for score in healthy) / 3600
    live = sum(score.found_live for score in faulty)
    whole = sum(not score.missed and not score.invented for score in faulty)
    samples = [(pair, score.case.rate_hz) for score in faulty for pair in score.pairs]
    return {
        "restarts": len(pairs) + missed,
        "missed": missed,
        "invented": invented,
        "recall": _rounded(share(len(pairs), len(pairs) + missed), 4),
        "recall_live": _rounded(share(live, len(pairs) + missed), 4),
        "precision": _rounded(share(len(pairs), len(pairs) + invented), 4),
        "recordings": len(faulty),
        "read_without_error": _rounded(share(whole, len(faulty)), 3),
        "healthy_h": round(hours, 1),
        "false": false,
        "false_live": sum(score.false_live for score in healthy),
        "false_per_100h": _rounded(rate(false, hours / 100), 2),
        "at_off_s": _quantiles([pair.at_off_s for pair in pairs], 4),
        "again_off_s": _quantiles([pair.again_off_s for pair in pairs], 4),
        "at_off_samples": _quantiles([pair.at_off_s * rate_hz for pair, rate_hz in samples], 2),
        "again_off_samples": _quantiles([pair.again_off_s * rate_hz for pair, rate_hz in samples], 2),
        "latency_s": _quantiles([pair.latency_s for pair in pairs], 2),
        "taken_back": sum(score.taken_back for score in scores),
    }


def _rounded(interval: tuple[float, float, float] | None, digits: int) -> list[float] | None:
    return None if interval is None else [round(figure, digits) for figure in interval]


def _quantiles(figures: Sequence[float], digits: int) -> list[float] | None:
    """Return the median and the 95th percentile."""
    if not figures:
        return None
    return [round(float(figure), digits) for figure in np.quantile(figures, [0.5, 0.95])]
