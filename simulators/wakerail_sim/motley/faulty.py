"""Kinds of recordings with restarts: what breaks a device off, when, and how it comes back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np

from wakerail_sim.draws import about, log_uniform, pick
from wakerail_sim.motley.story import Fall, Floor, Story

FaultyKind = Literal[
    "steady loop", "ragged loop", "fast loop", "used and reset", "watchdog", "single restart", "late trouble",
    "falls in sleep", "falls under load", "shorter and shorter", "two causes", "warm resets", "long outages",
    "sagging supply", "beside a duty cycle", "comes up at last",
]  # fmt: skip
_FLOORS: tuple[Floor, ...] = ("off", "standing", "reset", "decay", "partial")
_DEEP_FLOORS: tuple[Floor, ...] = ("off", "standing", "decay")


def draw_fall(story: Story, least_s: float = 5e-4, most_s: float = 20.0) -> Fall:
    """Draw how the device stops: clearly, where no first boot shows how it begins."""
    floors = _FLOORS
    if story.begins_running:
        floors, least_s = _DEEP_FLOORS, max(least_s, 0.15 * story.device.boot_s)
    most_s = max(least_s, min(most_s, 0.1 * story.left_s))
    return Fall(pick(story.chance, floors), log_uniform(story.chance, least_s, most_s))


def begin(story: Story, part: float = 1.0) -> None:
    """Switch the device on, or let it run already."""
    if story.begins_running:
        story.use(story.chance.uniform(0.2, 1.5) * story.device.boot_s)
    else:
        story.switch_on(part)


def draw_spell_s(story: Story) -> float:
    """Draw how long something lasts: from a part of a boot to a good part of the recording."""
    least_s = 0.1 * story.device.boot_s
    return log_uniform(story.chance, least_s, max(4 * least_s, 0.25 * story.length_s))


def _varied(story: Story, fall: Fall, deviation: float) -> Fall:
    return replace(fall, gap_s=fall.gap_s * float(np.exp(deviation * story.chance.normal())))


def _part(story: Story) -> float:
    return story.chance.uniform(0.25, 1.0)


def _steady_loop(story: Story) -> None:
    story.variation = 0.1
    fall, part = draw_fall(story, most_s=0.7 * story.device.boot_s), _part(story)
    begin(story, part)
    while not story.ended:
        story.restart(_varied(story, fall, 0.01), part * about(story.chance, 0.004))


def _ragged_loop(story: Story) -> None:
    fall = draw_fall(story, most_s=story.device.boot_s)
    begin(story, _part(story))
    while not story.ended:
        story.restart(_varied(story, fall, 0.7), _part(story))


def _fast_loop(story: Story) -> None:
    story.variation = pick(story.chance, (0.1, 1.0))
    fall, part = draw_fall(story, most_s=0.3 * story.device.boot_s), _part(story)
    jitter = log_uniform(story.chance, 0.002, 0.2)
    begin(story, part)
    while not story.ended:
        story.restart(_varied(story, fall, jitter), min(1.0, part * about(story.chance, jitter)))


def _used_and_reset(story: Story) -> None:
    begin(story)
    while not story.ended:
        story.use(draw_spell_s(story))
        if story.chance.random() < 0.9:
            story.restart(draw_fall(story))


def _watchdog(story: Story) -> None:
    use_s = draw_spell_s(story)
    fall = draw_fall(story, most_s=story.device.boot_s)
    begin(story)
    while not story.ended:
        story.use(use_s * about(story.chance, 0.003))
        story.restart(fall)


def _single_restart(story: Story) -> None:
    begin(story)
    story.use(story.left_s * story.chance.uniform(0.05, 0.8))
    story.restart(draw_fall(story, 5e-3))
    story.use(story.left_s)


def _late_trouble(story: Story) -> None:
    begin(story)
    story.use(story.left_s * story.chance.uniform(0.3, 0.7))
    fall, part = draw_fall(story, most_s=2 * story.device.boot_s), _part(story)
    while not story.ended:
        story.restart(_varied(story, fall, 0.1), min(1.0, part * about(story.chance, 0.05)))


def _falls_in_sleep(story: Story) -> None:
    """Restarts come out of sleep; other sleeps end in a wake-up."""
    story.switch_on()
    dies = story.chance.uniform(0.2, 0.8)
    fall = draw_fall(story)
    while not story.ended:
        story.use(draw_spell_s(story))
        story.play(story.device.sleep, draw_spell_s(story))
        if story.chance.random() < dies:
            story.restart(_varied(story, fall, 0.3))
        else:
            story.wake()


def _falls_under_load(story: Story) -> None:
    begin(story)
    dies = story.chance.uniform(0.3, 1)
    load_s = story.device.load.length_s
    while not story.ended:
        story.use(draw_spell_s(story))
        fatal = story.chance.random() < dies
        story.play(story.device.load, load_s, until_s=load_s * story.chance.uniform(0.05, 1) if fatal else None)
        if fatal:
            story.restart(draw_fall(story, most_s=2 * story.device.boot_s))


def _shorter_and_shorter(story: Story) -> None:
    part, shrinks = story.chance.uniform(0.7, 1), story.chance.uniform(0.75, 0.97)
    fall = draw_fall(story, most_s=story.device.boot_s)
    begin(story, part)
    while not story.ended:
        part *= shrinks
        story.restart(_varied(story, fall, 0.05), part)


def _two_causes(story: Story) -> None:
    causes = [(draw_fall(story, most_s=2 * story.device.boot_s), _part(story)) for _ in range(2)]
    turns = story.chance.random() < 0.5
    begin(story, causes[1][1])
    while not story.ended:
        for fall, part in causes if turns else [pick(story.chance, causes)]:
            if not story.ended:
                story.restart(_varied(story, fall, 0.05), min(1.0, part * about(story.chance, 0.02)))


def _warm_resets(story: Story) -> None:
    story.switch_on()
    skipped = story.device.most_skipped
    while not story.ended:
        story.use(draw_spell_s(story))
        warm = story.chance.random() < 0.8
        fall = Fall("reset", story.chance.choice((0.0, 1.0)) * log_uniform(story.chance, 1e-3, 0.5))
        if warm:
            story.restart(fall, story.chance.choice((1.0, _part(story))), skipped=skipped)
        else:
            story.restart(draw_fall(story))


def _long_outages(story: Story) -> None:
    begin(story)
    part = story.chance.choice((1.0, _part(story)))
    while not story.ended:
        if part == 1.0:
            story.use(draw_spell_s(story))
        gap_s = log_uniform(story.chance, 0.5, 5) * story.device.boot_s
        story.restart(Fall(pick(story.chance, _DEEP_FLOORS), gap_s), part)


def _sagging_supply(story: Story) -> None:
    """Dips come again and again; only some of them are too long or too deep for the device."""
    story.switch_on()
    while not story.ended:
        story.use(draw_spell_s(story))
        if story.chance.random() < 0.5:
            story.dim(Fall("partial", log_uniform(story.chance, 0.003, 0.3) * story.device.boot_s))
        else:
            story.restart(Fall("partial", log_uniform(story.chance, 0.01, 0.5) * story.device.boot_s))


def _beside_a_duty_cycle(story: Story) -> None:
    awake_s, asleep_s = draw_spell_s(story), draw_spell_s(story)
    story.switch_on()
    while not story.ended:
        story.use(awake_s)
        if story.chance.random() < 0.3:
            story.restart(draw_fall(story))
        story.play(story.device.sleep, asleep_s * about(story.chance, 0.01))
        story.wake()


def _comes_up_at_last(story: Story) -> None:
    fall, part = draw_fall(story, most_s=2 * story.device.boot_s), _part(story)
    begin(story, part)
    for _ in range(story.chance.integers(0, 8)):
        story.restart(_varied(story, fall, 0.2), min(0.95, part * about(story.chance, 0.1)))
    story.restart(_varied(story, fall, 0.2))
    story.use(story.left_s)


FAULTY: dict[FaultyKind, Callable[[Story], None]] = {
    "steady loop": _steady_loop,
    "ragged loop": _ragged_loop,
    "fast loop": _fast_loop,
    "used and reset": _used_and_reset,
    "watchdog": _watchdog,
    "single restart": _single_restart,
    "late trouble": _late_trouble,
    "falls in sleep": _falls_in_sleep,
    "falls under load": _falls_under_load,
    "shorter and shorter": _shorter_and_shorter,
    "two causes": _two_causes,
    "warm resets": _warm_resets,
    "long outages": _long_outages,
    "sagging supply": _sagging_supply,
    "beside a duty cycle": _beside_a_duty_cycle,
    "comes up at last": _comes_up_at_last,
}
