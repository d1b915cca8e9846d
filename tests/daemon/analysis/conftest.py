"""Made-up boots: current traces built stage by stage, at any sample rate, cut into frames of any size."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import pytest

from wakerail.analysis.hindsight.look import Looking
from wakerail.analysis.seen import Seen
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail_kit.messages import Frame

STANDING_A = 0.0003
BOOT = ((0.09, 0.35), (0.26, 1.2), (0.65, 2.5))  # rom, loader, kernel: amperes and seconds


@dataclass
class Trace:
    """Samples at ``rate_hz`` from ``start_s`` on; ``signals`` go beside the current."""

    rate_hz: float
    start_s: float = 100.0
    current_a: list[float | None] = field(default_factory=list)
    signals: dict[str, list[float | None]] = field(default_factory=dict)
    _length_s: float = 0.0
    _rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(7))

    @property
    def end_s(self) -> float:
        return self.start_s + self._length_s

    @property
    def t_s(self) -> list[float]:
        return [self.start_s + index / self.rate_hz for index in range(len(self.current_a))]

    def then(self, level_a: float | None, for_s: float, ripple: float = 0.02, **signals: float | None) -> Trace:
        """Go on at a level, with a ripple of that share (standard deviation); None is no data."""
        self._length_s += for_s
        count = math.ceil(self._length_s * self.rate_hz - 1e-6) - len(self.current_a)
        if level_a is None:
            self.current_a += [None] * count
        else:
            self.current_a += (level_a * (1 + ripple * self._rng.standard_normal(count))).clip(0).tolist()
        for name in signals.keys() | self.signals.keys():
            own = self.signals.setdefault(name, [])
            own += [None] * (len(self.current_a) - count - len(own))
            own += [signals.get(name)] * count
        return self

    def boot(self, run_s: float = 0.0, run_a: float = 0.19) -> Trace:
        """Go through a whole boot, then run."""
        for level_a, for_s in BOOT:
            self.then(level_a, for_s)
        return self.then(run_a, run_s, ripple=0.1)

    def loop(self, times: int, down_s: float = 0.4) -> Trace:
        """Go through a boot and collapse at its end, so many times."""
        for _ in range(times):
            self.boot().then(STANDING_A, down_s)
        return self

    def frames(self, sizes: Sequence[int] = ()) -> Iterator[Frame]:
        """Cut into frames of ``sizes`` samples, over and over; one frame without."""
        times_s, at, number = self.t_s, 0, 0
        while at < len(times_s):
            size = sizes[number % len(sizes)] if sizes else len(times_s)
            cut = slice(at, at + size)
            at, number = at + size, number + 1
            yield Frame(
                bench="b",
                instrument="supply",
                number=number,
                start="2026-01-01T00:00:00Z",
                t_s=times_s[cut],
                half_width_s=[0.001] * len(times_s[cut]),
                signals={"current": self.current_a[cut], **{name: own[cut] for name, own in self.signals.items()}},
                units={},
            )


@dataclass
class Watch:
    """A reader, and what it has seen so far."""

    reader: BootReader
    seen: list[Seen] = field(default_factory=list)

    def take(self, trace: Trace, sizes: Sequence[int] = ()) -> Watch:
        for frame in trace.frames(sizes):
            self.seen += self.reader.take_frame(frame)
        return self


@pytest.fixture(name="trace")
def _trace() -> type[Trace]:
    return Trace


@pytest.fixture(name="watch")
def _watch() -> object:
    def watch(
        trace: Trace, sizes: Sequence[int] = (), looking: Looking | None = None, **settings: float | None
    ) -> Watch:
        given = {"standing_a": STANDING_A, "limit_a": 3.0, "set_v": 3.85, **settings}
        return Watch(BootReader(ReaderSettings(**given), looking)).take(trace, sizes)

    return watch
