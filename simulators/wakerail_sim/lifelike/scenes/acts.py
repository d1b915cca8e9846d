"""What many scenes have in common: how they begin, a device's daily life, its habits, and how it restarts."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from wakerail_sim.draws import log_uniform, pick
from wakerail_sim.lifelike.plan import Habit, Plan, Restart


def switch_on_or_run(plan: Plan, share_switched_on: float) -> None:
    """Switch the device on, or let the recording begin while it runs."""
    if plan.chance.random() < share_switched_on:
        plan.switch_on()
    else:
        plan.begins_running = True


def begin(plan: Plan, share_running: float = 0.25) -> None:
    """Begin a scene whose device will restart later: with its boot, or while it runs."""
    chance, modes = plan.chance, plan.device.modes
    if chance.random() < share_running:
        plan.begins_running = True
        plan.run(pick(chance, (modes.idle, modes.active)), chance.uniform(3, max(4, min(25, 0.12 * plan.length_s))))
    else:
        plan.switch_on()


def live(plan: Plan, length_s: float, *, sleepy: bool = False) -> None:
    """Let the device run in modes that change; a ``sleepy`` one sleeps now and then."""
    chance, modes = plan.chance, plan.device.modes
    choice = (modes.idle, modes.idle, modes.active, modes.busy, *((modes.sleep,) if sleepy else ()))
    end_s = plan.now_s + length_s
    while end_s - plan.now_s > 0.05:
        mode = pick(chance, choice)
        mode_s = min(end_s - plan.now_s, log_uniform(chance, 2, 40))
        eventful = chance.random() < 0.5 and mode is not modes.sleep
        plan.run(mode, mode_s, draw_habits(plan, chance.uniform(4, 25)) if eventful else ())


def live_on(plan: Plan) -> None:
    """Let the device live until the recording ends."""
    live(plan, max(plan.left_s, 1))


def draw_habits(
    plan: Plan, every_s: float, *, evenly: bool = False, of: Collection[str] | None = None
) -> tuple[Habit, ...]:
    """Draw one event that recurs evenly, or up to three that recur at random, about every ``every_s``.

    They are those named in ``of``, if the device has any of them.
    """
    chance, events = plan.chance, plan.device.events
    choice = tuple(event for event in events if of is None or event.name in of) or events
    count = 1 if evenly else min(len(choice), int(chance.integers(1, 4)))
    room = 1.4 if evenly else 0.3
    return tuple(
        Habit(event, max(every_s, room * event.length_s) * chance.uniform(0.8, 1.3), evenly)
        for event in (choice[place] for place in chance.permutation(len(choice))[:count])
    )


def warm(hold_s: float = 0.0, level_a: float | None = None) -> Restart:
    """Return a restart without loss of power, held in reset for ``hold_s``."""
    return Restart(warm=True, gap_s=hold_s, level_a=level_a)


def cold(gap_s: float, level_a: float | None = None) -> Restart:
    """Return a restart by a loss of power for ``gap_s``."""
    return Restart(warm=False, gap_s=gap_s, level_a=level_a)


def draw_restart(plan: Plan, share_warm: float, gap_s: float | None = None) -> Restart:
    """Draw a restart, cold ones with a gap of ``gap_s`` or one drawn as well."""
    chance = plan.chance
    if chance.random() < share_warm:
        return warm(pick(chance, (0.0, log_uniform(chance, 0.002, 0.05), log_uniform(chance, 0.02, 0.4))))
    return cold(log_uniform(chance, 0.03, 2) if gap_s is None else gap_s)


def draw_break(plan: Plan, least: float, most: float) -> float:
    """Draw where a boot breaks off, after ``least`` to ``most`` of its time: a stage and the part of it done."""
    lengths_s = [stage.length_s for stage in plan.device.stages]
    ends_s = np.cumsum([0.0, *lengths_s])
    at_s = plan.chance.uniform(least, most) * ends_s[-1]
    number = int(np.searchsorted(ends_s, at_s, side="right")) - 1
    return number + float(at_s - ends_s[number]) / lengths_s[number]
