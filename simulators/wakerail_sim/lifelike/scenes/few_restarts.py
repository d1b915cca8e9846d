"""Scenes of devices that restart once or a few times in their lives."""

from __future__ import annotations

from wakerail_sim.draws import about, log_uniform, pick
from wakerail_sim.lifelike.features import Pink
from wakerail_sim.lifelike.plan import Plan
from wakerail_sim.lifelike.scenes.acts import begin, cold, draw_restart, live, live_on, warm
from wakerail_sim.lifelike.stage import Stage

_PANIC_S = 5.0


def cold_once(plan: Plan) -> None:
    """Let power go once, for a moment."""
    begin(plan)
    live(plan, plan.chance.uniform(0.15, 0.5) * plan.left_s)
    plan.restart(cold(log_uniform(plan.chance, 0.05, 1)))
    live_on(plan)


def cold_short_gap(plan: Plan) -> None:
    """Let power go so shortly that few samples show it."""
    chance, modes = plan.chance, plan.device.modes
    begin(plan)
    for rounds in _countdown(plan):
        plan.run(pick(chance, (modes.idle, modes.active)), _wait_s(plan, rounds))
        plan.restart(cold(log_uniform(chance, 0.005, 0.06)))
    live_on(plan)


def cold_long_gap(plan: Plan) -> None:
    """Let power go for some seconds."""
    chance, modes = plan.chance, plan.device.modes
    begin(plan)
    for rounds in _countdown(plan):
        plan.run(pick(chance, (modes.idle, modes.active, modes.busy)), _wait_s(plan, rounds, spare_s=2))
        plan.restart(cold(chance.uniform(0.5, 3)))
    live_on(plan)


def warm_no_fall(plan: Plan) -> None:
    """Reset the device with nothing to see but the boot that follows."""
    chance, modes = plan.chance, plan.device.modes
    plan.warm_skips_below = 0.85
    begin(plan)
    for rounds in _countdown(plan):
        plan.run(pick(chance, (modes.idle, modes.active, modes.busy)), _wait_s(plan, rounds))
        plan.restart(warm())
    live_on(plan)


def warm_partial_fall(plan: Plan) -> None:
    """Reset the device in a way that part of it draws on."""
    chance, modes, off_a = plan.chance, plan.device.modes, plan.device.off_a
    begin(plan)
    drawn_on = chance.uniform(0.15, 0.7)
    for rounds in _countdown(plan):
        plan.run(pick(chance, (modes.idle, modes.active)), _wait_s(plan, rounds))
        plan.restart(warm(log_uniform(chance, 0.02, 1.5), off_a + drawn_on * (plan.level_a - off_a)))
    live_on(plan)


def late_reset(plan: Plan) -> None:
    """Restart once, after a long time."""
    chance = plan.chance
    plan.switch_on()
    latest_s = plan.length_s - plan.now_s - plan.device.boot_s - 4
    live(plan, chance.uniform(30, min(180, max(35, latest_s))))
    plan.restart(draw_restart(plan, 0.5))
    live_on(plan)


def intermittent(plan: Plan) -> None:
    """Restart now and then, for no reason."""
    chance, boot_s = plan.chance, plan.device.boot_s
    begin(plan)
    count = int(chance.integers(2, 6))
    for done in range(count):
        if plan.left_s < 1.5 * boot_s and done:
            break
        live(plan, max(1.5, plan.left_s / (count + 1 - done) * chance.uniform(0.4, 1.3) - boot_s))
        plan.restart(draw_restart(plan, 0.5))
    live_on(plan)


def into_recovery(plan: Plan) -> None:
    """Restart, and at last boot into recovery."""
    chance, modes, recovery = plan.chance, plan.device.modes, plan.device.recovery
    begin(plan)
    for rounds in _countdown(plan):
        longest_s = 0.3 * plan.left_s - plan.device.boot_s
        plan.run(pick(chance, (modes.idle, modes.active)), chance.uniform(3, max(4, longest_s)))
        how = draw_restart(plan, 0.5)
        if rounds == 1 or chance.random() < 0.3:
            plan.restart(how, stages=recovery.stages)
            plan.run(recovery.prompt, max(3, 21 - plan.now_s, min(plan.left_s, chance.uniform(5, 60))))
            break
        plan.restart(how)


def running_then_one(plan: Plan) -> None:
    """Begin with a running device that restarts once."""
    plan.begins_running = True
    live(plan, plan.chance.uniform(0.1, 0.6) * (plan.length_s - plan.device.boot_s))
    plan.restart(draw_restart(plan, 0.5))
    live_on(plan)


def restart_from_sleep(plan: Plan) -> None:
    """Let a device that sleeps boot instead of waking."""
    chance = plan.chance
    begin(plan, 0.3)
    for rounds in _countdown(plan):
        live(plan, chance.uniform(1.5, 10))
        longest_s = plan.left_s / (rounds + 1) - plan.device.boot_s - 5
        plan.run(plan.device.modes.sleep, chance.uniform(4, max(5, longest_s)))
        plan.restart(warm() if chance.random() < 0.6 else cold(log_uniform(chance, 0.1, 2)))
    live_on(plan)


def panic_reboot(plan: Plan) -> None:
    """Let the kernel panic: the device's life ends there, and the reset comes some seconds later."""
    chance, modes = plan.chance, plan.device.modes
    begin(plan)
    rounds_to_go = _countdown(plan)
    level_a = 0.5 * (modes.idle.level_a + modes.busy.level_a) * chance.uniform(0.7, 1.2)
    panic = Stage("panic", level_a=level_a, pink=Pink(deviation_a=0.002 * level_a))
    for rounds in rounds_to_go:
        live(plan, _wait_s(plan, rounds, spare_s=_PANIC_S))
        ended_s = plan.now_s
        plan.run(panic, _PANIC_S * about(chance, 0.001))
        plan.restart(warm(log_uniform(chance, 0.005, 0.2) if chance.random() < 0.5 else 0.0), ended_s=ended_s)
    live_on(plan)


def warm_in_load(plan: Plan) -> None:
    """Reset a device under load, which is under load again once it has booted."""
    chance, busy = plan.chance, plan.device.modes.busy
    plan.begins_running = True
    plan.run(busy, chance.uniform(0.15, 0.5) * max(8, plan.length_s - plan.device.boot_s))
    plan.restart(warm(pick(chance, (0.0, log_uniform(chance, 0.001, 0.02)))))
    plan.run(busy, max(plan.left_s, 1))


def _countdown(plan: Plan) -> range:
    """Draw how many restarts there are, and return how many are to come at each: 1 at the last."""
    return range(int(plan.chance.integers(1, 4)), 0, -1)


def _wait_s(plan: Plan, rounds: int, spare_s: float = 0.0) -> float:
    """Draw how long the device runs until the next of ``rounds`` restarts, so that all find room."""
    longest_s = plan.left_s / (rounds + 1) - plan.device.boot_s - spare_s
    return plan.chance.uniform(3, max(4, longest_s))
