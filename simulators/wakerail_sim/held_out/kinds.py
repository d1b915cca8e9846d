"""The kinds of recordings: what is wrong with the device, or what a healthy one does."""

from __future__ import annotations

import zlib
from typing import Literal, get_args

FaultyKind = Literal[
    "brownout-load",
    "brownout-boot",
    "watchdog-step",
    "watchdog-app",
    "crash-random",
    "crash-step",
    "thermal",
    "button-line",
    "intermittent",
    "water",
    "reset-glitch",
    "pmic",
    "load-only",
    "wake-fail",
    "recovery",
    "late-single",
    "midstart",
    "asleep",
]
HealthyKind = Literal[
    "boot-idle",
    "boot-use",
    "sleep-wake",
    "heavy-app",
    "actuator",
    "charge",
    "sound",
    "rejoin",
    "download",
    "shutdown-end",
    "mid-running",
    "mid-asleep",
    "duty-cycle",
    "slow-first-boot",
    "weak-holds",
    "never-boots",
    "ride-through",
    "update-reboot",
]
Kind = FaultyKind | HealthyKind

FAULTY_KINDS: tuple[FaultyKind, ...] = get_args(FaultyKind)
HEALTHY_KINDS: tuple[HealthyKind, ...] = get_args(HealthyKind)
"""Those of devices without a fault. An update, all the same, restarts the device on purpose: that is a true restart."""
KINDS: tuple[Kind, ...] = (*FAULTY_KINDS, *HEALTHY_KINDS)
"""All kinds. Their order is part of what a seed means."""


def is_faulty(kind: Kind) -> bool:
    """Return whether a device of this kind restarts by its fault."""
    return kind in FAULTY_KINDS


def seed_of(kind: Kind | None) -> int:
    """Return the number that tells a kind from the others in a recording's seed; None is a kind drawn by the seed."""
    if kind is None:
        return zlib.crc32(b"")
    return zlib.crc32(f"{'f' if is_faulty(kind) else 'h'}_{kind.replace('-', '_')}".encode())
