"""The made-up devices."""

from __future__ import annotations

from wakerail_sim.held_out.devices.device import Device
from wakerail_sim.held_out.devices.makers import ACTION_CAMERA, INFUSION_AID, LABEL_PRINTER, LOUDSPEAKER
from wakerail_sim.held_out.devices.radios import ASSET_TRACKER, FIELD_SENSOR, POCKET_HOTSPOT, TWO_WAY_SET
from wakerail_sim.held_out.devices.screens import (
    HAND_GAME,
    PAGE_READER,
    POCKET_COMMUNICATOR,
    READING_TERMINAL,
    SLATE,
    TRAIL_NAVIGATOR,
    WRIST_COMPUTER,
)

DEVICES: tuple[Device, ...] = (
    POCKET_COMMUNICATOR,
    SLATE,
    READING_TERMINAL,
    WRIST_COMPUTER,
    FIELD_SENSOR,
    ASSET_TRACKER,
    TWO_WAY_SET,
    ACTION_CAMERA,
    LOUDSPEAKER,
    PAGE_READER,
    HAND_GAME,
    INFUSION_AID,
    TRAIL_NAVIGATOR,
    POCKET_HOTSPOT,
    LABEL_PRINTER,
)
"""All of them. Their order is part of what a seed means."""
