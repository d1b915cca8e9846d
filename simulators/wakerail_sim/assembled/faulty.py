"""Kinds of recordings with restarts: what stops a device, when, and how it comes back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from wakerail_sim.assembled.story import Floor, Story
from wakerail_sim.draws import about, log_uniform, pick

FaultyKind = Literal[
    "loops at a step", "loops at any step", "stops in use", "stops by the clock", "stops under load", "stops on waking",
    "stops once", "sooner and sooner", "resets warm", "resets in part", "hangs and resets", "off for long",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Fall:
    floor: Floor
    off_s: float


def _draw_fall(story: Story, most: float = 1.0) -> _Fall:
    """Draw how the device stops, for at most that share of a boot."""
    floor: Floor = pick(story.chance, ("off", "standing", "reset"))
    return _Fall(floor, log_uniform(story.chance, 2e-3, most) * story.device.boot_s)


def _spell_s(story: Story) -> float:
    """Draw for how long it is up."""
    return log_uniform(story.chance, story.device.boot_s, max(2 * story.device.boot_s, 0.25 * story.length_s))


def _step_s(story: Story) -> float:
    """Draw when in a boot it stops."""
    return story.chance.uniform(1.1 * story.opening_s, 1.2 * story.device.boot_s)


def _loops_at_a_step(story: Story) -> None:
    fall, up_s, jitter = _draw_fall(story), _step_s(story), log_uniform(story.chance, 1e-3, 0.05)
    story.begin(up_s)
    while not story.ended:
        story.restart(fall.floor, fall.off_s, up_s * about(story.chance, jitter))


def _loops_at_any_step(story: Story) -> None:
    fall = _draw_fall(story)
    story.begin(_step_s(story))
    while not story.ended:
        story.restart(fall.floor, fall.off_s * log_uniform(story.chance, 0.3, 3), _step_s(story))


def _stops_in_use(story: Story) -> None:
    story.begin(_spell_s(story))
    while not story.ended:
        fall = _draw_fall(story)
        story.restart(fall.floor, fall.off_s, _spell_s(story))


def _stops_by_the_clock(story: Story) -> None:
    fall, up_s = _draw_fall(story), _spell_s(story)
    story.begin(up_s)
    while not story.ended:
        story.restart(fall.floor, fall.off_s, up_s * about(story.chance, 0.002))


def _stops_under_load(story: Story) -> None:
    dies, load_s = story.chance.uniform(0.3, 1), story.device.boot_s * log_uniform(story.chance, 0.03, 2)
    story.begin(_spell_s(story))
    while not story.ended:
        if story.chance.random() < dies:
            story.work_hard(load_s * story.chance.uniform(0.02, 1))
            fall = _draw_fall(story)
            story.restart(fall.floor, fall.off_s, _spell_s(story))
        else:
            story.work_hard(load_s)
            story.use(_spell_s(story))


def _stops_on_waking(story: Story) -> None:
    dies, fall = story.chance.uniform(0.2, 0.8), _draw_fall(story)
    story.begin(_spell_s(story))
    while not story.ended:
        story.sleep(_spell_s(story))
        if story.chance.random() < dies:
            story.use(story.device.boot_s * story.chance.uniform(0, 0.3))
            story.restart(fall.floor, fall.off_s, _spell_s(story))
        else:
            story.use(_spell_s(story))


def _stops_once(story: Story) -> None:
    story.begin(story.length_s * story.chance.uniform(0.2, 0.7))
    fall = _draw_fall(story)
    story.restart(fall.floor, fall.off_s, story.left_s)
    story.use(max(0.0, story.left_s))


def _sooner_and_sooner(story: Story) -> None:
    fall, up_s, shrinks = _draw_fall(story), _spell_s(story), story.chance.uniform(0.6, 0.95)
    story.begin(up_s)
    while not story.ended:
        up_s *= shrinks
        story.restart(fall.floor, fall.off_s, up_s)


def _resets_warm(story: Story) -> None:
    """Never off: the parts stop, and the core begins anew from what it draws in reset."""
    off_s = log_uniform(story.chance, 1e-3, 0.05) * story.device.boot_s
    story.begin(_spell_s(story))
    while not story.ended:
        story.restart("reset", off_s * about(story.chance, 0.1), _spell_s(story))


def _resets_in_part(story: Story) -> None:
    off_s = log_uniform(story.chance, 1e-3, 0.3) * story.device.boot_s
    floor: Floor = pick(story.chance, ("standing", "reset"))
    story.begin(_spell_s(story))
    while not story.ended:
        story.restart(floor, off_s, _spell_s(story), survives=True)


def _hangs_and_resets(story: Story) -> None:
    """Stops doing anything but to draw what it draws, or works for nothing, and a watchdog ends it."""
    hangs_s = _spell_s(story)
    story.begin(_spell_s(story))
    while not story.ended:
        story.work_hard(hangs_s)
        fall = _draw_fall(story, 0.3)
        story.restart(fall.floor, fall.off_s, _spell_s(story))


def _off_for_long(story: Story) -> None:
    up_s = pick(story.chance, (_step_s(story), _spell_s(story)))
    story.begin(up_s)
    while not story.ended:
        off_s = story.device.boot_s * log_uniform(story.chance, 0.5, 6)
        story.restart(pick(story.chance, ("off", "standing")), off_s, up_s * about(story.chance, 0.1))


FAULTY: dict[FaultyKind, Callable[[Story], None]] = {
    "loops at a step": _loops_at_a_step,
    "loops at any step": _loops_at_any_step,
    "stops in use": _stops_in_use,
    "stops by the clock": _stops_by_the_clock,
    "stops under load": _stops_under_load,
    "stops on waking": _stops_on_waking,
    "stops once": _stops_once,
    "sooner and sooner": _sooner_and_sooner,
    "resets warm": _resets_warm,
    "resets in part": _resets_in_part,
    "hangs and resets": _hangs_and_resets,
    "off for long": _off_for_long,
}
