"""What the parts of a device do in a recording, each from when to when, and what is true of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.signal import lfilter

from wakerail_sim.assembled.device import Device
from wakerail_sim.assembled.source import Source
from wakerail_sim.draws import log_uniform
from wakerail_sim.noise import Floats

Floor = Literal["off", "standing", "reset"]
_INRUSH_S = 0.01  # of a boot


@dataclass(frozen=True, slots=True, eq=False)
class _Span:
    source: Source
    begin_s: float
    end_s: float
    stretch: float


class Story:
    """Keeps when each part of a device was on; what is told lies one after another, from ``now_s`` on."""

    def __init__(
        self, chance: np.random.Generator, device: Device, *, length_s: float, opening_s: float, begins_running: bool
    ) -> None:
        self.chance, self.device, self.length_s, self.opening_s = chance, device, length_s, opening_s
        self.now_s = 0.0
        self.onset_s: float | None = None
        self.restarts: list[tuple[float, float]] = []
        self.has_openings = False
        """Whether something but a boot came again and again with an opening of its own."""
        self._spans: list[_Span] = []
        self._on: dict[Source, tuple[float, float]] = {}  # since when (s), and how much slower than usual
        self._floors: list[tuple[float, float, float]] = []  # from when to when (s), and what is drawn (A)
        self._inrushes_s: list[float] = []
        self._begins_running = begins_running

    @property
    def left_s(self) -> float:
        """How long what is still to be told lasts."""
        return self.length_s - self.now_s

    @property
    def ended(self) -> bool:
        """Whether the recording is full."""
        return self.left_s <= 0

    def begin(self, up_s: float) -> None:
        """Come on for the first time, or run already; stay up for so long."""
        if self._begins_running:
            for part in self.device.parts:
                if part.in_boot:
                    self._call(part.source, -self.device.boot_s)
            self._call(self.device.core, -self.device.boot_s)
            self.use(up_s)
            return
        self._rest("off", log_uniform(self.chance, 0.02, 1) * min(5.0, 0.1 * self.length_s))
        self.onset_s = self.now_s
        self.boot(up_s)

    def boot(self, up_s: float) -> None:
        """Boot, and stay up for so long: what the boot would do later than that is not done."""
        device, begun_s = self.device, self.now_s
        pace = float(np.exp(device.pace * self.chance.normal()))
        until_s = begun_s + up_s
        self._inrushes_s.append(begun_s)
        self._call(device.core, begun_s, pace)
        for work in device.works:
            step = pace * self._varied(device.haste)
            begin_s, end_s = begun_s + work.begin_s * step, begun_s + work.end_s * step
            if begin_s < until_s:
                self._spans.append(_Span(work.source, begin_s, min(end_s, until_s), step))
        for part in device.parts:
            at_s = begun_s + part.booted_s * pace * self._varied(device.haste)
            if part.in_boot and at_s < until_s:
                self._call(part.source, at_s, pace)
        self.now_s = min(until_s, begun_s + device.boot_s * pace)
        self.use(until_s - self.now_s)

    def use(self, length_s: float) -> None:
        """Run on: each part comes and goes when it likes."""
        until_s = self.now_s + length_s
        for part in self.device.parts:
            at_s = self.now_s
            while part.away_s:
                mean_s = part.on_s if part.source in self._on else part.away_s
                at_s += mean_s * (self._varied(0.02) if part.timed else self.chance.exponential())
                if at_s >= until_s:
                    break
                if part.source in self._on:
                    self._stop(part.source, at_s)
                else:
                    self._call(part.source, at_s)
        self.now_s = until_s

    def work_hard(self, length_s: float) -> None:
        """Bear as much as it can, beside all else."""
        until_s = min(self.now_s + length_s, self.length_s)
        self._spans.append(_Span(self.device.load, self.now_s, until_s, 1.0))
        self.use(length_s)

    def reset_part(self) -> None:
        """Switch a part that is on off, and call it up again: it has an opening, and the device none."""
        running = [part.source for part in self.device.parts if part.source in self._on]
        if running:
            source = running[int(self.chance.integers(len(running)))]
            self.has_openings = True
            self._stop(source, self.now_s)
            self.use(0.05 * self.device.boot_s * log_uniform(self.chance, 0.1, 5))
            self._stop(source, self.now_s)  # where it came back by itself meanwhile
            self._call(source, self.now_s)

    def sleep(self, length_s: float) -> None:
        """Stop nearly all, and wake up: what was on comes back soon, in another order than a boot's."""
        self.has_openings = True
        device = self.device
        were_on = [part for part in device.parts if part.source in self._on and not part.on_asleep]
        for source in (device.core, *(part.source for part in were_on)):
            self._stop(source, self.now_s)
        self._call(device.asleep, self.now_s)
        self.now_s += length_s
        self._stop(device.asleep, self.now_s)
        self._call(device.core, self.now_s)
        for part in were_on:
            self._call(part.source, self.now_s + part.woken_s * self._varied(device.haste))

    def restart(self, floor: Floor, off_s: float, up_s: float, *, survives: bool = False) -> None:
        """Stop all, or all but the part that draws the least, and boot again; without room the recording ends."""
        up_s = max(up_s, 1.1 * self.opening_s)
        at_s = self.now_s
        if self.left_s < off_s + 1.1 * self.opening_s or not self._on:
            self.length_s = min(self.length_s, at_s)
            return
        running = [part.source for part in self.device.parts if part.source in self._on]
        kept = min(running, key=lambda source: source.level_a, default=None) if survives else None
        for source in list(self._on):
            if source is not kept:
                self._stop(source, at_s)
        self._rest(floor, off_s)
        self.restarts.append((at_s, self.now_s))
        if kept is not None:
            self._stop(kept, self.now_s)
        self.boot(up_s)

    def switch_off(self) -> None:
        """Stop all for good."""
        for source in list(self._on):
            self._stop(source, self.now_s)
        self._rest("standing", self.left_s)

    def current_a(self, rate_hz: float) -> Floats:
        """Return what all draw together."""
        for source in list(self._on):
            self._stop(source, self.length_s)
        samples = int(self.length_s * rate_hz)
        drawn_a = np.full(samples, self.device.standing_a)
        for begin_s, end_s, floor_a in self._floors:
            drawn_a[round(begin_s * rate_hz) : round(end_s * rate_hz)] = floor_a
        for span in self._spans:
            first, last = max(0, round(span.begin_s * rate_hz)), min(samples, round(span.end_s * rate_hz))
            if first < last:
                before = first - round(span.begin_s * rate_hz)
                own_a = span.source.draw_a(self.chance, before + last - first, rate_hz, span.stretch)
                drawn_a[first:last] += own_a[before:]
        for at_s in self._inrushes_s:
            instant = max(1, round(_INRUSH_S * self.device.boot_s * rate_hz))
            drawn_a[round(at_s * rate_hz) :][:instant] += self.device.inrush_a
        if self.device.lag_s * rate_hz > 0.5:
            keeps = float(np.exp(-1 / (self.device.lag_s * rate_hz)))
            drawn_a = np.asarray(lfilter([1 - keeps], [1, -keeps], drawn_a, zi=[keeps * drawn_a[0]])[0])
        return drawn_a

    def _call(self, source: Source, at_s: float, stretch: float = 1.0) -> None:
        self._on.setdefault(source, (at_s, stretch))

    def _stop(self, source: Source, at_s: float) -> None:
        if source in self._on:
            since_s, stretch = self._on.pop(source)
            self._spans.append(_Span(source, since_s, at_s, stretch))

    def _rest(self, floor: Floor, length_s: float) -> None:
        device = self.device
        level_a = {"off": device.off_a, "standing": device.standing_a, "reset": device.reset_a}[floor]
        self._floors.append((self.now_s, self.now_s + length_s, level_a))
        self.now_s += length_s

    def _varied(self, deviation: float) -> float:
        return float(np.exp(deviation * self.chance.normal()))
