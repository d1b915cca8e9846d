"""What the supply had to do with it: constant-current limiting, a short that drags it down, sag under a flat top.

A starved device resets within milliseconds, and its restarts are then the bench's fault. So one sample at the limit
is enough where a boot ends; elsewhere it must last, since capacitors are charged at the limit by right.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from wakerail.analysis.ticks import Floats, Ticks

_HOLD_S = 0.14 - 1e-6  # a limit that lasts counts; times are sums of floats
_LIMIT_TOLD_S = 1.0  # a supply tells this late that it limited: it is asked for that less often than for the current
_AT_LIMIT = 0.98  # of the current limit: a supply limits, whether or not it says so in time
_DRAGGED_DOWN = 0.5  # of the set voltage: no device's own circuits run there, so what still draws is a short

_SAG = 0.05  # of the usual voltage, beyond what the leads explain
_FLAT = 0.02  # of the current: a supply that limits holds it better
_USUAL = 0.9  # quantile of the voltage that stands for a supply at ease
_LEAD_CURRENTS = 0.3, 0.95  # of the flat current: from these the leads' resistance is estimated
_MOSTLY = 0.8
_ABOVE = 0.02  # of the time above the flat top: more, and it was no limit


@dataclass(frozen=True, slots=True)
class BootEnd:
    """A boot ended at ``at_s``, or up to ``within_s`` before."""

    at_s: float
    within_s: float


class _Stretches:
    """Stretches of samples in which something holds, from pieces of any length. Times that end in a gap are parted."""

    def __init__(self, max_gap_s: float) -> None:
        self._max_gap_s = max_gap_s
        self._starts: list[Floats] = []
        self._ends: list[Floats] = []
        self._open = False
        self._last_s = math.nan

    def take(self, t_s: Floats, holds: np.ndarray[tuple[int], np.dtype[np.bool_]] | None) -> None:
        """Take samples; None where it holds for none of them."""
        if holds is None or not holds.any():
            self._open, self._last_s = False, float(t_s[-1])
            return
        gap = np.diff(t_s, prepend=self._last_s) > self._max_gap_s  # the first of all compares as no gap
        before = np.concatenate(([self._open], holds[:-1])) & ~gap
        after = np.concatenate((holds[1:] & ~gap[1:], [False]))
        begins, ends = t_s[holds & ~before], t_s[holds & ~after]
        if len(self._ends) and holds[0] and before[0]:
            self._ends[-1] = self._ends[-1][:-1]  # it goes on
        self._starts.append(begins)
        self._ends.append(ends)
        self._open, self._last_s = bool(holds[-1]), float(t_s[-1])

    @property
    def bounds_s(self) -> tuple[Floats, Floats]:
        """First and last sample's time of each stretch."""
        empty = np.empty(0)
        return np.concatenate([*self._starts, empty]), np.concatenate([*self._ends, empty])


class SupplyWatch:
    """Notes when the supply limited. ``limit_a``, ``set_v``: its settings, None where they are not known."""

    def __init__(self, limit_a: float | None, set_v: float | None, short_hold_s: float, max_gap_s: float) -> None:
        self.limit_a = limit_a
        self._at_limit_a = math.inf if limit_a is None else _AT_LIMIT * limit_a
        self._down_v = _DRAGGED_DOWN * (set_v or 0.0)
        self._short_hold_s = short_hold_s - 1e-6
        self._limited = _Stretches(max_gap_s)
        self._down = _Stretches(max_gap_s)
        self._down_level_v: list[tuple[Floats, Floats]] = []

    def take(self, t_s: Floats, current_a: Floats, voltage_v: Floats | None, limiting: Floats | None) -> None:
        """Take samples at ascending times. ``limiting`` is above 0 where the supply says that it limits."""
        limits = None
        if limiting is not None and limiting.any():
            limits = limiting > 0
        if self._at_limit_a < math.inf and current_a.max() >= self._at_limit_a:
            over = current_a >= self._at_limit_a
            limits = over if limits is None else limits | over
        down = None
        if limits is not None and voltage_v is not None and self._down_v:
            down = limits & (voltage_v < self._down_v)
            if down.any():
                self._down_level_v.append((t_s[down], voltage_v[down]))
        self._limited.take(t_s, limits)
        self._down.take(t_s, down)

    def dragged_down_v(self) -> float | None:
        """Return the voltage to which a short dragged the supply for long enough, None if none did."""
        starts_s, ends_s = self._down.bounds_s
        held = np.flatnonzero(ends_s - starts_s >= self._short_hold_s)
        if not len(held):
            return None
        times_s, volts = (np.concatenate(each) for each in zip(*self._down_level_v, strict=True))
        within = (times_s >= starts_s[held[0]]) & (times_s <= ends_s[held[0]])
        return float(np.median(volts[within]))

    def held_back(self, ends: Iterable[BootEnd]) -> bool:
        """Tell whether the limit lasted, or was met where a boot ended."""
        starts_s, ends_s = self._limited.bounds_s
        if not len(starts_s):
            return False
        if (ends_s - starts_s >= _HOLD_S).any():
            return True
        return any(
            ((ends_s >= end.at_s - end.within_s - _HOLD_S) & (starts_s <= end.at_s + _LIMIT_TOLD_S)).any()
            for end in ends
        )

    @property
    def met_its_limit(self) -> bool:
        """True if the supply limited at all."""
        return bool(len(self._limited.bounds_s[0]))


def flat_top_a(ticks: Ticks) -> float | None:
    """Return the current at which a supply of unknown limit seems to have limited; None if it seems to have not.

    There the voltage sags by more than 5 % below its usual level and below what the leads explain, while the current
    stands still at its highest: for 0.14 s at least, in one piece or in all.
    """
    drawn = ticks.charge_as > 0
    if np.isnan(ticks.energy_j[drawn]).all():
        return None
    volts = np.full(len(ticks), np.nan)
    np.divide(ticks.energy_j, ticks.charge_as, out=volts, where=drawn)
    known = np.isfinite(volts)
    usual_v = float(np.quantile(volts[known], _USUAL))
    sagged = known & (volts < (1 - _SAG) * usual_v)
    if usual_v <= 0 or not sagged.any():
        return None
    top_a = float(np.median(ticks.mean_a[sagged]))
    easy = known & ~sagged & (ticks.mean_a > _LEAD_CURRENTS[0] * top_a) & (ticks.mean_a < _LEAD_CURRENTS[1] * top_a)
    leads_ohm = float(np.median((usual_v - volts[easy]) / ticks.mean_a[easy])) if easy.any() else 0.0
    sagged &= volts + max(leads_ohm, 0.0) * ticks.mean_a < (1 - _SAG) * usual_v
    flat = sagged & (np.abs(ticks.mean_a - top_a) <= _FLAT * top_a) & (ticks.high_a - ticks.low_a <= _FLAT * top_a)
    lasts_s = np.diff(ticks.start_s, append=ticks.end_s[-1])
    lasts_s = np.minimum(lasts_s, np.median(lasts_s) * 3)
    held_s, above_s = lasts_s[flat].sum(), lasts_s[ticks.mean_a > (1 + _FLAT) * top_a].sum()
    if held_s < max(_HOLD_S, _MOSTLY * lasts_s[sagged].sum()) or above_s > _ABOVE * lasts_s[ticks.mean_a > 0].sum():
        return None
    return top_a
