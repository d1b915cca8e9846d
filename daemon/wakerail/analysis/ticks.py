"""Samples condensed as they come: up to 20 samples and 20 ms to a tick, so that an hour at 1 kS/s stays small.

20 ms is one period of 50 Hz mains, so a tick of a fast trace has most of the hum averaged out. At 50 samples a second
and slower each sample is a tick of its own, and a trace of microseconds still has a tick for every 20 samples: the
time scale is the trace's own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

TICK_S = 0.020
TICK_SAMPLES = 20
# Sample times are sums of floats: a sample at the very edge of a tick must fall on the same side each time.
_SLACK = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Ticks:
    """Ticks in the order of time; every array has one value for each.

    start_s, end_s: times of the first and the last sample (monotonic seconds); the same where it is one sample.
    count: how many samples. mean_a, low_a, high_a, square_a2: mean, lowest, highest, mean of the squares.
    charge_as, energy_j: charge and energy from this tick's first sample to the next tick's, by the trapezoid rule,
    0 where that is a gap; the energy is NaN where no voltage was measured.
    """

    start_s: Floats
    end_s: Floats
    count: Ints
    mean_a: Floats
    low_a: Floats
    high_a: Floats
    square_a2: Floats
    charge_as: Floats
    energy_j: Floats

    def __len__(self) -> int:
        return len(self.start_s)

    def between(self, first: int, last: int) -> Ticks:
        """Return the ticks from place ``first`` up to, not including, ``last``."""
        return Ticks(*(getattr(self, field.name)[first:last] for field in fields(self)))


def join(parts: list[Ticks]) -> Ticks:
    """Return ticks put one after another."""
    if not parts:
        empty = np.empty(0)
        return Ticks(empty, empty, np.empty(0, dtype=np.int64), *([empty] * 6))
    return Ticks(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Ticks)))


class Condenser:
    """Condenses samples to ticks, whatever the sizes of the pieces in which they come.

    ``max_gap_s`` is the longest time between two samples over which charge is counted.
    """

    def __init__(self, max_gap_s: float = math.inf) -> None:
        self._max_gap_s = max_gap_s
        self._origin_s = math.nan
        self._t_s = self._amps = self._volts = np.empty(0)

    def take(self, t_s: Floats, current_a: Floats, voltage_v: Floats | None = None) -> Ticks:
        """Take finite samples at ascending times; return the ticks that are complete now."""
        if not len(t_s):
            return join([])
        if math.isnan(self._origin_s):
            self._origin_s = float(t_s[0])
        volts = np.full(len(t_s), np.nan) if voltage_v is None else voltage_v
        if len(self._t_s):
            t_s = np.concatenate((self._t_s, t_s))
            current_a = np.concatenate((self._amps, current_a))
            volts = np.concatenate((self._volts, volts))
        starts = self._starts(t_s)
        rest = starts[-1]  # a tick is complete when a sample of the next one is there
        self._t_s, self._amps, self._volts = t_s[rest:], current_a[rest:], volts[rest:]
        return self._condense(t_s[: rest + 1], current_a[: rest + 1], volts[: rest + 1], starts)

    def finish(self) -> Ticks:
        """Return the last tick, complete or not."""
        t_s, amps, volts = (np.append(column, column[-1:]) for column in (self._t_s, self._amps, self._volts))
        count = len(self._t_s)
        self._t_s = self._amps = self._volts = np.empty(0)
        return self._condense(t_s, amps, volts, np.array([0, count])) if count else join([])

    def _starts(self, t_s: Floats) -> Ints:
        """Return where ticks begin. The samples at hand begin with a tick."""
        cell = ((t_s - self._origin_s) * (1.0 / TICK_S) + _SLACK).astype(np.int64)
        bounds = np.concatenate(([0], np.flatnonzero(cell[1:] != cell[:-1]) + 1, [len(t_s)]))
        opens, lengths = bounds[:-1], bounds[1:] - bounds[:-1]
        if lengths.max() <= TICK_SAMPLES:
            return opens
        place = np.arange(len(t_s)) - np.repeat(opens, lengths)
        return np.flatnonzero(place % TICK_SAMPLES == 0)

    def _condense(self, t_s: Floats, amps: Floats, volts: Floats, starts: Ints) -> Ticks:
        """Condense whole ticks; the last of ``starts`` is where the sample after them stands."""
        if len(starts) < 2:
            return join([])
        inner, at = amps[:-1], starts[:-1]
        count = starts[1:] - at
        half_s = 0.5 * (t_s[1:] - t_s[:-1])
        half_s[half_s > 0.5 * self._max_gap_s] = 0.0
        energy_j = np.full(len(at), np.nan)
        if not np.isnan(volts).all():  # a tick with a sample missing has no energy
            watts = amps * volts
            energy_j = np.add.reduceat((watts[1:] + watts[:-1]) * half_s, at)
        return Ticks(
            start_s=t_s[at],
            end_s=t_s[starts[1:] - 1],
            count=count,
            mean_a=np.add.reduceat(inner, at) / count,
            low_a=np.minimum.reduceat(inner, at),
            high_a=np.maximum.reduceat(inner, at),
            square_a2=np.add.reduceat(inner * inner, at) / count,
            charge_as=np.add.reduceat((amps[1:] + inner) * half_s, at),
            energy_j=energy_j,
        )
