"""Scenes of devices that something else resets: supplies, lines, water, heat."""

from __future__ import annotations

from wakerail_sim.held_out.happenings.resets import (
    draw_short_off,
    fail_at_times,
    glitch,
    glitch_once,
    hold_button,
    overheat,
    reset_asleep,
    short_by_leak,
)
from wakerail_sim.held_out.happenings.supply import Contact, leak, open_contact
from wakerail_sim.held_out.happenings.use import press_power_key, use
from wakerail_sim.held_out.mishap import Crash
from wakerail_sim.held_out.scenes.setting import Setting, Source


def brownout_load(setting: Setting) -> None:
    """Give up when its heaviest load is on."""
    part = setting.chance.uniform(0.80, 0.93)
    setting.source = Source(part, of="the peak", bearable_s=setting.chance.uniform(0.002, 0.02))
    setting.used(acts=setting.device.heavy_acts)


def brownout_boot(setting: Setting) -> None:
    """Give up in the boot, until the supply recovers."""
    chance = setting.chance
    part, bearable_s = chance.uniform(0.86, 0.97), chance.uniform(0.002, 0.05)
    setting.source = Source(part, of="the boot", bearable_s=bearable_s, recovers_after=int(chance.integers(2, 7)))


def thermal(setting: Setting) -> None:
    """Switch off whenever it gets hot."""
    setting.happens(overheat(setting.machine, setting.chance.uniform(0.68, 1.1)))
    setting.happens(use(setting.machine, setting.every_s * 0.7, setting.device.busy_acts, 2.0))


def button_line(setting: Setting) -> None:
    """Have a button that is pressed a lot, or a line that seems to be."""
    resets_after_s, off_s = setting.chance.uniform(6, 11), setting.chance.uniform(0.5, 3.0)
    setting.happens(hold_button(setting.machine, setting.draw_fault_every_s(), resets_after_s, off_s))


def intermittent(setting: Setting) -> None:
    """Have a supply whose contact is loose."""
    every_s, carried_s = setting.draw_fault_every_s() * 0.6, setting.chance.uniform(0.003, 0.03)
    contact = Contact(every_s, open_s=0.03, deviation=1.8, longest_s=2.5, carried_s=carried_s)
    setting.happens(open_contact(setting.machine, contact))


def water(setting: Setting) -> None:
    """Have water in it."""
    machine, chance = setting.machine, setting.chance
    leak_a = setting.full_a * chance.uniform(0.1, 0.4)
    tau_s, wait_s = chance.uniform(10, 60), chance.uniform(0, setting.length_s * 0.2)
    setting.happens(leak(machine, leak_a, tau_s, wait_s))
    setting.happens(short_by_leak(machine, setting.full_a, setting.draw_fault_every_s() * 0.8, setting.off_s))


def reset_glitch(setting: Setting) -> None:
    """Have a reset line with glitches."""
    setting.happens(glitch(setting.machine, setting.draw_fault_every_s(), lambda: None))


def pmic(setting: Setting) -> None:
    """Have a converter that trips."""
    chance = setting.chance
    setting.happens(glitch(setting.machine, setting.draw_fault_every_s(), lambda: draw_short_off(chance)))


def late_single(setting: Setting) -> None:
    """Restart just once, after a long time."""
    wait_s = setting.length_s * setting.chance.uniform(0.4, 0.8)
    setting.happens(glitch_once(setting.machine, wait_s, setting.off_s))
    setting.used(3)


def midstart(setting: Setting) -> None:
    """Run when the recording begins, and crash or be reset later."""
    machine, off_s = setting.machine, setting.off_s
    setting.begin_later()
    if setting.chance.random() < 0.5:
        setting.happens(fail_at_times(machine, setting.draw_fault_every_s(), Crash(off_s), booting=True))
    else:
        setting.happens(glitch(machine, setting.draw_fault_every_s(), lambda: off_s))


def asleep(setting: Setting) -> None:
    """Be reset while it sleeps."""
    machine = setting.machine
    setting.happens(reset_asleep(machine, setting.draw_fault_every_s() * 0.5, setting.off_s))
    setting.happens(press_power_key(machine, min(15, setting.length_s / 10), 6))
    setting.maybe_begin_later(0.3)
