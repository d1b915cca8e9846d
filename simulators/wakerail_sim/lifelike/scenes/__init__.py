"""What happens in a recording: each scene acts on a plan."""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

from wakerail_sim.lifelike.devices import LARGE, LIT, SMALL, WITH_A_BOOT
from wakerail_sim.lifelike.scenes import few_restarts, loads, loops, supply_faults, use
from wakerail_sim.lifelike.scenes.setting import FaultyScene, HealthyScene, Scene, Setting

FAULTY_SCENES: tuple[FaultyScene, ...] = get_args(FaultyScene)
HEALTHY_SCENES: tuple[HealthyScene, ...] = get_args(HealthyScene)
SCENES: tuple[Scene, ...] = (*FAULTY_SCENES, *HEALTHY_SCENES)
"""All scenes. Their order is part of what a seed means."""

SETTINGS: Mapping[Scene, Setting] = {
    "cold-once": Setting(few_restarts.cold_once, length_s=(20, 200), boots=(3, 8)),
    "cold-short-gap": Setting(
        few_restarts.cold_short_gap, length_s=(20, 120), boots=(4, 9), least_hz=120.0, averaging=True
    ),
    "cold-long-gap": Setting(few_restarts.cold_long_gap, length_s=(25, 300), boots=(4, 10)),
    "warm-no-fall": Setting(few_restarts.warm_no_fall, length_s=(20, 200), boots=(4, 9)),
    "warm-partial-fall": Setting(few_restarts.warm_partial_fall, length_s=(20, 200), boots=(4, 9)),
    "loop-fixed": Setting(loops.loop_fixed, length_s=(30, 300), boots=(5, 14)),
    "loop-varying": Setting(loops.loop_varying, length_s=(30, 400), boots=(5, 14)),
    "loop-same-stage": Setting(loops.loop_same_stage, length_s=(20, 120), boots=(4, 12), families=WITH_A_BOOT),
    "late-reset": Setting(few_restarts.late_reset, length_s=(70, 300), boots=(4, 8)),
    "intermittent": Setting(few_restarts.intermittent, length_s=(120, 600), boots=(6, 20)),
    "supply-hiccup": Setting(supply_faults.supply_hiccup, length_s=(25, 120), boots=(3, 6), families=WITH_A_BOOT),
    "hiccup-fast": Setting(
        supply_faults.hiccup_fast, length_s=(25, 150), boots=(3, 7), families=WITH_A_BOOT, least_hz=50.0
    ),
    "watchdog-ladder": Setting(loops.watchdog_ladder, length_s=(30, 400), boots=(6, 14)),
    "into-recovery": Setting(few_restarts.into_recovery, length_s=(30, 200), boots=(4, 9), families=WITH_A_BOOT),
    "running-then-one": Setting(few_restarts.running_then_one, length_s=(20, 300), boots=(3, 8)),
    "restart-from-sleep": Setting(few_restarts.restart_from_sleep, length_s=(30, 200), boots=(4, 9)),
    "brownout-on-load": Setting(supply_faults.brownout_on_load, length_s=(20, 200), boots=(3, 9)),
    "panic-reboot": Setting(
        few_restarts.panic_reboot, length_s=(40, 400), boots=(4, 9), families=(*LARGE, "cell-modem", "pocket-router")
    ),
    "thermal-shutdown": Setting(
        supply_faults.thermal_shutdown,
        length_s=(60, 400),
        boots=(5, 10),
        families=(*LARGE, "gate-array-probe", "cell-modem"),
    ),
    "loop-gives-up": Setting(loops.loop_gives_up, length_s=(20, 150), boots=(5, 9), families=WITH_A_BOOT),
    "loose-contact": Setting(supply_faults.loose_contact, length_s=(20, 150), boots=(4, 8), least_hz=60.0),
    "empty-cell-loop": Setting(loops.empty_cell_loop, length_s=(20, 150), boots=(4, 9), families=WITH_A_BOOT),
    "warm-in-load": Setting(few_restarts.warm_in_load, length_s=(20, 200), boots=(3, 7), families=WITH_A_BOOT),
    "boot-idle": Setting(use.boot_idle, length_s=(20, 200), boots=(2, 6)),
    "boot-life": Setting(use.boot_life, length_s=(30, 600), boots=(3, 20)),
    "sleep-wake": Setting(use.sleep_wake, length_s=(30, 400), boots=(3, 10)),
    "screen-on-off": Setting(use.screen_on_off, length_s=(30, 300), boots=(3, 9), families=LIT),
    "periodic-radio": Setting(use.periodic_radio, length_s=(20, 300), boots=(3, 10)),
    "load-spikes": Setting(use.load_spikes, length_s=(30, 300), boots=(3, 10)),
    "charging-pulses": Setting(loads.charging_pulses, length_s=(30, 400), boots=(3, 9)),
    "display-dimming": Setting(use.display_dimming, length_s=(20, 200), boots=(3, 8), families=LIT),
    "app-starts-alike": Setting(use.app_starts_alike, length_s=(30, 300), boots=(3, 10)),
    "software-update": Setting(use.software_update, length_s=(40, 400), boots=(4, 12)),
    "multistage-dips": Setting(
        loads.multistage_dips, length_s=(20, 120), boots=(2, 5), families=WITH_A_BOOT, odd_boot="dips"
    ),
    "power-off-end": Setting(use.power_off_end, length_s=(20, 200), boots=(3, 7)),
    "begins-running": Setting(use.begins_running, length_s=(20, 600), boots=(2, 10)),
    "boot-then-sleep": Setting(use.boot_then_sleep, length_s=(20, 200), boots=(3, 8)),
    "deep-sleep-wakes": Setting(
        use.deep_sleep_wakes,
        length_s=(30, 400),
        boots=(3, 12),
        families=(*SMALL, "cell-modem", "ink-reader", "dose-pump"),
    ),
    "never-boots": Setting(loads.never_boots, length_s=(20, 120), boots=(2, 4)),
    "throttling": Setting(
        loads.throttling, length_s=(40, 300), boots=(3, 10), families=(*LARGE, "cell-modem", "gate-array-probe")
    ),
    "ride-through-dips": Setting(loads.ride_through_dips, length_s=(20, 150), boots=(3, 7), least_hz=60.0),
    "boot-retries-stage": Setting(
        use.boot_idle, length_s=(25, 150), boots=(3, 6), families=WITH_A_BOOT, odd_boot="retries"
    ),
    "thermostat-load": Setting(loads.thermostat_load, length_s=(30, 400), boots=(3, 9)),
    "meter-trouble": Setting(use.boot_life, length_s=(30, 300), boots=(3, 9), troubled_meter=True),
}
