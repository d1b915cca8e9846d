"""Makes frames of readings: times and their uncertainty for each sample, and how many samples go together."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import timedelta

from wakerail_kit.clock import Clock, rfc3339
from wakerail_kit.kinds import Reading
from wakerail_kit.messages import Frame


def data_of(reading: Reading) -> Reading:
    """Return the reading with None for whatever is no number: a NaN would pass every limit unnoticed."""
    signals = {
        name: [value if value is not None and math.isfinite(value) else None for value in samples]
        for name, samples in reading.signals.items()
    }
    return Reading(signals=signals, spacing_s=reading.spacing_s, events=reading.events)


class FrameMaker:
    """Gathers one instrument's readings into frames. All times are seconds of the clock's monotonic scale."""

    def __init__(self, bench: str, instrument: str, units: Mapping[str, str], clock: Clock) -> None:
        self._bench = bench
        self._instrument = instrument
        self._units = units
        self._clock = clock
        self._number = 0
        self._last_s = float("-inf")
        self._t_s: list[float] = []
        self._half_width_s: list[float] = []
        self._signals: dict[str, list[float | None]] = {}

    def add(self, reading: Reading, before_s: float, after_s: float) -> None:
        """Gather a reading that was asked for at ``before_s`` and there at ``after_s``."""
        count = len(next(iter(reading.signals.values()), ()))
        if count == 0:
            return
        half_s = (after_s - before_s) / 2
        self._t_s += self._times(reading.spacing_s, count, before_s + half_s, half_s)
        self._half_width_s += [half_s] * count
        self._last_s = self._t_s[-1]
        for name, samples in reading.signals.items():
            self._signals.setdefault(name, []).extend(samples)

    def age_s(self, now_s: float) -> float:
        """Return how long the oldest gathered sample has waited; below 0 if there is none."""
        return now_s - self._t_s[0] if self._t_s else -1.0

    def make(self) -> Frame | None:
        """Return what was gathered as a frame, or None if there is nothing."""
        if not self._t_s:
            return None
        self._number += 1
        start = self._clock.now() - timedelta(seconds=self._clock.monotonic_s() - self._t_s[0])
        frame = Frame(
            bench=self._bench,
            instrument=self._instrument,
            number=self._number,
            start=rfc3339(start),
            t_s=self._t_s,
            half_width_s=self._half_width_s,
            signals=self._signals,
            units={name: self._units[name] for name in self._signals},
        )
        self._t_s, self._half_width_s, self._signals = [], [], {}
        return frame

    def _times(self, spacing_s: float | None, count: int, newest_s: float, half_s: float) -> list[float]:
        if spacing_s is None:
            return [newest_s]
        first_s = newest_s - spacing_s * (count - 1)
        # Blocks that follow on each other are joined by the instrument's own steady spacing; the time of the query
        # jitters more than that.
        follows_s = self._last_s + spacing_s
        if abs(first_s - follows_s) < max(2 * half_s, 5 * spacing_s, 0.02):
            first_s = follows_s
        first_s = max(first_s, self._last_s + spacing_s / 2)
        return [first_s + spacing_s * index for index in range(count)]
