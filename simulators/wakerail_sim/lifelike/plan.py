"""What a device draws over a recording, put together piece by piece, and when it boots: what scenes act on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wakerail_sim.draws import about, log_uniform, pick
from wakerail_sim.lifelike.devices.device import Device
from wakerail_sim.lifelike.power import discharge, draw_inrush, heat_up, supply_in_bursts
from wakerail_sim.lifelike.shapes import low_pass
from wakerail_sim.lifelike.stage import Stage, draw_stage
from wakerail_sim.noise import Floats

_EVENT_FADES_S = 0.003
_SHORT_STAGE = 0.06  # part of a boot that a first stage is shorter than if a warm boot may do without it
_FEWEST_WARM_STAGES = 3


@dataclass(frozen=True, slots=True)
class Habit:
    """An event that comes about every ``every_s`` while the device runs, evenly or at random."""

    event: Stage
    every_s: float
    evenly: bool


@dataclass(frozen=True, slots=True)
class Restart:
    """How a device goes down and comes again.

    Warm, it is held in reset for ``gap_s``, 0 for no time at all, and its capacitors stay charged. Cold, it has no
    power for so long. Meanwhile it draws ``level_a``, None for what it usually does.
    """

    warm: bool
    gap_s: float
    level_a: float | None = None


class Plan:
    """A device's current so far.

    Args:
        chance: where all is drawn from.
        device: whose current it is.
        rate_hz: samples a second, several for each of the meter's.
        length_s: how long it should get; scenes may end a little later.
        meter_hz: how often the meter samples.

    ``onset_s`` is when the first boot began, None if there was none or the device ran when the recording began.
    ``restarts`` has, for each, when the boot or run that was going on ended and when the next boot began. ``telling``
    is False if nobody could tell the scene from a loop of boots. A warm boot goes without short first stages that
    draw less than the part ``warm_skips_below`` of what was drawn before.
    """

    def __init__(
        self, chance: np.random.Generator, device: Device, *, rate_hz: float, length_s: float, meter_hz: float
    ) -> None:
        self.chance = chance
        self.device = device
        self.rate_hz = rate_hz
        self.length_s = length_s
        self.samples = 0
        self.onset_s: float | None = None
        self.begins_running = False
        self.restarts: list[tuple[float, float]] = []
        self.telling = True
        self.warm_skips_below = pick(chance, (0.15, 0.4))
        self._meter_hz = meter_hz
        self._pieces_a: list[Floats] = []
        self._level_a: float | None = None
        self._overlays: list[tuple[int, int | None, Floats]] = []

    @property
    def now_s(self) -> float:
        """How long the current is so far."""
        return self.samples / self.rate_hz

    @property
    def left_s(self) -> float:
        """How long it still should get; less than 0 if it is longer already."""
        return self.length_s - self.now_s

    @property
    def level_a(self) -> float:
        """The level of what was drawn last. Raises ValueError if nothing was."""
        if self._level_a is None:
            raise ValueError("nothing has been drawn yet")
        return self._level_a

    def times_s(self, length_s: float) -> Floats:
        """Return the times from 0 of as many samples as there are in ``length_s``, of one at least."""
        return np.arange(self._samples_in(length_s)) / self.rate_hz

    def append(self, current_a: Floats, level_a: float) -> None:
        """Let a current follow that ends at ``level_a``."""
        self._pieces_a.append(current_a)
        self.samples += len(current_a)
        self._level_a = level_a

    def overlay(self, current_a: Floats, begin: int, stop: int | None = None) -> None:
        """Add a current from sample ``begin`` to before ``stop``, or to the recording's end, whatever is there."""
        self._overlays.append((begin, stop, current_a))

    def play(self, stage: Stage, length_s: float) -> None:
        """Let a stage follow that comes out as differently each time as those of a boot do."""
        self._append_stage(stage, self._samples_in(length_s), self.device.traits.level_spread)

    def run(self, mode: Stage, length_s: float, habits: Sequence[Habit] = (), scale: float = 1.0) -> None:
        """Let the device run in a mode, at ``scale`` times its level; for no time if ``length_s`` is not above 0."""
        if length_s <= 0:
            return
        begin, samples = self.samples, self._samples_in(length_s)
        scaled = replace(mode, level_a=mode.level_a * scale)
        self._append_stage(scaled, samples, self.device.traits.level_spread * 0.7)
        for habit in habits:
            at_s = habit.every_s * self.chance.uniform(0.3, 1)
            while at_s < length_s:
                self._add_event(habit.event, begin + int(at_s * self.rate_hz), begin + samples)
                if habit.evenly:
                    at_s += habit.every_s * about(self.chance, 0.01)
                else:
                    at_s += habit.event.length_s + self.chance.exponential(habit.every_s)

    def off(self, length_s: float, level_a: float | None = None) -> None:
        """Take the power away; ``level_a`` is what then flows, None for what usually does."""
        to_a = self.device.off_a if level_a is None else level_a
        t_s = self.times_s(length_s)
        if self._level_a is not None and self._level_a > to_a:
            self.append(discharge(t_s, self._level_a, to_a, self.device.traits), to_a)
        else:
            self.append(np.full(len(t_s), to_a), to_a)

    def interrupt(self, length_s: float) -> None:
        """Let no current in at all, for too short a time to do harm, and then what charges the capacitors again."""
        level_a = self.level_a
        self.append(np.zeros(self._samples_in(length_s)), 0.0)
        charging = np.exp(-self.times_s(0.02) / 0.003)
        self.overlay(level_a * self.chance.uniform(0.5, 2) * charging, self.samples)

    def droop(self, length_s: float, rise: float) -> None:
        """Let the supply's voltage fall: at constant power the current climbs by the part ``rise`` of itself."""
        level_a, samples = self.level_a, self._samples_in(length_s)
        climb = 1 + rise * np.linspace(0, 1, samples) ** 2
        self.append(level_a * climb + 0.01 * level_a * self.chance.normal(size=samples), level_a * (1 + rise))

    def wait_for_power(self) -> None:
        """Begin without power, or with what flows when off, perhaps after the standby rail was charged."""
        chance, least_s = self.chance, max(0.3, 4 / self._meter_hz)
        length_s = chance.uniform(least_s, max(4, 1.5 * least_s))
        kind = chance.random()
        if kind < 0.3:
            self.off(length_s, 0.0)
        elif kind < 0.55 and length_s > 0.8:
            self.off(length_s * 0.4, 0.0)
            t_s, off_a = self.times_s(length_s * 0.6), self.device.off_a
            peak_a = self.device.inrush[0].peak_a * chance.uniform(0.1, 0.5)
            self.append(off_a + peak_a * np.exp(-t_s / log_uniform(chance, 0.001, 0.006)), off_a)
        else:
            self.off(length_s)

    def switch_on(self) -> None:
        """Let the recording begin before the device gets power, and then boot it."""
        self.wait_for_power()
        self.boot()

    def boot(
        self,
        *,
        stages: Sequence[Stage] = (),
        until: float | None = None,
        charge: float = 1.0,
        warm: bool = False,
    ) -> None:
        """Boot the device.

        Args:
            stages: the boot's, if not the device's own.
            until: where it breaks off: a stage's number and the part of it that is done. None if it is completed.
            charge: how much the capacitors lack, 0 to 1.
            warm: they lack nothing.
        """
        if self.onset_s is None and not self.begins_running:
            self.onset_s = self.now_s
        begin, traits = self.samples, self.device.traits
        stages = stages or self.device.stages
        if warm and until is None:
            stages = self._without_power_on(stages)
        for number, stage in enumerate(stages):
            if until is not None and number > until:
                break
            late = float(np.clip(self.chance.normal(), -2.5, 2.5)) * traits.timing_spread
            whole = self._samples_in(stage.length_s * (1 + late))
            samples = whole
            if until is not None and number == int(until):
                samples = max(1, int(whole * (until - number)))
            self._append_stage(stage, samples, traits.level_spread, whole)
        if not warm:
            for later, current_a in draw_inrush(self.chance, self.device.inrush, charge, self.rate_hz):
                self.overlay(current_a, begin + later)

    def restart(
        self,
        how: Restart,
        *,
        stages: Sequence[Stage] = (),
        until: float | None = None,
        charge: float | None = None,
        ended_s: float | None = None,
    ) -> None:
        """Let the device go down and boot again.

        Args:
            how: warm or cold, and for how long.
            stages: the boot's, if not the device's own.
            until: where the boot breaks off, see ``boot``.
            charge: how much the capacitors then lack; None for what they lose in the gap.
            ended_s: when what was going on ended, if before now.
        """
        ended_s = self.now_s if ended_s is None else ended_s
        if how.warm:
            self._hold_in_reset(how)
        else:
            self.off(how.gap_s, how.level_a)
        self.note_restart(ended_s)
        if charge is None:
            charge = 1 - math.exp(-how.gap_s / self.device.traits.discharge_s)
        self.boot(stages=stages, until=until, charge=charge, warm=how.warm)

    def note_restart(self, ended_s: float) -> None:
        """Note that a boot begins now, and when what was going on before ended."""
        self.restarts.append((ended_s, self.now_s))

    def current_a(self) -> Floats:
        """Return the whole current, as it enters the device's supply."""
        current_a = np.concatenate(self._pieces_a)
        for begin, stop, added_a in self._overlays:
            end = min(len(current_a), begin + len(added_a), len(current_a) if stop is None else stop)
            if begin < end:
                current_a[begin:end] += added_a[: end - begin]
        current_a = heat_up(current_a, self.device, self.onset_s or 0.0, self.rate_hz)
        if self.device.burst_supply is not None:
            current_a = supply_in_bursts(current_a, self.device.burst_supply, self.rate_hz)
        return low_pass(current_a, self.device.traits.settle_s * self.rate_hz)

    def _samples_in(self, length_s: float) -> int:
        return max(1, round(length_s * self.rate_hz))

    def _append_stage(self, stage: Stage, samples: int, level_spread: float, whole_samples: int | None = None) -> None:
        current_a = draw_stage(
            self.chance,
            stage,
            samples,
            self.rate_hz,
            before_a=self._level_a,
            level_spread=level_spread,
            whole_samples=whole_samples,
        )
        self.append(current_a, stage.level_a)

    def _add_event(self, event: Stage, begin: int, stop: int) -> None:
        samples = self._samples_in(event.length_s * about(self.chance, 0.015))
        spread = self.device.traits.level_spread
        current_a = draw_stage(self.chance, event, samples, self.rate_hz, before_a=0.0, level_spread=spread)
        fading = max(2, int(_EVENT_FADES_S * self.rate_hz))
        if samples > 2 * fading:
            current_a[-fading:] *= np.linspace(1, 0, fading)
        self.overlay(current_a, begin, stop)

    def _without_power_on(self, stages: Sequence[Stage]) -> Sequence[Stage]:
        """Return a boot without the low, short stages that only power brings about."""
        while len(stages) > _FEWEST_WARM_STAGES:
            first, boot_s = stages[0], sum(stage.length_s for stage in stages)
            low = first.level_a < self.warm_skips_below * self.level_a
            if first.length_s >= _SHORT_STAGE * boot_s or not low:
                break
            stages = stages[1:]
        return stages

    def _hold_in_reset(self, how: Restart) -> None:
        if how.gap_s <= 0:
            return
        to_a = self.device.reset_a if how.level_a is None else how.level_a
        fallen = np.exp(-self.times_s(how.gap_s) / self.device.traits.settle_s)
        self.append(to_a + (self.level_a - to_a) * fallen, to_a)
