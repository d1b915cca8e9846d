"""The tabular cumulative sum (CUSUM): when values that should scatter about a target began to lie elsewhere.

E. S. Page, Biometrika 41, 1954, 100-115, in the tabular form of NIST/SEMATECH e-Handbook 6.3.2.3.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wakerail.analysis.ticks import Floats, Ints


class Side(enum.StrEnum):
    """On which side of the target the values came to lie."""

    HIGHER = "higher"
    LOWER = "lower"


@dataclass(frozen=True, slots=True)
class Alarm:
    """The first value at which a sum went beyond the limit.

    index: its place. run_length: for how many values, this one included, that sum had been above zero; so the last
    value before the change is estimated at ``index - run_length``, -1 for a change at the very beginning.
    mean: the estimate of what the values came to lie at, target ± (k sigma + sum / run_length).
    """

    index: int
    side: Side
    run_length: int
    mean: float


@dataclass(frozen=True, slots=True, eq=False)
class Cusum:
    """The upper and the lower sum after each value, in the values' unit, and the first alarm if there was one."""

    upper: Floats
    lower: Floats
    alarm: Alarm | None


def cusum(
    values: Sequence[float] | Floats, target: float, sigma: float = 1.0, *, k: float = 0.5, h: float = 5.0
) -> Cusum:
    """Return the two-sided CUSUM of ``values``, in O(n).

    sigma: their standard deviation in control. k: the allowance, half the shift to be found soonest. h: the limit of
    a sum. Both are in sigma. No value may be NaN. Raises ValueError unless sigma and h are above zero and k is at
    least zero.
    """
    if not (sigma > 0 and h > 0 and k >= 0):
        raise ValueError(f"sigma {sigma} and h {h} must be above zero, k {k} at least zero")
    deviations = np.asarray(values, dtype=np.float64) - target
    upper, upper_runs = _one_sided(deviations - k * sigma)
    lower, lower_runs = _one_sided(-deviations - k * sigma)
    beyond = np.flatnonzero((upper > h * sigma) | (lower > h * sigma))
    if not len(beyond):
        return Cusum(upper, lower, None)
    index = int(beyond[0])
    # one value cannot lie beyond both limits' sides: k is not negative, so at most one of the sums rises with it
    is_higher = bool(upper[index] > h * sigma)
    total, runs, sign = (upper, upper_runs, 1) if is_higher else (lower, lower_runs, -1)
    run_length = int(runs[index])
    mean = target + sign * (k * sigma + float(total[index]) / run_length)
    return Cusum(upper, lower, Alarm(index, Side.HIGHER if is_higher else Side.LOWER, run_length, mean))


def _one_sided(steps: Floats) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Return max(0, sum + step) step by step, and how many steps each sum has been above zero.

    The sum that starts again at zero is the plain running sum above its own lowest point so far.
    """
    plain = np.cumsum(steps)
    lowest = np.minimum.accumulate(np.minimum(plain, 0.0))
    places: Ints = np.arange(len(steps))
    at_zero = np.maximum.accumulate(np.where(plain <= lowest, places, -1)) if len(steps) else places
    return plain - lowest, places - at_zero
