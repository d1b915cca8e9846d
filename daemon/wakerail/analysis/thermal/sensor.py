"""Tells false readings of a temperature sensor from a noisy but honest one, reading by reading.

A plate is a heavy thing: it cannot jump. What jumps is a contact, a converter or a line. What is usual for a
sensor is learnt from its trace; only what no plate can do is stated beforehand.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median

from wakerail.analysis.thermal.converter import is_rail, is_round, rail_words
from wakerail.analysis.thermal.sensor_noise import Restlessness, Scatter, slope_k_per_s

#: Faster than any plate moves. J-STD-020 allows 3 K/s up and 6 K/s down for a package.
FASTEST_K_PER_S = 6.0
#: A single reading further off than this cuts the heat, if it is also far outside of the noise.
JUMP_K = 10.0
#: A sensor is believed when so many readings over so long agree with each other.
SETTLED_S, SETTLED_COUNT = 0.5, 3
#: Longer after a loss, when it must also agree with what was believed before.
SETTLED_AGAIN_S = 1.0
_MEMORY_S = 10.0  # after so long of agreement a sensor that came back elsewhere is believed
_OFF_SCATTERS, _OFF_STEPS, _OFF_K = 6.0, 2.5, 1.0  # beyond all of them a reading is doubted
_ROUND = 2.0  # and beyond so many times that a round number is false
_REPEATED_S = 2.0  # slow converters give one reading several times
_FALSE_COUNT, _FALSE_WITHIN_S = 3, 10.0  # so many false readings are a bad contact
_TREND_S, _KEPT = 6.0, 300
_NEWEST = 5


class DoubtSort(StrEnum):
    """What is wrong with a reading."""

    OPEN = "open"
    RAIL = "rail"
    FALSE = "false-reading"
    JUMP = "jump"
    STUCK = "stuck"


@dataclass(frozen=True, slots=True)
class Doubt:
    """A reading that is not believed, and why. ``cuts`` says that heat must not go on upon it."""

    sort: DoubtSort
    at_s: float
    value_c: float | None
    says: str
    cuts: bool


@dataclass(frozen=True, slots=True)
class _Reading:
    t_s: float
    c: float


class SensorWatch:
    """Takes readings in the order of their times. Nothing is believed until a few readings agree.

    ``believed_c`` is the newest reading that is believed; None while there is none, or after doubt that lasts.
    """

    def __init__(self) -> None:
        self._scatter = Scatter()
        self._rest = Restlessness()
        self._kept: deque[_Reading] = deque(maxlen=_KEPT)  # believed, of the newest seconds
        self._doubted: list[_Reading] = []  # the newest, off the trend: false, or the plate moved
        self._coming: list[_Reading] | None = []  # readings since a loss that do not agree yet; None: settled
        self._last: _Reading | None = None  # believed before the loss
        self._false_s: deque[float] = deque(maxlen=_FALSE_COUNT)
        self._settle_s = SETTLED_S
        self.believed_c: float | None = None

    @property
    def settled(self) -> bool:
        """Whether the sensor can be believed now."""
        return self._coming is None

    def add(self, t_s: float, temperature_c: float | None, *, heating: bool) -> list[Doubt]:
        """Take a reading (None: the sensor gave none); return the doubts that it raises, on it or those before it."""
        if temperature_c is None or not math.isfinite(temperature_c):
            self._lose(SETTLED_AGAIN_S)
            return [Doubt(DoubtSort.OPEN, t_s, None, "the temperature sensor gives no reading", cuts=True)]
        reading = _Reading(t_s, temperature_c)
        if is_rail(temperature_c):
            self._lose(self._settle_s)
            return [Doubt(DoubtSort.RAIL, t_s, temperature_c, rail_words(temperature_c), cuts=True)]
        doubts = self._settle(reading) if self._coming is not None else self._judge(reading)
        if self.settled:
            self._rest.add(t_s, temperature_c)
            if heating and (still_s := self._rest.still_s(t_s)) > self._rest.allowed_s():
                says = f"the reading has stood at {temperature_c:g} °C for {still_s:.1f} s, unlike this sensor"
                doubts.append(Doubt(DoubtSort.STUCK, t_s, temperature_c, says, cuts=True))
        return doubts

    def _lose(self, settle_s: float) -> None:
        if self._kept:
            self._last = self._kept[-1]
        self._kept.clear()
        self._doubted.clear()
        self._rest.forget()
        self._coming, self._settle_s = [], settle_s
        self.believed_c = None

    # --- from the first reading, or after a loss, until readings agree ---

    def _settle(self, reading: _Reading) -> list[Doubt]:
        assert self._coming is not None
        self._coming.append(reading)
        near = self._agreeing(self._coming)
        agreed_s = near[-1].t_s - near[0].t_s
        if near[-1] is not reading or len(near) < SETTLED_COUNT or agreed_s < self._settle_s:
            return []
        if is_round(reading.c) and all(other.c == reading.c for other in near):
            return []
        if self._last is not None and agreed_s < _MEMORY_S and not self._reachable(self._last, near[0]):
            return []
        says = "it does not agree with the readings after it"
        doubts = [
            Doubt(DoubtSort.FALSE, other.t_s, other.c, says, cuts=False) for other in self._coming if other not in near
        ]
        self._coming = None
        for other in near:
            self._believe(other)
        return doubts

    def _agreeing(self, readings: list[_Reading]) -> list[_Reading]:
        """Return the newest stretch of readings that agree with the newest few of them."""
        middle_c = median(reading.c for reading in readings[-_NEWEST:])
        now_s, off_k = readings[-1].t_s, max(2 * _OFF_K, self._usual_k(self._scatter.k()))
        near: list[_Reading] = []
        for reading in reversed(readings):
            if abs(reading.c - middle_c) > off_k + FASTEST_K_PER_S / 2 * (now_s - reading.t_s):
                break
            near.insert(0, reading)
        return near or readings[-1:]

    def _reachable(self, before: _Reading, after: _Reading) -> bool:
        return abs(after.c - before.c) <= JUMP_K + FASTEST_K_PER_S * (after.t_s - before.t_s)

    # --- while it is believed ---

    def _judge(self, reading: _Reading) -> list[Doubt]:
        expected_c = self._expected_c(reading.t_s)
        off_k, scatter_k = abs(reading.c - expected_c), self._scatter.k()
        if self._impossible(reading, off_k, scatter_k):
            self._lose(SETTLED_S)
            says = f"the reading jumped from {expected_c:.1f} to {reading.c:g} °C, which no plate can do"
            return [Doubt(DoubtSort.JUMP, reading.t_s, reading.c, says, cuts=True)]
        doubtful_k = self._doubtful_k(scatter_k) + (reading.t_s - self._kept[-1].t_s) / 2
        if self._doubted:
            return self._decide(reading, expected_c)
        if off_k > doubtful_k:
            if off_k > _ROUND * doubtful_k and is_round(reading.c):
                says = (
                    f"a single reading of {reading.c:g}, a converter's round number, where {expected_c:.1f} °C is due"
                )
                self._lose(SETTLED_S)
                return [Doubt(DoubtSort.FALSE, reading.t_s, reading.c, says, cuts=True)]
            self._doubted.append(reading)
            return []
        self._believe(reading)
        return []

    def _doubtful_k(self, scatter_k: float) -> float:
        return self._usual_k(scatter_k) if self._scatter.learnt else JUMP_K

    def _usual_k(self, scatter_k: float) -> float:
        return max(_OFF_K, _OFF_SCATTERS * scatter_k, _OFF_STEPS * self._scatter.resolution_k())

    def _impossible(self, reading: _Reading, off_k: float, scatter_k: float) -> bool:
        """Tell whether the plate cannot have come here from where it was believed to be, now or seconds ago."""
        newest = self._kept[-1]
        least_k = max(JUMP_K, 8 * scatter_k)
        if min(off_k, abs(reading.c - newest.c)) > least_k + FASTEST_K_PER_S * (reading.t_s - newest.t_s):
            return True
        for ago_s in (1.0, 3.0):
            before = next((kept for kept in reversed(self._kept) if kept.t_s <= reading.t_s - ago_s), None)
            if before is None:
                return False
            if abs(reading.c - before.c) > least_k + FASTEST_K_PER_S * (reading.t_s - before.t_s):
                return True
        return False

    def _decide(self, reading: _Reading, expected_c: float) -> list[Doubt]:
        """A reading was off the trend: has this one come back to it, or does it go on from there?"""
        first = self._doubted[0]
        if reading.c == first.c and reading.t_s - first.t_s < _REPEATED_S:
            self._doubted.append(reading)
            return []
        doubted, self._doubted = self._doubted, []
        if abs(reading.c - expected_c) > abs(first.c - expected_c) / 2:
            for other in doubted:
                self._believe(other)
            self._believe(reading)
            return []
        self._believe(reading)
        self._false_s.append(first.t_s)
        often = len(self._false_s) == _FALSE_COUNT and first.t_s - self._false_s[0] < _FALSE_WITHIN_S
        says = f"a false reading of {first.c:g} °C, where {expected_c:.1f} °C is due"
        if often:
            says += f"; the third within {_FALSE_WITHIN_S:g} s, like a bad contact"
        return [Doubt(DoubtSort.FALSE, other.t_s, other.c, says, cuts=often) for other in doubted]

    def _expected_c(self, t_s: float) -> float:
        """Return what the newest believed readings let expect."""
        times_s, values_c = [kept.t_s for kept in self._kept], [kept.c for kept in self._kept]
        slope = slope_k_per_s(times_s, values_c) if self._scatter.learnt else 0.0
        slope = max(-FASTEST_K_PER_S, min(FASTEST_K_PER_S, slope))
        return median(values_c[-_NEWEST:]) + slope * (t_s - median(times_s[-_NEWEST:]))

    def _believe(self, reading: _Reading) -> None:
        if self._kept:
            self._scatter.add(reading.t_s, reading.c - self._kept[-1].c)
        self._kept.append(reading)
        while self._kept[0].t_s < reading.t_s - _TREND_S and len(self._kept) > 2 * _NEWEST:
            self._kept.popleft()
        self.believed_c = reading.c


def doubts_of(
    t_s: Sequence[float], temperature_c: Sequence[float | None], heating: Sequence[bool] | None = None
) -> list[Doubt]:
    """Return every doubt on a whole trace, in the order in which it was raised; without ``heating``, all heated."""
    watch = SensorWatch()
    heated: Iterable[bool] = heating if heating is not None else (True for _ in t_s)
    return [
        doubt
        for at_s, value_c, heats in zip(t_s, temperature_c, heated, strict=True)
        for doubt in watch.add(at_s, value_c, heating=heats)
    ]


def believed_of(
    t_s: Sequence[float], temperature_c: Sequence[float | None], heating: Sequence[bool] | None = None
) -> list[bool]:
    """Return for each reading of a whole trace whether it is believed."""
    doubted = {doubt.at_s for doubt in doubts_of(t_s, temperature_c, heating)}
    return [at_s not in doubted for at_s in t_s]
