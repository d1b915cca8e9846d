"""Kinds of recordings without a restart, and with what looks like one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from wakerail_sim.assembled.story import Story
from wakerail_sim.draws import about, log_uniform

HealthyKind = Literal[
    "in use", "sleeps by the clock", "sleeps at will", "works hard", "a part resets", "sleeps and a part resets",
    "switched off", "troubled meter",
]  # fmt: skip


def _spell_s(story: Story) -> float:
    return log_uniform(story.chance, 0.2 * story.device.boot_s, max(story.device.boot_s, 0.2 * story.length_s))


def _begin(story: Story) -> None:
    story.begin(story.device.boot_s * story.chance.uniform(1, 2))


def _in_use(story: Story) -> None:
    _begin(story)
    story.use(story.left_s)


def _sleeps_by_the_clock(story: Story) -> None:
    awake_s, asleep_s = _spell_s(story), _spell_s(story)
    _begin(story)
    while not story.ended:
        story.sleep(asleep_s * about(story.chance, 0.003))
        story.use(awake_s * about(story.chance, 0.003))


def _sleeps_at_will(story: Story) -> None:
    _begin(story)
    while not story.ended:
        story.sleep(_spell_s(story))
        story.use(_spell_s(story))


def _works_hard(story: Story) -> None:
    load_s = story.device.boot_s * log_uniform(story.chance, 0.01, 2)
    _begin(story)
    while not story.ended:
        story.work_hard(load_s)
        story.use(_spell_s(story))


def _a_part_resets(story: Story) -> None:
    _begin(story)
    while not story.ended:
        story.use(_spell_s(story))
        story.reset_part()


def _sleeps_and_a_part_resets(story: Story) -> None:
    _begin(story)
    while not story.ended:
        story.use(_spell_s(story))
        if story.chance.random() < 0.5:
            story.reset_part()
        else:
            story.sleep(_spell_s(story))


def _switched_off(story: Story) -> None:
    _begin(story)
    story.use(story.left_s * story.chance.uniform(0.2, 0.8))
    story.switch_off()


HEALTHY: dict[HealthyKind, Callable[[Story], None]] = {
    "in use": _in_use,
    "sleeps by the clock": _sleeps_by_the_clock,
    "sleeps at will": _sleeps_at_will,
    "works hard": _works_hard,
    "a part resets": _a_part_resets,
    "sleeps and a part resets": _sleeps_and_a_part_resets,
    "switched off": _switched_off,
    "troubled meter": _in_use,
}
