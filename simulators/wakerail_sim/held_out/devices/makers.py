"""Devices that move, sound, print or film."""

from __future__ import annotations

from wakerail_sim.held_out.devices.device import Device, Step

ACTION_CAMERA = Device(
    family="action-camera",
    build=90435857,
    supply_v=3.8,
    capacitance_f=0.00022,
    off_a=2e-05,
    always_on_a=0.0004,
    core_idle_a=0.06,
    core_busy_a=0.55,
    self_refresh_a=0.003,
    full_a={
        "memory": 0.06,
        "display": 0.11,
        "receiver": 0.03,
        "transmitter": 0.15,
        "storage": 0.12,
        "motor": 0.12,
        "light": 0.02,
        "amplifier": 0.04,
        "head": 0.16,
    },
    power_on_s=0.12,
    steps=(
        Step("rom", length_s=0.12, use=0.3, activity=0.1, phases=1),
        Step("memory", length_s=0.2, use=0.4, activity=0.1, phases=1, levels={"memory": 1.0}),
        Step("loader", length_s=0.6, use=0.5, activity=0.2, phases=2, storage=0.7, beep_s=0.12),
        Step("rtos", length_s=1.0, use=0.65, activity=0.25, phases=3, levels={"display": 0.7}),
        Step("lens", length_s=0.8, use=0.4, activity=0.2, phases=2, motor_s=0.5),
        Step("sensor", length_s=0.7, use=0.6, activity=0.2, phases=2, levels={"head": 1.0}),
        Step("card", length_s=1.1, use=0.5, activity=0.3, phases=2, storage=1.0),
    ),
    acts={"photo": 5.0, "film": 3.0, "sync": 1.0},
    idle_s=(15.0, 40.0),
    sleep="suspend",
    radio="bursty",
    heavy="film",
)
"""A camera for films."""

LOUDSPEAKER = Device(
    family="loudspeaker",
    build=3083616124,
    supply_v=7.4,
    capacitance_f=0.0015,
    off_a=2e-05,
    always_on_a=0.0004,
    core_idle_a=0.025,
    core_busy_a=0.09,
    self_refresh_a=0.001,
    full_a={"memory": 0.008, "receiver": 0.02, "transmitter": 0.06, "storage": 0.02, "light": 0.03, "amplifier": 0.7},
    power_on_s=0.15,
    steps=(
        Step("rom", length_s=0.1, use=0.4, activity=0.1, phases=1),
        Step(
            "loader", length_s=0.5, use=0.6, activity=0.15, phases=2, levels={"memory": 1.0, "light": 0.5}, storage=0.8
        ),
        Step("dsp", length_s=0.7, use=0.9, activity=0.2, phases=3, storage=0.3),
        Step("amplifier", length_s=0.4, use=0.5, activity=0.1, phases=1, levels={"amplifier": 0.04}),
        Step("jingle", length_s=1.1, use=0.6, activity=0.2, phases=2, levels={"light": 1.0}, beep_s=1.0),
        Step("stack", length_s=0.9, use=0.6, activity=0.2, phases=2, joins=True),
    ),
    acts={"play": 6.0, "sync": 1.0},
    idle_s=(30.0, 60.0),
    sleep="saver",
    radio="bursty",
    heavy="play",
    trains_memory=False,
)
"""A loudspeaker: an amplifier and little beside it."""

INFUSION_AID = Device(
    family="infusion-aid",
    build=2407537313,
    supply_v=6.0,
    capacitance_f=0.0002,
    off_a=2e-05,
    always_on_a=0.0004,
    core_idle_a=0.012,
    core_busy_a=0.06,
    self_refresh_a=0.001,
    full_a={"memory": 0.005, "display": 0.045, "storage": 0.01, "motor": 0.16, "light": 0.02, "amplifier": 0.06},
    power_on_s=0.08,
    steps=(
        Step("rom", length_s=0.1, use=0.3, activity=0.1, phases=1),
        Step("memory test", length_s=0.9, use=0.9, activity=0.08, phases=1, levels={"memory": 1.0}),
        Step("lamp test", length_s=0.8, use=0.4, activity=0.1, phases=1, levels={"light": 1.0, "display": 1.0}),
        Step("beep test", length_s=0.35, use=0.4, activity=0.1, phases=1, beep_s=0.35),
        Step("motor test", length_s=0.7, use=0.5, activity=0.15, phases=2, motor_s=0.5),
        Step("flow", length_s=1.2, use=0.6, activity=0.2, phases=3, storage=0.5),
        Step("ready", length_s=0.6, use=0.4, activity=0.2, phases=2),
    ),
    acts={"dose": 7.0, "alarm": 1.0},
    idle_s=(20.0, 60.0),
    sleep="saver",
    radio="bursty",
    heavy="dose",
    stall=4.0,
    trains_memory=False,
)
"""A pump that tests its memory, lamps, beeper and motor at each start."""

LABEL_PRINTER = Device(
    family="label-printer",
    build=3952281374,
    supply_v=7.4,
    capacitance_f=0.001,
    off_a=2e-05,
    always_on_a=0.0004,
    core_idle_a=0.02,
    core_busy_a=0.07,
    self_refresh_a=0.001,
    full_a={
        "memory": 0.004,
        "receiver": 0.012,
        "transmitter": 0.04,
        "storage": 0.01,
        "motor": 0.28,
        "light": 0.012,
        "head": 1.1,
    },
    power_on_s=0.1,
    steps=(
        Step("rom", length_s=0.1, use=0.3, activity=0.1, phases=1),
        Step("loader", length_s=0.45, use=0.6, activity=0.15, phases=2, levels={"memory": 1.0, "light": 1.0}),
        Step("fonts", length_s=0.9, use=0.85, activity=0.25, phases=3, storage=1.0),
        Step("feed", length_s=0.5, use=0.5, activity=0.15, phases=1, motor_s=0.35),
        Step("head test", length_s=0.35, use=0.5, activity=0.1, phases=1, levels={"head": 0.06}),
        Step("stack", length_s=0.8, use=0.6, activity=0.25, phases=2, joins=True),
    ),
    acts={"label": 6.0, "sync": 1.0},
    idle_s=(15.0, 45.0),
    sleep="saver",
    radio="bursty",
    heavy="label",
    trains_memory=False,
)
"""A printer with a hot head and a motor."""
