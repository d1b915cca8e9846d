"""Kinds of recordings of a plain device that goes off and comes on again of itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from wakerail_sim.draws import log_uniform
from wakerail_sim.plain.story import Story

FaultyKind = Literal[
    "steady loop", "ragged loop", "fast loop", "single restart", "now and then", "long outages", "blinks",
    "load and restarts",
]  # fmt: skip


_FEWEST_OFF = 5  # samples: a meter may be blank for as long as four


def draw_off_s(story: Story, most: float = 1.0) -> float:
    """Draw how long the device is off each time: up to ``most`` times its pace, and longer than a meter is blank."""
    return max(_FEWEST_OFF * story.sample_s, story.pace_s * log_uniform(story.chance, 0.02, most))


def _loop(story: Story, off_s: float, varies: float) -> None:
    story.switch_on(story.spell_s(varies))
    while not story.ended:
        story.restart(
            max(_FEWEST_OFF * story.sample_s, off_s * (1 + varies * story.chance.uniform(-1, 1))), story.spell_s(varies)
        )


def _steady_loop(story: Story) -> None:
    _loop(story, draw_off_s(story), 0.01)


def _ragged_loop(story: Story) -> None:
    _loop(story, draw_off_s(story), story.chance.uniform(0.1, 0.6))


def _fast_loop(story: Story) -> None:
    story.pace_s = max(8 * story.sample_s, 0.15, min(story.pace_s, 2.0) * story.chance.uniform(0.1, 1))
    _loop(story, draw_off_s(story, 0.5), story.chance.uniform(0.01, 0.2))


def _single_restart(story: Story) -> None:
    story.switch_on(story.left_s * story.chance.uniform(0.1, 0.85))
    story.restart(draw_off_s(story), 0.5 * story.left_s)
    story.go_on(story.left_s)


def _now_and_then(story: Story) -> None:
    story.switch_on(story.spell_s(0.3))
    while not story.ended:
        story.go_on(story.left_s * story.chance.uniform(0.05, 0.4))
        story.restart(draw_off_s(story), story.spell_s(0.3))


def _long_outages(story: Story) -> None:
    _loop(story, story.pace_s * log_uniform(story.chance, 1, 4), story.chance.uniform(0.0, 0.5))


def _blinks(story: Story) -> None:
    """Off for a few samples only, now and then."""
    story.switch_on(story.spell_s(0.3))
    while not story.ended:
        story.restart(story.chance.uniform(_FEWEST_OFF, 9) * story.sample_s, story.spell_s(0.5))


def _load_and_restarts(story: Story) -> None:
    """A load on top comes and goes, and the device goes off now and then."""
    more = 1 + log_uniform(story.chance, 0.2, 3)
    story.switch_on(story.spell_s(0.3))
    while not story.ended:
        story.go_on(story.spell_s(0.5) * story.chance.uniform(0.1, 1), more)
        story.go_on(story.spell_s(0.5))
        if story.chance.random() < 0.4:
            story.restart(draw_off_s(story), story.spell_s(0.3))


FAULTY: dict[FaultyKind, Callable[[Story], None]] = {
    "steady loop": _steady_loop,
    "ragged loop": _ragged_loop,
    "fast loop": _fast_loop,
    "single restart": _single_restart,
    "now and then": _now_and_then,
    "long outages": _long_outages,
    "blinks": _blinks,
    "load and restarts": _load_and_restarts,
}
