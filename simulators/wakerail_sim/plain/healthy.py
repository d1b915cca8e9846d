"""Kinds of recordings of a plain device that stays on, or is switched off: what falls stays well above off."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from wakerail_sim.draws import log_uniform
from wakerail_sim.plain.story import LEAST_ON, Story

HealthyKind = Literal[
    "stays on", "load on top", "dips", "low half the time", "steps", "spikes", "duty cycle", "switched off",
    "never on", "troubled meter",
]  # fmt: skip
_ABOVE_OFF = 3.0  # times what is drawn when off: so much is drawn at least in sleep


def _stays_on(story: Story) -> None:
    story.switch_on(story.left_s)


def _load_on_top(story: Story) -> None:
    more, varies = 1 + log_uniform(story.chance, 0.2, 8), story.chance.choice((0.01, 0.5))
    on_s, off_s = (story.pace_s * log_uniform(story.chance, 0.05, 1) for _ in range(2))
    story.switch_on(story.spell_s(0.3))
    while not story.ended:
        story.go_on(on_s * (1 + varies * story.chance.uniform(-1, 1)), more)
        story.go_on(off_s * (1 + varies * story.chance.uniform(-1, 1)))


def _dips(story: Story) -> None:
    varies = story.chance.choice((0.01, 0.8))
    share, dip_s = story.chance.uniform(LEAST_ON, 0.9), story.pace_s * log_uniform(story.chance, 0.005, 0.5)
    story.switch_on(story.spell_s(0.3))
    while not story.ended:
        story.go_on(dip_s * (1 + varies * story.chance.uniform(-1, 1)), share)
        story.go_on(story.spell_s(varies))


def _low_half_the_time(story: Story) -> None:
    varies, share = story.chance.choice((0.01, 0.4)), story.chance.uniform(LEAST_ON, 0.5)
    story.switch_on(story.spell_s(0.3))
    while not story.ended:
        story.go_on(story.spell_s(varies), share)
        story.go_on(story.spell_s(varies))


def _steps(story: Story) -> None:
    levels = story.chance.uniform(LEAST_ON, 1.0, story.chance.integers(2, 6))
    story.switch_on(story.spell_s(0.3))
    while not story.ended:
        story.go_on(story.spell_s(0.6), float(story.chance.choice(levels)))


def _spikes(story: Story) -> None:
    story.switch_on(story.spell_s(0.3))
    while not story.ended:
        story.go_on(story.pace_s * log_uniform(story.chance, 0.002, 0.05), 1 + log_uniform(story.chance, 0.3, 8))
        story.go_on(story.spell_s(0.8))


def _duty_cycle(story: Story) -> None:
    """Sleeps deeply, and comes on as at first; only what it draws asleep tells it from one that goes off."""
    device, varies = story.device, story.chance.choice((0.01, 0.5))
    share = log_uniform(story.chance, max(5e-4, _ABOVE_OFF * device.off_a / device.level_a), LEAST_ON)
    story.least_a = share * device.level_a
    asleep_s = story.pace_s * log_uniform(story.chance, 0.05, 4)
    story.switch_on(story.spell_s(0.3))
    while not story.ended:
        story.go_on(asleep_s * (1 + varies * story.chance.uniform(-1, 1)), share)
        story.switch_on(story.spell_s(varies))


def _switched_off(story: Story) -> None:
    story.switch_on(story.left_s * story.chance.uniform(0.2, 0.9))
    story.switch_off()


def _never_on(story: Story) -> None:
    story.onset_s = None
    story.switch_off()


HEALTHY: dict[HealthyKind, Callable[[Story], None]] = {
    "stays on": _stays_on,
    "load on top": _load_on_top,
    "dips": _dips,
    "low half the time": _low_half_the_time,
    "steps": _steps,
    "spikes": _spikes,
    "duty cycle": _duty_cycle,
    "switched off": _switched_off,
    "never on": _never_on,
    "troubled meter": _stays_on,
}
