"""Scenes of devices whose firmware fails."""

from __future__ import annotations

from wakerail_sim.draws import pick
from wakerail_sim.held_out.devices.device import Act
from wakerail_sim.held_out.happenings.resets import fail_at_times
from wakerail_sim.held_out.happenings.use import press_power_key, use
from wakerail_sim.held_out.mishap import Crash, Hang, Mishap
from wakerail_sim.held_out.scenes.setting import Setting

_FAILURES_BEFORE_RECOVERY = 3


def watchdog_step(setting: Setting) -> None:
    """Hang in the same step of the boot a few times."""
    fails = _draw_weak_step(setting)
    _fail_in_step(setting, *fails, Hang(setting.watchdog_s, setting.chance.random() < 0.5, setting.off_s))


def crash_step(setting: Setting) -> None:
    """Crash in the same step of the boot a few times."""
    _fail_in_step(setting, *_draw_weak_step(setting), Crash(setting.off_s))


def watchdog_app(setting: Setting) -> None:
    """Hang at times while it runs."""
    every_s = setting.draw_fault_every_s()
    hang = Hang(setting.watchdog_s, setting.chance.random() < 0.5, setting.off_s)
    setting.happens(fail_at_times(setting.machine, every_s, hang))


def crash_random(setting: Setting) -> None:
    """Crash at any time."""
    every_s = setting.draw_fault_every_s()
    setting.happens(fail_at_times(setting.machine, every_s, Crash(setting.off_s), booting=True))


def load_only(setting: Setting) -> None:
    """Crash only when its heaviest load is asked for."""
    heavy = setting.device.heavy_acts

    def fails(act: Act) -> Mishap | None:
        return Crash(setting.off_s) if act in heavy and setting.chance.random() < 0.35 else None

    setting.machine.weaknesses.in_act = fails
    setting.used(1.5, heavy)


def wake_fail(setting: Setting) -> None:
    """Fail when it wakes up, every second time."""
    machine, chance = setting.machine, setting.chance
    crashes = chance.random() < 0.6
    mishap: Mishap = Crash(setting.off_s) if crashes else Hang(setting.watchdog_s, busy=False, off_s=setting.off_s)
    machine.weaknesses.waking = lambda: mishap if chance.random() < 0.5 else None
    setting.happens(press_power_key(machine, min(12, setting.length_s / 20), 8))
    setting.happens(use(machine, 6.0))


def recovery(setting: Setting) -> None:
    """Crash in the middle of the boot until it boots into a recovery instead."""
    machine, steps = setting.machine, setting.device.steps
    weak_step = steps[len(steps) // 2].name
    failures = 0

    def fails(step: str) -> Mishap | None:
        nonlocal failures
        if step != weak_step or failures == _FAILURES_BEFORE_RECOVERY:
            return None
        failures += 1
        machine.recovers_next = failures == _FAILURES_BEFORE_RECOVERY
        return Crash(setting.off_s)

    machine.weaknesses.in_step = fails
    setting.happens(fail_at_times(machine, setting.length_s * 0.45, Crash(setting.off_s)))


def _draw_weak_step(setting: Setting) -> tuple[str, float, int]:
    """Draw a step in which it fails, how likely, and how often at most."""
    steps = setting.device.steps
    step = pick(setting.chance, steps[len(steps) // 3 :])
    likelihood = setting.chance.uniform(0.5, 0.95)
    return step.name, likelihood, int(setting.chance.integers(2, 8))


def _fail_in_step(setting: Setting, weak_step: str, likelihood: float, failures: int, mishap: Mishap) -> None:
    """Let it fail in a step, and seldom later."""
    left = failures

    def fails(step: str) -> Mishap | None:
        nonlocal left
        if step != weak_step or left == 0 or setting.chance.random() >= likelihood:
            return None
        left -= 1
        return mishap

    setting.machine.weaknesses.in_step = fails
    setting.happens(fail_at_times(setting.machine, setting.draw_fault_every_s() * 1.5, mishap))
