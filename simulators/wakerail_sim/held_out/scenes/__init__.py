"""What happens in a recording of each kind."""

from __future__ import annotations

from collections.abc import Mapping

from wakerail_sim.held_out.devices.device import Device
from wakerail_sim.held_out.kinds import Kind, is_faulty
from wakerail_sim.held_out.machine import Machine
from wakerail_sim.held_out.scenes import firmware_faults, healthy, supply_faults
from wakerail_sim.held_out.scenes.setting import Scene, Setting

_USED_BY_THEIR_SCENE: frozenset[Kind] = frozenset({"late-single", "asleep", "wake-fail"})


def _has_heavy_act(device: Device) -> bool:
    return device.heavy is not None


def _starts_heavily(device: Device) -> bool:
    return device.peripheral_a("receiver") > 0.03 or device.peripheral_a("motor") > 0.05


SCENES: Mapping[Kind, Scene] = {
    "brownout-load": Scene(supply_faults.brownout_load, _has_heavy_act),
    "brownout-boot": Scene(supply_faults.brownout_boot, _starts_heavily),
    "watchdog-step": Scene(firmware_faults.watchdog_step),
    "watchdog-app": Scene(firmware_faults.watchdog_app),
    "crash-random": Scene(firmware_faults.crash_random),
    "crash-step": Scene(firmware_faults.crash_step),
    "thermal": Scene(supply_faults.thermal, lambda device: device.core_busy_a > 0.1),
    "button-line": Scene(supply_faults.button_line, lambda device: device.has("display")),
    "intermittent": Scene(supply_faults.intermittent),
    "water": Scene(supply_faults.water),
    "reset-glitch": Scene(supply_faults.reset_glitch),
    "pmic": Scene(supply_faults.pmic),
    "load-only": Scene(firmware_faults.load_only, _has_heavy_act),
    "wake-fail": Scene(firmware_faults.wake_fail, sleeps=True),
    "recovery": Scene(firmware_faults.recovery),
    "late-single": Scene(supply_faults.late_single, sleeps=True),
    "midstart": Scene(supply_faults.midstart),
    "asleep": Scene(supply_faults.asleep, sleeps=True),
    "boot-idle": Scene(healthy.boot_idle),
    "boot-use": Scene(healthy.boot_use),
    "sleep-wake": Scene(healthy.sleep_wake, sleeps=True),
    "heavy-app": Scene(healthy.heavy_app),
    "actuator": Scene(healthy.actuator, _has_heavy_act),
    "charge": Scene(healthy.charge),
    "sound": Scene(healthy.sound, lambda device: device.has("amplifier") or device.has("motor")),
    "rejoin": Scene(healthy.rejoin, lambda device: device.has("receiver") and device.radio != "push-to-talk"),
    "download": Scene(healthy.download, lambda device: device.has("receiver") and device.has("storage")),
    "shutdown-end": Scene(healthy.shutdown_end),
    "mid-running": Scene(healthy.mid_running),
    "mid-asleep": Scene(healthy.mid_asleep, sleeps=True),
    "duty-cycle": Scene(healthy.duty_cycle),
    "slow-first-boot": Scene(healthy.slow_first_boot),
    "weak-holds": Scene(healthy.weak_holds),
    "never-boots": Scene(healthy.never_boots),
    "ride-through": Scene(healthy.ride_through),
    "update-reboot": Scene(healthy.update_reboot),
}


def set_up(kind: Kind, machine: Machine, length_s: float) -> Setting:
    """Set a machine up for a recording of a kind."""
    setting = Setting(machine, length_s)
    if is_faulty(kind):
        if kind not in _USED_BY_THEIR_SCENE:
            setting.used()
        machine.first_boot = setting.chance.random() < 0.1
    SCENES[kind].set_up(setting)
    return setting
