"""A made-up device: the loads it has, the steps of its boot, and what it is used for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Family = Literal[
    "pocket-communicator",
    "slate",
    "reading-terminal",
    "wrist-computer",
    "field-sensor",
    "asset-tracker",
    "two-way-set",
    "action-camera",
    "loudspeaker",
    "page-reader",
    "hand-game",
    "infusion-aid",
    "trail-navigator",
    "pocket-hotspot",
    "label-printer",
]
Act = Literal[
    "app",
    "call",
    "play",
    "photo",
    "sync",
    "scan",
    "glance",
    "pulse",
    "measure",
    "fix",
    "report",
    "talk",
    "listen",
    "film",
    "page",
    "dose",
    "alarm",
    "burst",
    "label",
]
Peripheral = Literal["memory", "display", "receiver", "transmitter", "storage", "motor", "light", "amplifier", "head"]
"""A load that is switched as a whole; the head is what scans, prints, senses or turns pages."""


@dataclass(frozen=True, slots=True)
class Step:
    """A step of a boot.

    Args:
        name: what it is for.
        length_s: how long it takes when all goes well.
        use: the part of the core's time that it needs.
        activity: how much the core's current fluctuates meanwhile, as a part.
        phases: of how many phases, each with a level of its own, it consists.
        levels: what it switches on, as parts of their full currents.
        storage: how much storage works, as a part of its full current.
        beep_s: how long it beeps.
        vibration_s: how long it vibrates.
        motor_s: how long it runs the motor.
        turns_page: whether it draws a page anew.
        joins: whether it joins a network.
    """

    name: str
    length_s: float
    use: float
    activity: float
    phases: int
    levels: Mapping[Peripheral, float] = field(default_factory=dict)
    storage: float = 0.0
    beep_s: float = 0.0
    vibration_s: float = 0.0
    motor_s: float = 0.0
    turns_page: bool = False
    joins: bool = False


@dataclass(frozen=True, slots=True)
class Device:
    """A device. Currents are at its supply's input.

    Args:
        family: what it is.
        build: number of its firmware's build, from which the phases of its steps are drawn.
        supply_v: voltage of its supply.
        capacitance_f: what the supply has to charge.
        off_a: what it draws when off.
        always_on_a: what is on whenever it has power.
        core_idle_a: what its core draws with nothing to do.
        core_busy_a: what its core draws when busy.
        self_refresh_a: what keeps its memory while it is suspended.
        full_a: what each of its peripherals draws when fully on; it does not have the others.
        power_on_s: how long it is held in reset when power comes.
        steps: its boot.
        acts: what it is used for, and how often in relation to each other.
        idle_s: after how long without use it sleeps, from and to.
        sleep: how: suspended, in a deep sleep without its memory, or by saving what its receiver takes.
        radio: how its radio listens.
        heavy: the act that loads it most, if one stands out.
        stall: how much more its motor draws when it starts.
        pwm_hz: frequency at which its light is dimmed, 0 if it is not.
        tick_s: how often its firmware keeps house, 0 if never.
        trains_memory: whether a cold boot has a step for the memory that a warm one has not.
    """

    family: Family
    build: int
    supply_v: float
    capacitance_f: float
    off_a: float
    always_on_a: float
    core_idle_a: float
    core_busy_a: float
    self_refresh_a: float
    full_a: Mapping[Peripheral, float]
    power_on_s: float
    steps: tuple[Step, ...]
    acts: Mapping[Act, float]
    idle_s: tuple[float, float]
    sleep: Literal["suspend", "deep", "saver"]
    radio: Literal["bursty", "beacon", "cellular", "push-to-talk"]
    heavy: Act | None = None
    stall: float = 3.5
    pwm_hz: float = 0.0
    tick_s: float = 1.0
    trains_memory: bool = True

    def has(self, peripheral: Peripheral) -> bool:
        """Return whether it has such a load."""
        return peripheral in self.full_a

    def peripheral_a(self, peripheral: Peripheral) -> float:
        """Return what such a load draws when fully on, 0 if it has none."""
        return self.full_a.get(peripheral, 0.0)

    @property
    def steps_s(self) -> float:
        """How long the steps of its boot take."""
        return sum(step.length_s for step in self.steps)

    @property
    def boot_s(self) -> float:
        """How long a boot takes from power on."""
        return self.steps_s + self.power_on_s

    @property
    def pace(self) -> float:
        """How long its doings take in relation to those of a device that boots in 12 s; at most 1.5."""
        return min(1.5, self.steps_s / 12)

    @property
    def heavy_acts(self) -> tuple[Act, ...]:
        """The act that loads it most, or all."""
        return tuple(self.acts) if self.heavy is None else (self.heavy,)

    @property
    def busy_acts(self) -> tuple[Act, ...]:
        """What keeps it busy: apps, if it has them."""
        return ("app",) if "app" in self.acts else self.heavy_acts
