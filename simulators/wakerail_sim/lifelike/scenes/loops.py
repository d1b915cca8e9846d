"""Scenes of devices that restart again and again."""

from __future__ import annotations

from wakerail_sim.draws import about, log_uniform, pick
from wakerail_sim.lifelike.features import Pink
from wakerail_sim.lifelike.plan import Plan
from wakerail_sim.lifelike.scenes.acts import cold, draw_break, draw_restart, warm
from wakerail_sim.lifelike.stage import Stage

_FEWEST = 2
_LONGEST_GAP_S = 20


def loop_fixed(plan: Plan) -> None:
    """Restart after the same time each time, as by a watchdog."""
    chance, modes = plan.chance, plan.device.modes
    plan.switch_on()
    run_s = log_uniform(chance, 1.5, 20)
    is_warm = chance.random() < 0.5
    hold_s = pick(chance, (0.0, log_uniform(chance, 0.005, 0.3)))
    gap_s = log_uniform(chance, 0.02, 2)
    mode = pick(chance, (modes.idle, modes.active, modes.busy))
    while len(plan.restarts) < _FEWEST or plan.left_s > plan.device.boot_s * 0.7:
        plan.run(mode, run_s * about(chance, 0.003))
        plan.restart(warm(hold_s) if is_warm else cold(gap_s * about(chance, 0.02)))
    plan.run(mode, min(run_s * 0.9, max(plan.left_s, run_s * 0.5)))


def loop_varying(plan: Plan) -> None:
    """Restart after times that shrink as the device gets hot, or that are random."""
    chance, modes = plan.chance, plan.device.modes
    plan.switch_on()
    heats = chance.random() < 0.5
    run_s = log_uniform(chance, 2, 30 if heats else 12)
    while len(plan.restarts) < _FEWEST or (plan.left_s > plan.device.boot_s * 0.7 and len(plan.restarts) < 60):
        this_s = run_s * chance.uniform(0.85, 1.1) if heats else 0.4 + chance.exponential(run_s)
        plan.run(pick(chance, (modes.idle, modes.active, modes.busy)), this_s)
        plan.restart(draw_restart(plan, 0.4))
        run_s = max(0.6, run_s * (chance.uniform(0.6, 0.9) if heats else 1))
    plan.run(modes.idle, min(run_s, max(plan.left_s, 0.3)))


def loop_same_stage(plan: Plan) -> None:
    """Restart at the same place of each boot."""
    chance = plan.chance
    plan.wait_for_power()
    break_at = draw_break(plan, 0.35, 0.97)
    plan.boot(until=break_at)
    is_warm = chance.random() < 0.45
    gap_s = log_uniform(chance, 0.02, 2)
    hold_s = pick(chance, (0.0, log_uniform(chance, 0.01, 0.4)))
    while len(plan.restarts) < _FEWEST or (plan.left_s > plan.device.boot_s * 0.6 and len(plan.restarts) < 150):
        if is_warm:
            shift = 0.01 * chance.normal()  # but not out of the stage
            plan.restart(warm(hold_s), until=break_at + shift if break_at % 1 > 0.05 else break_at)
        else:
            plan.restart(cold(gap_s * about(chance, 0.03)), until=break_at)


def watchdog_ladder(plan: Plan) -> None:
    """Restart after times that grow by the same factor, as of a watchdog that backs off."""
    chance, modes, boot_s = plan.chance, plan.device.modes, plan.device.boot_s
    plan.switch_on()
    run_s = log_uniform(chance, 0.5, 3)
    growth = chance.uniform(1.4, 2.2)
    is_warm = chance.random() < 0.6
    while len(plan.restarts) < _FEWEST or (plan.left_s > run_s + boot_s and len(plan.restarts) < 14):
        plan.run(pick(chance, (modes.idle, modes.idle, modes.active)), run_s)
        if is_warm:
            plan.restart(warm(log_uniform(chance, 0.002, 0.1) if chance.random() < 0.5 else 0.0))
        else:
            plan.restart(cold(log_uniform(chance, 0.05, 0.6)))
        run_s *= growth
    plan.run(modes.idle, min(max(plan.left_s, 0.5), run_s * 0.9))


def loop_gives_up(plan: Plan) -> None:
    """Break off a few boots, then stay off or halt."""
    chance = plan.chance
    plan.wait_for_power()
    break_at = draw_break(plan, 0.3, 0.95)
    boots = int(chance.integers(3, 9))
    plan.boot(until=break_at)
    for _ in range(boots - 1):
        how = draw_restart(plan, 0.3, gap_s=log_uniform(chance, 0.05, 1.5))
        plan.restart(how, until=break_at * about(chance, 0.004))
    if chance.random() < 0.6:
        plan.off(max(4, min(plan.left_s, 40)))
        return
    stages = plan.device.stages
    level_a = stages[min(int(break_at), len(stages) - 1)].level_a * chance.uniform(0.3, 0.8)
    halt = Stage("halt", level_a=level_a, pink=Pink(deviation_a=0.003 * level_a))
    plan.run(halt, max(4, min(plan.left_s, 40)))


def empty_cell_loop(plan: Plan) -> None:
    """Boot on an empty cell: each boot comes less far, each wait is longer."""
    chance, stages = plan.chance, len(plan.device.stages)
    plan.wait_for_power()
    break_at = draw_break(plan, 0.6, 0.98)
    gap_s = log_uniform(chance, 0.1, 0.8)
    plan.boot(until=break_at)
    while len(plan.restarts) < _FEWEST or (
        plan.left_s > plan.device.boot_s * break_at / stages and len(plan.restarts) < 12
    ):
        plan.droop(log_uniform(chance, 0.01, 0.2), chance.uniform(0.04, 0.2))
        how = cold(gap_s)
        gap_s = min(gap_s * chance.uniform(1.1, 1.6), _LONGEST_GAP_S)
        break_at = max(0.45 * stages, break_at * chance.uniform(0.9, 0.99))
        plan.restart(how, until=break_at)
    plan.off(chance.uniform(2, 6))
