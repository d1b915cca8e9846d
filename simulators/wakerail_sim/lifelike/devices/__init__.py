"""Made-up device families, each drawn anew for every recording."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import get_args

import numpy as np

from wakerail_sim.lifelike.devices.burst_supply_tag import draw_burst_supply_tag
from wakerail_sim.lifelike.devices.cell_modem import draw_cell_modem
from wakerail_sim.lifelike.devices.data_terminal import draw_data_terminal
from wakerail_sim.lifelike.devices.device import Device, Family
from wakerail_sim.lifelike.devices.disk_handheld import draw_disk_handheld
from wakerail_sim.lifelike.devices.dose_pump import draw_dose_pump
from wakerail_sim.lifelike.devices.ear_piece import draw_ear_piece
from wakerail_sim.lifelike.devices.field_camera import draw_field_camera
from wakerail_sim.lifelike.devices.flat_mcu import draw_flat_mcu
from wakerail_sim.lifelike.devices.four_core_slate import draw_four_core_slate
from wakerail_sim.lifelike.devices.game_toy import draw_game_toy
from wakerail_sim.lifelike.devices.gate_array_probe import draw_gate_array_probe
from wakerail_sim.lifelike.devices.ink_reader import draw_ink_reader
from wakerail_sim.lifelike.devices.linear_logger import draw_linear_logger
from wakerail_sim.lifelike.devices.pocket_router import draw_pocket_router
from wakerail_sim.lifelike.devices.sensor_mcu import draw_sensor_mcu

_DRAWN_BY: Mapping[Family, Callable[[np.random.Generator], Device]] = {
    "sensor-mcu": draw_sensor_mcu,
    "flat-mcu": draw_flat_mcu,
    "data-terminal": draw_data_terminal,
    "four-core-slate": draw_four_core_slate,
    "ink-reader": draw_ink_reader,
    "disk-handheld": draw_disk_handheld,
    "ear-piece": draw_ear_piece,
    "field-camera": draw_field_camera,
    "cell-modem": draw_cell_modem,
    "pocket-router": draw_pocket_router,
    "linear-logger": draw_linear_logger,
    "burst-supply-tag": draw_burst_supply_tag,
    "gate-array-probe": draw_gate_array_probe,
    "dose-pump": draw_dose_pump,
    "game-toy": draw_game_toy,
}

FAMILIES: tuple[Family, ...] = get_args(Family)
WITH_A_BOOT: tuple[Family, ...] = tuple(family for family in FAMILIES if family != "flat-mcu")
"""Those whose boot has a shape that one can see."""
SMALL: tuple[Family, ...] = (
    "sensor-mcu",
    "flat-mcu",
    "ear-piece",
    "linear-logger",
    "burst-supply-tag",
    "gate-array-probe",
)
LARGE: tuple[Family, ...] = (
    "data-terminal",
    "four-core-slate",
    "ink-reader",
    "disk-handheld",
    "field-camera",
    "pocket-router",
    "game-toy",
)
LIT: tuple[Family, ...] = ("data-terminal", "four-core-slate", "field-camera", "game-toy", "dose-pump")
"""Those with a light that can be dimmed or go out: their ``light_a`` is not 0."""


def draw_device(chance: np.random.Generator, family: Family) -> Device:
    """Draw a device of a family."""
    return _DRAWN_BY[family](chance)
