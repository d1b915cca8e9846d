"""Connects a machine to a source that may be too weak for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wakerail_sim.held_out.firmware.boot import boot
from wakerail_sim.held_out.happenings.supply import WeakSupply
from wakerail_sim.held_out.happenings.use import use
from wakerail_sim.held_out.machine import Machine, State
from wakerail_sim.held_out.scenes.setting import Setting, Source

_TRIED_S = 60


@dataclass(frozen=True, slots=True)
class Connection:
    """What the source limits the current to (A), if it does; and whether it bears the boot, as far as it should."""

    limit_a: float | None = None
    boots: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class _Draw:
    """What a device's loads drew together (A), each time that one changed: in all, and while it booted."""

    all_a: list[float]
    boot_a: list[float]


def connect(setting: Setting, chance: np.random.Generator) -> Connection:
    """Connect a setting's machine to its source; ``chance`` is for a trial with a strong one."""
    machine, source = setting.machine, setting.source
    if source is None:
        return Connection()
    tried = _try_strong(setting, source, chance)
    if source.of == "what is usual":
        usual_a = float(np.quantile(tried.all_a, 0.98))
        return Connection(limit_a=usual_a * 1.02 * (0.9 + 0.2 * (source.part - 0.75)))
    boot_a = max(tried.boot_a)
    most_a = boot_a if source.of == "the boot" else max(tried.all_a)
    supply = WeakSupply(machine, most_a * source.part, source.bearable_s)
    machine.watch_load = supply.watch
    if source.recovers_after is not None:
        setting.happens(supply.recover(source.recovers_after))
    above = setting.chance.uniform(1.0, 1.15)
    if source.of == "the boot":
        return Connection()
    return Connection(supply.limit_a * above, boots=supply.limit_a >= boot_a * 0.98)


def _try_strong(setting: Setting, source: Source, chance: np.random.Generator) -> _Draw:
    """Return what a machine like the setting's draws from a strong source, used as it will be."""
    trial = Machine(setting.device, chance, boot)
    trial.scale = setting.machine.scale
    drawn: list[tuple[State, float]] = []
    trial.watch_load = lambda: drawn.append((trial.state, trial.total_a))
    trial.at(0.0, trial.power_up)
    trial.surround(use(trial, 3.0, setting.device.heavy_acts if source.of == "the peak" else ()))
    trial.run(setting.device.boot_s * 2 + _TRIED_S)
    return _Draw([drawn_a for _, drawn_a in drawn], [drawn_a for state, drawn_a in drawn if state == "boot"])
