"""A trace in outline, for pictures: lowest and highest of each of some thousand slots, however long it lasts."""

from __future__ import annotations

import numpy as np

from wakerail.recordings.units import Floats

_SLOTS = 4096


class Outline:
    """Takes samples as they come and keeps few: each one as it is while they are few, then slots that grow wider."""

    def __init__(self, slots: int = _SLOTS) -> None:
        self._slots = slots
        self._times = np.empty(0)
        self._values = np.empty(0)
        self._origin_s = 0.0
        self._slot_s = 0.0  # 0 while the samples are kept as they are
        self._places = np.empty(0, dtype=np.int64)
        self._lows = np.empty(0)
        self._highs = np.empty(0)

    def take(self, t_s: Floats, values: Floats) -> None:
        """Take samples in the order of time. Values that are no numbers are left out."""
        good = np.isfinite(values)
        t_s, values = t_s[good], values[good]
        if not t_s.size:
            return
        if self._slot_s == 0.0:
            self._times = np.concatenate([self._times, t_s])
            self._values = np.concatenate([self._values, values])
            if self._times.size <= 2 * self._slots:
                return
            t_s, values = self._times, self._values
            self._origin_s = float(t_s[0])
            self._slot_s = float(t_s[-1] - t_s[0]) / self._slots
            self._times = self._values = np.empty(0)
        while t_s[-1] - self._origin_s >= self._slots * self._slot_s * 2:
            self._slot_s *= 2
            self._merge(self._places // 2, self._lows, self._highs)
        places = ((t_s - self._origin_s) / self._slot_s).astype(np.int64)
        self._merge(
            np.concatenate([self._places, places]),
            np.concatenate([self._lows, values]),
            np.concatenate([self._highs, values]),
        )

    def line(self) -> tuple[Floats, Floats]:
        """Return times and values to draw: the samples, or lowest and highest of each slot within it."""
        if self._slot_s == 0.0:
            return self._times, self._values
        starts = self._origin_s + self._places * self._slot_s
        times = np.stack([starts, starts + self._slot_s / 2], axis=1).ravel()
        return times, np.stack([self._lows, self._highs], axis=1).ravel()

    def columns(self, width: int) -> list[float | None]:
        """Return the highest value of each of ``width`` equal stretches of the trace, None where there is none."""
        times, values = self.line()
        columns: list[float | None] = [None] * width
        if not times.size:
            return columns
        length_s = float(times[-1] - times[0]) or 1.0
        places = np.minimum((times - times[0]) / length_s * width, width - 1).astype(np.int64)
        starts = np.flatnonzero(np.diff(places, prepend=-1))
        for place, high in zip(places[starts].tolist(), np.maximum.reduceat(values, starts).tolist(), strict=True):
            columns[place] = high
        return columns

    def _merge(self, places: np.ndarray[tuple[int], np.dtype[np.int64]], lows: Floats, highs: Floats) -> None:
        if not places.size:
            return
        starts = np.flatnonzero(np.diff(places, prepend=-1))
        self._places = places[starts]
        self._lows = np.minimum.reduceat(lows, starts)
        self._highs = np.maximum.reduceat(highs, starts)
