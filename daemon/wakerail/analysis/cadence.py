"""The cadence of restarts: how long from boot to boot, whether it is a regular loop, and what the trade reads from it.

A loop that comes round like a clock has one cause that waits for one thing; restarts that come at any time have a
contact, heat or the load for a cause. Which of the two it is, is tested; where the restarts are too few, it is said.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from wakerail.analysis.seen import Restart
from wakerail.analysis.ticks import Floats
from wakerail.analysis.words import brief, percent

#: A loop's intervals scatter by no more than this share (standard deviation): a boot takes a little longer or less,
#: and of ten restarts one may have been missed.
LOOP_SCATTER = 0.25
#: Boots ended at the same stage if nine times out of ten they were up for the median time, give or take this share.
ALIKE_SHARE = 0.1
_ALIKE_PART = 0.9


class Regularity(enum.StrEnum):
    """How the intervals between boots scatter."""

    REGULAR = "regular"
    IRREGULAR = "irregular"
    TOO_FEW = "too few to say"


@dataclass(frozen=True, slots=True)
class Cadence:
    """From boot to boot.

    count: how many intervals. shortest_s, longest_s: of them. median_s: their median; low_s, high_s: the bounds
    within which the true median lies with ``confidence``; where it is less than ``confidence_asked``, the intervals
    are too few for that (five or less for 95 %), and the bounds are the widest that they give.
    regularity: see ``cadence_of``. p_value: the chance that restarts at random would come at least as evenly; None
    for one interval.
    up_s: the median time that a boot was up; None where it is not known of any. alike: whether the boots were up for
    the same time, so ended at the same stage; None where fewer than two are known.
    """

    count: int
    shortest_s: float
    longest_s: float
    median_s: float
    low_s: float
    high_s: float
    confidence: float
    confidence_asked: float
    regularity: Regularity
    p_value: float | None
    up_s: float | None
    alike: bool | None

    @property
    def says(self) -> str:
        """The cadence in a sentence or two."""
        return _tell(self)


@dataclass(frozen=True, slots=True)
class CadenceRow:
    """What the trade reads from a cadence: it fits a median from ``from_s`` up to ``to_s``, both included.

    regular, alike: whether the intervals must be regular (True) or irregular (False), the times up alike or not;
    None where that does not matter. says: the reading, a plain sentence. source: who says so.
    """

    name: str
    from_s: float
    to_s: float
    regular: bool | None
    alike: bool | None
    says: str
    source: str

    def fits(self, cadence: Cadence) -> bool:
        """Say whether the row fits; what is not known of the cadence fits no row that asks for it."""
        wanted = {True: Regularity.REGULAR, False: Regularity.IRREGULAR}
        return (
            self.from_s <= cadence.median_s <= self.to_s
            and (self.regular is None or cadence.regularity is wanted[self.regular])
            and (self.alike is None or cadence.alike is self.alike)
        )


def reading_of(cadence: Cadence, rows: Iterable[CadenceRow]) -> CadenceRow | None:
    """Return the first row that fits, None if none does."""
    return next((row for row in rows if row.fits(cadence)), None)


def cadence_of_restarts(restarts: Sequence[Restart], onset_s: float | None) -> Cadence | None:
    """Return the cadence of restarts in the order of time, None for fewer than two.

    Where USB and current told of restarts that overlap, it is without the times up. ``onset_s`` as in ``cadence_of``.
    """
    starts_s = np.array([restart.again_s for restart in restarts])
    if len(starts_s) < 2 or not (np.diff(starts_s) > 0).all():
        return None
    onset_s = onset_s if onset_s is not None and onset_s < starts_s[0] else None
    ends_s = np.array([restart.at_s for restart in restarts])
    begun_s = np.concatenate(([-math.inf if onset_s is None else onset_s], starts_s[:-1]))
    uncertainty_s = max(restart.uncertainty_s for restart in restarts)
    known_ends_s = ends_s.tolist() if (ends_s >= begun_s).all() else []
    return cadence_of(starts_s.tolist(), uncertainty_s, ends_s=known_ends_s, onset_s=onset_s)


def cadence_of(
    starts_s: Sequence[float],
    uncertainty_s: float,
    *,
    ends_s: Sequence[float] = (),
    onset_s: float | None = None,
    confidence: float = 0.95,
) -> Cadence | None:
    """Return the cadence of restarts, None for fewer than two.

    starts_s: when the boot after each restart began (``again_s``), ascending. uncertainty_s: how far each may be
    from the truth. ends_s: when the boot before each restart ended (``at_s``), as many as starts or none.
    onset_s: when the first boot began, if that was seen; its interval and its time up count with the others.

    The median's interval is that of order statistics (the sign test turned round), exact for any distribution, and
    widened by the uncertainty of the two moments. Regular: significantly more even than restarts at random, and not
    significantly rougher than a loop that scatters by LOOP_SCATTER; irregular: significantly rougher than that loop;
    neither: too few to say. Both by Bartlett's statistic, see ``evenness``, at the level 1 - ``confidence``.

    Raises ValueError for moments out of order, or ends that do not go with the starts.
    """
    if len(ends_s) not in {0, len(starts_s)}:
        raise ValueError(f"{len(ends_s)} ends do not go with {len(starts_s)} starts; each restart has one of both")
    if len(starts_s) < 2:
        return None
    begun_s = [*([] if onset_s is None else [onset_s]), *starts_s]
    intervals_s = np.diff(np.asarray(begun_s, dtype=np.float64))
    if not (intervals_s > 0).all():
        raise ValueError("the starts of boots must ascend; two are at one time or out of order")
    low_s, high_s, reached = median_interval(intervals_s, confidence)
    regularity, p_value = _regularity(intervals_s, uncertainty_s, 1 - confidence)
    up_s, alike = _times_up(begun_s, ends_s, uncertainty_s)
    doubt_s = math.sqrt(2) * uncertainty_s  # the two moments err independently
    return Cadence(
        count=len(intervals_s),
        shortest_s=float(intervals_s.min()),
        longest_s=float(intervals_s.max()),
        median_s=float(np.median(intervals_s)),
        low_s=max(low_s - doubt_s, 0.0),
        high_s=high_s + doubt_s,
        confidence=reached,
        confidence_asked=confidence,
        regularity=regularity,
        p_value=p_value,
        up_s=up_s,
        alike=alike,
    )


def median_interval(values: Floats, confidence: float) -> tuple[float, float, float]:
    """Return bounds for the median of what ``values`` are drawn from, and the confidence they truly have.

    The r-th lowest and r-th highest value hold the median with the confidence 1 - 2 P(B <= r - 1), B binomial of n
    and one half, whatever the distribution (the sign test's interval; exactly so if it is continuous). r is the
    largest that has the confidence asked for; where none has it, 1, which is the widest there is.
    """
    from scipy.special import bdtr  # noqa: PLC0415  slow to load, and seldom needed

    ordered, count = np.sort(values), len(values)
    held = 1 - 2 * bdtr(np.arange((count + 1) // 2), count, 0.5)
    enough = np.flatnonzero(held >= confidence)
    outside = int(enough[-1]) if len(enough) else 0
    reached = max(float(held[outside]), 0.0)
    return float(ordered[outside]), float(ordered[count - 1 - outside]), reached


def evenness(values: Floats, scatter: float = 1.0, excess: float = 0.0) -> float:
    """Return the chance that ``values`` drawn from one gamma distribution would be at least as even as they are.

    scatter: its standard deviation over its mean; 1 is the exponential, restarts at random. excess: what to add to
    the logarithm of the mean over the geometric mean before it is judged, where not all of the scatter is seen.

    The statistic is n k 2 (ln mean - mean ln), k = 1 / scatter², the likelihood ratio of one mean for all against a
    mean of its own for each; divided by 1 + (n + 1) / (6 n k) it follows chi-square with n - 1 degrees of freedom
    closely, even for two values (M. S. Bartlett, Proc. R. Soc. A 160, 1937, 268-282; for intervals of exponential
    times P. A. P. Moran, J. R. Stat. Soc. B 13, 1951, 147-150). At least two values, all above zero.
    """
    from scipy.special import chdtr  # noqa: PLC0415

    count, shape = len(values), 1 / scatter**2
    roughness = max(math.log(float(values.mean())) - float(np.log(values).mean()) + excess, 0.0)
    statistic = 2 * count * shape * roughness / (1 + (count + 1) / (6 * count * shape))
    return float(chdtr(count - 1, statistic))


def _regularity(intervals_s: Floats, uncertainty_s: float, level: float) -> tuple[Regularity, float | None]:
    if len(intervals_s) < 2:
        return Regularity.TOO_FEW, None
    # Two moments, each anywhere within the uncertainty (variance u²/3), roughen the logarithm by half their relative
    # variance. The sampling may hide that much unevenness, or may have made it: each test is given the worse case.
    hidden = uncertainty_s**2 / (3 * float(intervals_s.mean()) ** 2)
    p_random = evenness(intervals_s, excess=hidden)
    p_rougher = 1 - evenness(intervals_s, LOOP_SCATTER, excess=-hidden)
    if p_rougher <= level:
        return Regularity.IRREGULAR, p_random
    return (Regularity.REGULAR if p_random <= level else Regularity.TOO_FEW), p_random


def _times_up(
    begun_s: Sequence[float], ends_s: Sequence[float], uncertainty_s: float
) -> tuple[float | None, bool | None]:
    """Return the median time that a boot was up, and whether they were alike."""
    # without the onset the first end has no beginning
    known_ends_s = ends_s[max(len(ends_s) - len(begun_s) + 1, 0) :]
    ups_s = np.asarray([end_s - begin_s for begin_s, end_s in zip(begun_s, known_ends_s, strict=False)])
    if not len(ups_s):
        return None, None
    if (ups_s < 0).any():
        raise ValueError("a boot ends before it begins; give the end of the boot before each restart")
    up_s = float(np.median(ups_s))
    if len(ups_s) < 2:
        return up_s, None
    within = np.abs(ups_s - up_s) <= max(2 * uncertainty_s, ALIKE_SHARE * up_s)
    return up_s, bool(within.sum() >= math.ceil(_ALIKE_PART * len(ups_s)))


def _tell(cadence: Cadence) -> str:
    middle = brief(cadence.median_s)
    low, high, sure = brief(cadence.low_s), brief(cadence.high_s), percent(cadence.confidence)
    bounds = f"between {low} and {high}" if low != high else f"at {low}"
    if cadence.confidence >= cadence.confidence_asked:
        median = f"{middle} (the median lies {bounds} with {sure} confidence)"
    else:
        median = f"{middle} (the median lies {bounds}, but {cadence.count} intervals give that only {sure} confidence)"
    span = f"{brief(cadence.shortest_s)} to {brief(cadence.longest_s)} apart"
    if cadence.count == 1:
        told = f"Two boots began {middle} apart; one interval is too few to call it regular or not."
    elif cadence.regularity is Regularity.REGULAR:
        told = f"It restarts regularly, every {median}."
    elif cadence.regularity is Regularity.IRREGULAR:
        told = f"It restarts irregularly, {span}, in the median {median}."
    else:
        told = f"It restarts about every {median}; that is too few to call it regular or not."
    if cadence.up_s is None or cadence.alike is None:
        return told
    if cadence.alike:
        return f"{told} Each boot stays up for about {brief(cadence.up_s)}: it ends at the same stage."
    return f"{told} The boots stay up for different times, in the median {brief(cadence.up_s)}."
