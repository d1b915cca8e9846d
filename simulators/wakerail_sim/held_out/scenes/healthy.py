"""Scenes of healthy devices. None of them restarts but the one that updates itself."""

from __future__ import annotations

from wakerail_sim.draws import pick
from wakerail_sim.held_out.happenings import use
from wakerail_sim.held_out.happenings.supply import Contact, open_contact, precharge
from wakerail_sim.held_out.scenes.setting import Setting, Source

_DUTY_PERIODS_S = (0.5, 1.0, 2.0, 5.0, 10.0)


def boot_idle(_setting: Setting) -> None:
    """Boot, and be left alone."""


def boot_use(setting: Setting) -> None:
    """Boot, and be used."""
    setting.used()


def sleep_wake(setting: Setting) -> None:
    """Be sent to sleep and woken by hand."""
    setting.happens(use.press_power_key(setting.machine, min(10, setting.length_s / 20), 6))
    setting.used(1.5)
    setting.maybe_begin_later(0.4)


def heavy_app(setting: Setting) -> None:
    """Be kept busy."""
    setting.used(0.5, setting.device.busy_acts)
    setting.machine.stays_awake = setting.chance.random() < 0.5


def actuator(setting: Setting) -> None:
    """Be used for what loads it most."""
    setting.used(0.6, setting.device.heavy_acts)


def charge(setting: Setting) -> None:
    """Be charged meanwhile."""
    setting.happens(use.charge(setting.machine, setting.length_s * setting.chance.uniform(0.1, 0.4)))
    setting.used(2)
    setting.maybe_begin_later(0.5)


def sound(setting: Setting) -> None:
    """Play sounds, or run what motor it has."""
    setting.used(acts=("play",) if setting.device.has("amplifier") else setting.device.heavy_acts)
    setting.machine.stays_awake = True


def rejoin(setting: Setting) -> None:
    """Lose its network again and again."""
    setting.happens(use.lose_network(setting.machine, setting.chance.uniform(6, 25)))
    setting.used(2)


def download(setting: Setting) -> None:
    """Download and install something."""
    setting.happens(use.download(setting.machine, setting.length_s * setting.chance.uniform(0.2, 0.4)))
    setting.used(3)
    setting.machine.stays_awake = True


def shutdown_end(setting: Setting) -> None:
    """Be switched off in the end."""
    setting.used()
    setting.happens(use.switch_off(setting.machine, setting.length_s * setting.chance.uniform(0.6, 0.9)))


def mid_running(setting: Setting) -> None:
    """Run when the recording begins."""
    setting.begin_later()
    setting.used()
    setting.machine.stays_awake = True


def mid_asleep(setting: Setting) -> None:
    """Sleep when the recording begins."""
    machine, length_s = setting.machine, setting.length_s
    setting.begin_later()
    begins_s = (setting.begins_s or 0.0) + 40
    setting.begins_s, setting.begins_asleep = begins_s, True
    setting.happens(use.press_power_key(machine, min(12, length_s / 12), 8))
    setting.happens(use.use_later(machine, begins_s + length_s * 0.1, setting.every_s * 2))


def duty_cycle(setting: Setting) -> None:
    """Do the same in each period, and sleep between."""
    period_s = pick(setting.chance, _DUTY_PERIODS_S) * (1 if setting.device.boot_s < 3 else 3)
    setting.happens(use.keep_schedule(setting.machine, period_s))
    setting.maybe_begin_later(0.5)


def slow_first_boot(setting: Setting) -> None:
    """Boot for the first time, with checks and retries."""
    machine = setting.machine
    machine.first_boot, machine.retry_chance, machine.unclean = True, 0.35, True
    setting.used()


def weak_holds(setting: Setting) -> None:
    """Run from a supply that limits its current, and yet holds."""
    setting.source = Source(setting.chance.uniform(0.75, 0.95), of="what is usual")
    setting.used(0.7)


def never_boots(setting: Setting) -> None:
    """Have a flat cell, and never start."""
    setting.switched_on_s = None
    setting.happens(precharge(setting.machine))


def ride_through(setting: Setting) -> None:
    """Be carried by its capacitors whenever a contact opens."""
    setting.used()
    every_s = setting.length_s / setting.chance.uniform(4, 20)
    contact = Contact(every_s, open_s=0.004, deviation=0.8, longest_s=0.055, carried_s=0.06)
    setting.happens(open_contact(setting.machine, contact))


def update_reboot(setting: Setting) -> None:
    """Update itself and restart on purpose: a true restart, though nothing is wrong."""
    setting.used(2)
    chance = setting.chance
    wait_s = setting.length_s * chance.uniform(0.35, 0.55)
    off_s = None if chance.random() < 0.6 else chance.uniform(0.3, 2)
    setting.happens(use.update(setting.machine, wait_s, off_s))
