"""What moments say together: of those that stand for different restarts, how each fits in with the others.

Each moment alone has log odds (``weighing``). Where all of a recording are in doubt, or too many are likely, the others
tell which it is: a device that restarts is off for about as long each time, comes back with the same opening, and at
times of its own; what only looks like it varies. Who the likely ones are changes with that, so it is done twice.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from wakerail.analysis.hindsight.evidence import Columns
from wakerail.analysis.hindsight.grid import Bools, Floats, Ints
from wakerail.analysis.hindsight.moments import Moments

_NEAR = 5.5  # spacings: two moments nearer than this stand for one restart
_LEAST = -9.0  # log odds: what is less likely is not looked at
_MOST = 8.0  # log odds: what is likelier counts as this
_IN_DOUBT = 1.5
_FEWEST = 3
_AT_ONCE = 0.5  # spacings
_BESIDE, _ABOUT = 8, 40  # ticks
_LEAST_EXPECTED = 1e-5
_BACK = 5.0  # a log-likelihood ratio: the opening came back
#: Log odds from which on a moment is one of those that the others are held against.
_SETS = {"likely": 0.0, "possible": -2.0}
_ALL_OF_THEM = (
    "off_varies",
    "off_varies_mostly",
    "intervals_vary",
    "intervals_vary_mostly",
    "usually_alike",
    "share_alike",
    "share_told",
    "share_of_one_sort",
    "opening_varies",
    "share_from_elsewhere",
    "usually_dips_by",
    "seldom_dips_so",
    "how_often",
    "times_so_low_for_each",
    "times_so_high_for_each",
)
_EACH = (
    "off_unlike_others",
    "more_alike_than_others",
    "level_before_unlike_others",
    "opening_unlike_others",
    "second_stage_above_others",
    "interval_unlike_others",
    "dip_unlike_others",
)


def distinct(moments: Moments, log_odds: Floats, spacing_s: float) -> Bools:
    """Tell which moments stand for different restarts: of those near each other or within another, the likeliest."""
    kept = np.zeros(len(moments), dtype=np.bool_)
    for place in np.argsort(-log_odds, kind="stable").tolist():
        if log_odds[place] < _LEAST:
            break
        at_s, again_s = float(moments.at_s[place]), float(moments.again_s[place])
        kept[place] = not is_among(at_s, again_s, moments.at_s[kept], moments.again_s[kept], spacing_s)
    return kept


def is_among(at_s: float, again_s: float, others_at_s: Floats, others_again_s: Floats, spacing_s: float) -> bool:
    """Tell whether a moment is near one of others, or within it."""
    return bool(are_one(at_s, again_s, others_at_s, others_again_s, spacing_s).any())


def are_one(at_s: float, again_s: float, others_at_s: Floats, others_again_s: Floats, spacing_s: float) -> Bools:
    """Tell which others a moment is near to, or within: they stand for the same restart."""
    near: Bools = np.abs(others_again_s - again_s) < _NEAR * spacing_s
    return near | ((at_s < others_again_s) & (others_at_s < again_s))


def describe_crowd(moments: Moments, log_odds: Floats, among: Ints) -> Columns:
    """Return columns of numbers for some of all moments: how many restarts are expected near each, it included.

    Where a boot begins, several moments may look like its begin, and none be likely by itself. Natural logs of what
    the log odds let expect beside it and about it, and its own share of what is beside it.
    """
    chance = expit(log_odds)
    summed = np.concatenate(([0.0], np.cumsum(chance)))

    def expected(ticks: int) -> Floats:
        first = np.searchsorted(moments.place, moments.place[among] - ticks)
        last = np.searchsorted(moments.place, moments.place[among] + ticks, side="right")
        within: Floats = np.maximum(summed[last] - summed[first], _LEAST_EXPECTED)
        return within

    beside = expected(_BESIDE)
    return {
        "expected_beside": np.log(beside),
        "expected_about": np.log(expected(_ABOUT)),
        "share_beside": chance[among] / beside,
    }


def describe_together(
    moments: Moments, columns: Columns, log_odds: Floats, spacing_s: float, length_s: float
) -> Columns:
    """Return columns of numbers for moments of which each stands for a restart of its own, given their log odds so far.

    ``columns`` describes each, with its log odds ``alone``; ``length_s`` is the recording's. NaN where too few others
    are likely.
    """
    ranked = np.sort(np.clip(log_odds, -_MOST, _MOST))[::-1]
    likely = ranked[ranked > 0]
    highest, last = ranked[: max(1, len(ranked) // 10)].mean(), len(ranked) - 1
    second, fifth = ranked[min(1, last)], ranked[min(4, last)]
    of_all = {
        "highest": highest,
        "second": second,
        "fifth": fifth,
        "fifteenth": ranked[min(14, last)],
        "how_many_likely": len(likely),
        "share_likely": len(likely) / len(ranked),
        "usually_likely": np.median(likely) if len(likely) else np.nan,
        "share_in_doubt": np.mean(np.abs(ranked) < _IN_DOUBT),
        "expected": expit(ranked).sum(),
    }
    described = {
        "alone": columns["alone"],
        "so_far": log_odds,
        "below_the_highest": log_odds - highest,
        "below_the_second": log_odds - second,
        "below_the_fifth": log_odds - fifth,
        "rank": np.searchsorted(-ranked, -log_odds).astype(np.float64),
        "told": columns["told"],
    } | {name: np.full(len(moments), float(value)) for name, value in of_all.items()}
    off = np.log(np.maximum(moments.again_s - moments.at_s, _AT_ONCE * spacing_s))
    for kind, least in _SETS.items():
        some = np.flatnonzero(log_odds > least)
        if len(some) >= _FEWEST:
            numbers = _of_them(moments, columns, off, some, length_s) | _of_each(moments, columns, off, some)
        else:
            numbers = dict.fromkeys((*_ALL_OF_THEM, *_EACH), np.full(len(moments), np.nan))
        described |= {f"{kind}_{name}": values for name, values in numbers.items()}
    return described


def _of_them(moments: Moments, columns: Columns, off: Floats, some: Ints, length_s: float) -> dict[str, Floats]:
    """Return what is true of some moments together, the same for all."""
    intervals = log_s(np.diff(moments.again_s[some]))
    best, sorts = columns["alike_at_best"][some], moments.sort[some]
    numbers = {
        "off_varies": off[some].std(),
        "off_varies_mostly": usual_distance(off[some]),
        "intervals_vary": intervals.std(),
        "intervals_vary_mostly": usual_distance(intervals),
        "usually_alike": np.median(best),
        "share_alike": np.mean(best > _BACK),
        "share_told": columns["told"][some].mean(),
        "share_of_one_sort": np.mean(sorts == np.bincount(sorts).argmax()),
        "opening_varies": _known(columns["opening_level_off"][some]).std(),
        "share_from_elsewhere": columns["share_from_elsewhere"][some].mean(),
        "usually_dips_by": np.median(columns["dips_by"][some]),
        "seldom_dips_so": np.median(columns["seldom_dips_so"][some]),
        "how_often": np.log(len(some) / length_s),
        "times_so_low_for_each": np.median(columns["times_so_low"][some]) - np.log1p(len(some)),
        "times_so_high_for_each": np.median(columns["times_so_high"][some]) - np.log1p(len(some)),
    }
    return {name: np.full(len(moments), float(value)) for name, value in numbers.items()}


def _of_each(moments: Moments, columns: Columns, off: Floats, some: Ints) -> dict[str, Floats]:
    """Return how each moment differs from some that are likely."""
    begins_s = moments.again_s[some]
    place = np.searchsorted(begins_s, moments.again_s)  # of itself, for one of them
    since_s = np.where(place > 0, moments.again_s - begins_s[np.maximum(place - 1, 0)], np.nan)
    usual = np.median(log_s(np.diff(begins_s)))

    def above(name: str) -> Floats:
        return columns[name] - np.median(_known(columns[name][some]))

    return {
        "off_unlike_others": np.abs(off - np.median(off[some])),
        "more_alike_than_others": above("alike_at_best"),
        "level_before_unlike_others": np.abs(above("level_before")),
        "opening_unlike_others": np.abs(above("opening_level_off")),
        "second_stage_above_others": above("alike_by_the_second_stage"),
        "interval_unlike_others": np.abs(log_s(since_s) - usual),
        "dip_unlike_others": np.abs(above("dips_by")),
    }


def log_s(lasts_s: Floats) -> Floats:
    """Return the natural logs of lengths of time (s), those of less than a millisecond as of one."""
    logs: Floats = np.log(np.maximum(lasts_s, 1e-3))
    return logs


def usual_distance(values: Floats) -> float:
    """Return the median distance from the median."""
    return float(np.median(np.abs(values - np.median(values))))


def _known(values: Floats) -> Floats:
    """Return the values that are not NaN; a single NaN if none is."""
    known = values[~np.isnan(values)]
    return known if len(known) else np.array([np.nan])
