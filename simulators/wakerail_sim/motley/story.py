"""What a device does in a recording, stretch by stretch, and what is true of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from wakerail_sim.draws import log_uniform
from wakerail_sim.motley.device import Device
from wakerail_sim.motley.motif import Motif, draw_current
from wakerail_sim.noise import Floats

Floor = Literal["off", "standing", "reset", "decay", "partial"]


@dataclass(frozen=True, slots=True)
class Fall:
    """How deep the current falls when the device stops, and for how long."""

    floor: Floor
    gap_s: float


@dataclass(frozen=True, slots=True)
class Boot:
    """A boot that was played: when what ran before ended, when it began, and how many motifs it left out."""

    at_s: float
    again_s: float
    skipped: int


class Story:
    """Fills ``current_a`` from the begin; whatever is played after its end is not drawn."""

    def __init__(
        self, chance: np.random.Generator, device: Device, *, rate_hz: float, length_s: float, begins_running: bool
    ) -> None:
        self.chance, self.device, self.rate_hz, self.begins_running = chance, device, rate_hz, begins_running
        self.current_a: Floats = np.zeros(int(rate_hz * length_s))
        self.variation = 1.0
        """By how much of its spreads the device differs from run to run."""
        self.onset_s: float | None = None
        self.restarts: list[Boot] = []
        self.has_openings = False
        """Whether something but a boot came again and again with an opening of its own."""
        self._samples = 0
        self._state = 0

    @property
    def now_s(self) -> float:
        """How long what was played lasts."""
        return self._samples / self.rate_hz

    @property
    def left_s(self) -> float:
        """How long what is still to be played lasts."""
        return (len(self.current_a) - self._samples) / self.rate_hz

    @property
    def length_s(self) -> float:
        """How long the recording is."""
        return len(self.current_a) / self.rate_hz

    @property
    def ended(self) -> bool:
        """Whether the recording is full."""
        return self._samples >= len(self.current_a)

    def play(self, motif: Motif, length_s: float, *, until_s: float | None = None, stretch: float = 1.0) -> None:
        """Play a motif that is to last ``length_s``, broken off after ``until_s``."""
        played_s = length_s * stretch if until_s is None else until_s
        samples = min(round(played_s * self.rate_hz), len(self.current_a) - self._samples)
        if samples <= 0:
            return
        drawn_a = draw_current(self.chance, motif, samples, self.rate_hz, length_s=length_s, stretch=stretch)
        if self._samples:
            step_a = self.current_a[self._samples - 1] - drawn_a[0]
            slow = min(samples, int(12 * self.device.lag_s * self.rate_hz))
            drawn_a[:slow] += step_a * np.exp(-(np.arange(slow) + 1) / (self.device.lag_s * self.rate_hz))
        self.current_a[self._samples : self._samples + samples] = drawn_a
        self._samples += samples

    def rest(self, fall: Fall) -> None:
        """Fall to the floor and stay there, without a boot."""
        device, before_a = self.device, self.current_a[self._samples - 1] if self._samples else 0.0
        samples = min(round(fall.gap_s * self.rate_hz), len(self.current_a) - self._samples)
        floors_a = {"off": device.off_a, "standing": device.standing_a, "reset": device.reset_a, "decay": device.off_a}
        floor_a = floors_a.get(fall.floor, before_a * self.chance.uniform(0.05, 0.5))
        lag_s = max(device.lag_s, 0.2 * fall.gap_s) if fall.floor == "decay" else device.lag_s
        falling = np.exp(-(np.arange(samples) + 1) / (lag_s * self.rate_hz))
        drawn_a = floor_a + (before_a - floor_a) * falling
        drawn_a *= 1 + 0.01 * self.chance.normal(size=samples)
        self.current_a[self._samples : self._samples + samples] = drawn_a
        self._samples += samples

    def boot(self, part: float = 1.0, *, skipped: int = 0) -> None:
        """Boot, but for the skipped motifs, up to that part of what is left."""
        motifs = self.device.boot[skipped:]
        left_s = max(part * sum(motif.length_s for motif in motifs), self.device.opening_s(skipped))
        if self.device.inrush and not skipped and self.chance.random() < 0.1:
            motifs = motifs[1:]
        self._run(motifs, left_s, part)

    def wake(self) -> None:
        """Play the opening that use has after a sleep."""
        self.has_openings = True
        self._run(self.device.wake, np.inf, 1.0)

    def switch_on(self, part: float = 1.0) -> None:
        """Begin off, or on at once, and boot for the first time."""
        if self.chance.random() < 0.8:
            self.rest(Fall("off", log_uniform(self.chance, 0.02, 1) * min(5.0, 0.1 * self.left_s)))
        self.onset_s = self.now_s
        self.boot(part)

    def restart(self, fall: Fall, part: float = 1.0, *, skipped: int = 0) -> None:
        """Stop, fall, and boot again."""
        at_s = self.now_s
        self.rest(fall)
        if self.left_s > 1.1 * self.device.opening_s(skipped):
            self.restarts.append(Boot(at_s, self.now_s, skipped))
            self.boot(part, skipped=skipped)
        else:  # too little of the boot would be seen
            self.current_a = self.current_a[: max(1, round(at_s * self.rate_hz))]
            self._samples = len(self.current_a)

    def dim(self, fall: Fall) -> None:
        """Fall to the floor for a while in which use goes on unseen."""
        begin = self._samples
        self._walk(fall.gap_s)
        end, self._samples = self._samples, begin
        self.rest(replace(fall, gap_s=(end - begin) / self.rate_hz))

    def use(self, length_s: float) -> None:
        """Walk through the states of use, with a dip now and then if the device has such."""
        end_s = self.now_s + min(length_s, self.left_s)
        while self.device.dips_s and end_s - self.now_s > 1 / self.rate_hz:
            apart_s = max(1 / self.rate_hz, self.device.dips_s * log_uniform(self.chance, 0.1, 3))
            self._walk(min(end_s - self.now_s, apart_s))
            dip_s = 0.1 * self.device.boot_s * self.chance.random()
            self.dim(Fall("partial" if self.chance.random() < 0.6 else "reset", min(dip_s, max(0, end_s - self.now_s))))
        self._walk(end_s - self.now_s)

    def _walk(self, length_s: float) -> None:
        end_s = self.now_s + min(length_s, self.left_s)
        while end_s - self.now_s > 0.5 / self.rate_hz:
            state = self.device.states[self._state]
            spread = min(state.spread * abs(self.chance.normal()), 2.0) * self.chance.choice((-1, 1))
            dwell_s = max(state.dwell_s * float(np.exp(spread)), 2 / self.rate_hz)
            self.play(state.motif, dwell_s, until_s=min(dwell_s, end_s - self.now_s))
            self._state = int(self.chance.choice(len(self.device.states), p=self.device.chain[self._state]))

    def _run(self, motifs: tuple[Motif, ...], left_s: float, part: float) -> None:
        """Play motifs in a row with what differs from run to run, for ``left_s`` of their own time."""
        chance, device = self.chance, self.device
        pace = 1 + self.variation * device.pace_spread * chance.uniform(-1, 1)
        gain = 1 + self.variation * device.gain_spread * chance.uniform(-1, 1)
        begin = self._samples
        for motif in motifs:
            if left_s <= 0 and part < 1:
                break
            stretch = pace * (1 + self.variation * device.motif_spread * chance.uniform(-1, 1))
            until_s = min(motif.length_s, left_s) * stretch if part < 1 else None
            self.play(motif, motif.length_s, until_s=until_s, stretch=stretch)
            left_s -= motif.length_s
        self.current_a[begin : self._samples] *= gain
