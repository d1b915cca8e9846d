"""Devices whose radio is what they are for."""

from __future__ import annotations

from wakerail_sim.held_out.devices.device import Device, Step

FIELD_SENSOR = Device(
    family="field-sensor",
    build=3665395645,
    supply_v=3.0,
    capacitance_f=2.2e-05,
    off_a=1e-06,
    always_on_a=4e-06,
    core_idle_a=0.0012,
    core_busy_a=0.012,
    self_refresh_a=4e-06,
    full_a={"memory": 0.0003, "receiver": 0.012, "transmitter": 0.028, "storage": 0.005, "light": 0.004, "head": 0.009},
    power_on_s=0.02,
    steps=(
        Step("power-on", length_s=0.03, use=0.1, activity=0.05, phases=1),
        Step(
            "loader", length_s=0.18, use=0.6, activity=0.1, phases=2, levels={"memory": 1.0, "light": 1.0}, storage=0.8
        ),
        Step("self-test", length_s=0.35, use=0.8, activity=0.15, phases=3, levels={"head": 1.0}),
        Step("calibration", length_s=0.5, use=0.35, activity=0.1, phases=2, levels={"head": 0.6}),
        Step("stack", length_s=0.4, use=0.7, activity=0.2, phases=2, joins=True),
    ),
    acts={"measure": 6.0, "sync": 3.0},
    idle_s=(0.2, 1.5),
    sleep="deep",
    radio="beacon",
    tick_s=0.0,
    trains_memory=False,
)
"""A sensor that sleeps deeply and sends what it measures."""

ASSET_TRACKER = Device(
    family="asset-tracker",
    build=626909054,
    supply_v=3.7,
    capacitance_f=0.00047,
    off_a=3e-06,
    always_on_a=6e-05,
    core_idle_a=0.004,
    core_busy_a=0.03,
    self_refresh_a=5e-05,
    full_a={"memory": 0.002, "receiver": 0.045, "transmitter": 0.32, "storage": 0.015, "light": 0.006, "head": 0.03},
    power_on_s=0.1,
    steps=(
        Step("rom", length_s=0.12, use=0.3, activity=0.1, phases=1, levels={"light": 1.0}),
        Step("loader", length_s=0.4, use=0.6, activity=0.15, phases=2, levels={"memory": 1.0}, storage=0.8),
        Step("rtos", length_s=0.8, use=0.7, activity=0.2, phases=3, storage=0.3),
        Step("modem", length_s=2.8, use=0.35, activity=0.2, phases=4, levels={"receiver": 0.9}),
        Step("positioning", length_s=1.2, use=0.4, activity=0.2, phases=2, levels={"head": 1.0}),
        Step("attach", length_s=3.5, use=0.3, activity=0.2, phases=3, joins=True),
    ),
    acts={"fix": 3.0, "report": 4.0},
    idle_s=(2.0, 8.0),
    sleep="deep",
    radio="cellular",
    heavy="report",
    tick_s=0.0,
    trains_memory=False,
)
"""A tracker that finds where it is and reports that by cellular radio."""

TWO_WAY_SET = Device(
    family="two-way-set",
    build=385992412,
    supply_v=7.4,
    capacitance_f=0.00033,
    off_a=4e-05,
    always_on_a=0.003,
    core_idle_a=0.03,
    core_busy_a=0.06,
    self_refresh_a=0.001,
    full_a={"memory": 0.004, "display": 0.025, "receiver": 0.05, "transmitter": 1.3, "light": 0.015, "amplifier": 0.25},
    power_on_s=0.06,
    steps=(
        Step("rom", length_s=0.08, use=0.4, activity=0.1, phases=1),
        Step("loader", length_s=0.35, use=0.7, activity=0.15, phases=2, levels={"memory": 1.0, "light": 1.0}),
        Step("synth", length_s=0.3, use=0.5, activity=0.1, phases=2, levels={"receiver": 1.0}),
        Step("self-test", length_s=0.6, use=0.8, activity=0.2, phases=3, levels={"display": 1.0}),
        Step("jingle", length_s=0.7, use=0.5, activity=0.2, phases=2, beep_s=0.6),
        Step("codeplug", length_s=0.5, use=0.9, activity=0.2, phases=2),
    ),
    acts={"talk": 4.0, "listen": 6.0},
    idle_s=(30.0, 80.0),
    sleep="saver",
    radio="push-to-talk",
    heavy="talk",
    trains_memory=False,
)
"""A two-way radio: it draws far more while someone talks than ever else."""

POCKET_HOTSPOT = Device(
    family="pocket-hotspot",
    build=27105073,
    supply_v=3.8,
    capacitance_f=0.00047,
    off_a=2e-05,
    always_on_a=0.0004,
    core_idle_a=0.05,
    core_busy_a=0.3,
    self_refresh_a=0.003,
    full_a={"memory": 0.03, "display": 0.015, "receiver": 0.11, "transmitter": 0.38, "storage": 0.04, "light": 0.012},
    power_on_s=0.3,
    steps=(
        Step("rom", length_s=0.2, use=0.25, activity=0.1, phases=1),
        Step("memory", length_s=0.3, use=0.4, activity=0.1, phases=1, levels={"memory": 1.0}),
        Step("loader", length_s=2.2, use=0.45, activity=0.15, phases=2, levels={"light": 1.0}, storage=0.7),
        Step("kernel", length_s=4.0, use=0.65, activity=0.25, phases=5, storage=0.4),
        Step("init", length_s=4.5, use=0.8, activity=0.35, phases=5, levels={"display": 1.0}, storage=0.6),
        Step("modem", length_s=4.0, use=0.45, activity=0.3, phases=4, levels={"receiver": 1.0}),
        Step("services", length_s=6.0, use=0.65, activity=0.4, phases=6, joins=True),
    ),
    acts={"burst": 6.0, "sync": 2.0},
    idle_s=(60.0, 150.0),
    sleep="saver",
    radio="cellular",
    heavy="burst",
)
"""A hotspot: its radio is its main load."""
