"""What a made-up recording is to show, and what is true of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from wakerail_sim.noise import Floats

Fault = Literal["fixed-stage", "after-running", "watchdog", "intermittent", "single"]
Confuser = Literal[
    "sleep-wake",
    "screen-off",
    "load-spikes",
    "charging-pulses",
    "radio-duty",
    "range-switching",
    "gaps",
    "jitter",
    "quantised",
    "drift",
    "hum",
]

FAULTS: tuple[Fault, ...] = get_args(Fault)
CONFUSERS: tuple[Confuser, ...] = get_args(Confuser)
LIFE_CONFUSERS: frozenset[Confuser] = frozenset(
    ("sleep-wake", "screen-off", "load-spikes", "charging-pulses", "radio-duty")
)
"""What a device does only once it is up; the others are the meter's doing and are everywhere."""

_SWITCHING_S = 0.3  # a meter takes no longer than this to switch ranges
RATES_HZ = (5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)


@dataclass(frozen=True, slots=True)
class Case:
    """What a recording is to show.

    Args:
        rate_hz: samples a second.
        length_s: how long it lasts at most; a recording of a fast loop ends earlier, after enough restarts.
        fault: why the device restarts: always at the same stage of its boot, after it ran for a while, at a
            watchdog's even period, at random, or only once. None for a healthy device.
        confusers: what is to look like a restart and is none. A device that never gets past a stage of its boot
            shows none of those that belong to running.
        warm: the current does not collapse at a restart, or for less than a sample.
        begins_running: the recording begins when the device has been on for a while. What a warm restart goes
            back to is then unknown, so the two do not go together.
        averaged: each sample is the mean since the one before, not the value at its time.
        with_voltage: the voltage is recorded as well.
        noise: how much of the meter's and the device's own random noise there is; 1 as usual, 0 none.

    Raises ValueError for what does not go together.
    """

    rate_hz: float
    length_s: float
    fault: Fault | None = None
    confusers: tuple[Confuser, ...] = ()
    warm: bool = False
    begins_running: bool = False
    averaged: bool = False
    with_voltage: bool = False
    noise: float = 1.0

    def __post_init__(self) -> None:
        if self.warm and (self.begins_running or self.fault is None):
            raise ValueError("a warm restart needs a fault, and a recording that begins before the first boot")
        if self.fault == "fixed-stage" and not LIFE_CONFUSERS.isdisjoint(self.confusers):
            raise ValueError(f"a device that restarts at a stage of its boot shows none of {sorted(LIFE_CONFUSERS)}")
        if self.rate_hz <= 0 or self.length_s < 20:
            raise ValueError(f"{self.rate_hz:g} samples/s for {self.length_s:g} s: at least 20 s are needed")

    @property
    def sample_s(self) -> float:
        """The time between samples."""
        return 1.0 / self.rate_hz

    @property
    def switching_samples(self) -> int:
        """How many samples a meter that switches ranges may lose at a change, 0 for one that does not."""
        return max(1, min(3, int(_SWITCHING_S * self.rate_hz))) if "range-switching" in self.confusers else 0

    @property
    def blind_s(self) -> float:
        """How short a collapse of the current can pass the meter unseen."""
        return ((2.0 if self.averaged else 1.5) + self.switching_samples) * self.sample_s


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that looks like a restart and is none, from ``start_s`` to ``end_s``."""

    kind: Confuser
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Truth:
    """What happened.

    ``onset_s`` is when the device was switched on, None if before the recording. ``restarts`` has, for each, when
    the boot that was running ended and when the next began: the same moment for a warm one without a dip.
    ``confusers`` has those that did come about, ``marks`` when those with a time of their own did.
    """

    onset_s: float | None
    restarts: tuple[tuple[float, float], ...]
    confusers: tuple[Confuser, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """What the meter gave: times ascending (s), current (A), voltage (V) or None; and what is true of it."""

    t_s: Floats
    current_a: Floats
    voltage_v: Floats | None
    truth: Truth
