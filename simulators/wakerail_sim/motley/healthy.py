"""Kinds of recordings without a restart, and with what looks like one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

from wakerail_sim.draws import about, log_uniform, pick
from wakerail_sim.motley.faulty import begin, draw_spell_s
from wakerail_sim.motley.motif import Motif
from wakerail_sim.motley.story import Fall, Floor, Story

HealthyKind = Literal[
    "plain use", "boot and idle", "regular sleeper", "random sleeper", "dark screen", "periodic job", "heavy loads",
    "charging pulses", "supply dips", "switched off", "troubled meter",
]  # fmt: skip


def _plain_use(story: Story) -> None:
    begin(story)
    story.use(story.left_s)


def _boot_and_idle(story: Story) -> None:
    story.switch_on()
    state = pick(story.chance, story.device.states)
    while not story.ended:
        story.play(state.motif, story.left_s * story.chance.uniform(0.1, 1.2))
        story.use(story.device.boot_s * story.chance.uniform(0, 0.5))


def _regular_sleeper(story: Story) -> None:
    story.switch_on()
    asleep_s, awake_s = draw_spell_s(story), draw_spell_s(story)
    jitter = log_uniform(story.chance, 0.001, 0.1)
    while not story.ended:
        story.play(story.device.sleep, asleep_s * about(story.chance, jitter))
        story.wake()
        story.use(awake_s * about(story.chance, jitter))


def _random_sleeper(story: Story) -> None:
    story.switch_on()
    while not story.ended:
        story.use(draw_spell_s(story))
        story.play(story.device.sleep, log_uniform(story.chance, 0.1, 1) * draw_spell_s(story))
        if story.chance.random() < 0.8:
            story.wake()


def _dark_screen(story: Story) -> None:
    """Falls to the standing level and comes back to what was before, at once or with an opening of its own."""
    begin(story)
    opening = story.chance.random() < 0.4 and story.onset_s is not None
    while not story.ended:
        story.use(draw_spell_s(story))
        dark = Fall("standing", draw_spell_s(story))
        if opening:
            story.rest(dark)
            story.wake()
        else:
            story.dim(dark)


def _periodic_job(story: Story) -> None:
    """A job that opens like a motif of the boot, in a rhythm, out of one state."""
    story.switch_on()
    device = story.device
    story.has_openings = True
    later = device.boot[len(device.boot) // 2]
    job = (later, *device.wake) if story.chance.random() < 0.5 else (*device.wake, later)
    between = pick(story.chance, device.states).motif
    period_s = draw_spell_s(story)
    while not story.ended:
        for motif in job:
            story.play(motif, motif.length_s, stretch=about(story.chance, 0.01))
        story.play(between, period_s * about(story.chance, 0.01))


def _heavy_loads(story: Story) -> None:
    begin(story)
    load = story.device.load
    while not story.ended:
        story.use(draw_spell_s(story))
        for _ in range(story.chance.integers(1, 5)):
            story.play(load, load.length_s * log_uniform(story.chance, 0.3, 2))
            if story.chance.random() < 0.5:
                story.dim(Fall("partial", 0.2 * load.length_s))


def _charging_pulses(story: Story) -> None:
    """Pulses of a fixed width with fixed gaps between, which may taper off."""
    story.switch_on()
    chance, device = story.chance, story.device
    width_s, gap_s = (log_uniform(chance, 0.05, 2) * device.boot_s for _ in range(2))
    pulse = Motif(length_s=width_s, level_a=device.top_a * chance.uniform(0.3, 1), texture=0.01)
    tapers = chance.choice((1.0, chance.uniform(0.9, 1)))
    floor: Floor = pick(chance, ("standing", "reset", "off"))
    while not story.ended:
        if chance.random() < 0.2:
            story.use(device.boot_s * chance.uniform(0.2, 2))
        for _ in range(chance.integers(3, 30)):
            story.play(pulse, width_s * about(chance, 0.002))
            story.rest(Fall(floor, gap_s * about(chance, 0.002)))
            pulse = replace(pulse, level_a=pulse.level_a * tapers)


def _supply_dips(story: Story) -> None:
    """The supply fails for moments, and the device bears it: what was going on goes on."""
    begin(story)
    while not story.ended:
        story.use(draw_spell_s(story))
        floor: Floor = pick(story.chance, ("off", "reset", "partial", "decay"))
        story.dim(Fall(floor, log_uniform(story.chance, 0.002, 0.5) * story.device.boot_s))


def _switched_off(story: Story) -> None:
    begin(story)
    story.use(story.left_s * story.chance.uniform(0.1, 0.9))
    if story.chance.random() < 0.5:
        story.play(story.device.sleep, story.left_s * story.chance.uniform(0, 0.5))
    story.rest(Fall(pick(story.chance, ("off", "decay", "standing")), story.left_s))


def _troubled_meter(story: Story) -> None:
    begin(story)
    while not story.ended:
        story.use(draw_spell_s(story))
        if story.chance.random() < 0.3 and story.onset_s is not None:
            story.play(story.device.sleep, draw_spell_s(story))


HEALTHY: dict[HealthyKind, Callable[[Story], None]] = {
    "plain use": _plain_use,
    "boot and idle": _boot_and_idle,
    "regular sleeper": _regular_sleeper,
    "random sleeper": _random_sleeper,
    "dark screen": _dark_screen,
    "periodic job": _periodic_job,
    "heavy loads": _heavy_loads,
    "charging pulses": _charging_pulses,
    "supply dips": _supply_dips,
    "switched off": _switched_off,
    "troubled meter": _troubled_meter,
}
