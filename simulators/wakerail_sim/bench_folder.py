"""The folder of a simulated bench: claimed by one simulator at a time, cleared of what a killed one left."""

from __future__ import annotations

import fcntl
import os
import shutil
from pathlib import Path

from wakerail_kit.errors import ConfigInvalid

PLATE, PLATE_MODBUS, PORT_TESTER, USB, SYSFS, KERNEL_LOG, HANDS, ADDRESSES, CLOCK = NAMES = (
    "plate",
    "plate-modbus",
    "port-tester",
    "usb",
    "sysfs",
    "kernel-log",
    "hands",
    "addresses.json",
    "clock",
)
_LOCK = "lock"


class BenchFolder:
    """Holds the folder from construction to ``release``.

    Raises ConfigInvalid if the folder cannot be made, another simulator holds it, or it has files of someone else's
    under our names.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        ours = (folder / _LOCK).exists()
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock = os.open(folder / _LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as wrong:
            raise ConfigInvalid(f"{folder}: cannot be used as a bench's folder: {wrong.strerror}") from None
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(self._lock)
            raise ConfigInvalid(
                f"{folder}: another simulated bench runs in this folder; stop it or choose another folder"
            ) from None
        foreign = [name for name in NAMES if not ours and os.path.lexists(folder / name)]
        if foreign:
            (folder / _LOCK).unlink()
            os.close(self._lock)
            raise ConfigInvalid(f"{folder / foreign[0]}: exists and is no simulated bench's; choose an empty folder")
        self._clear()

    def release(self) -> None:
        """Remove what a client could still open, and let the folder go; the kernel's log stays to be read."""
        self._clear()
        os.close(self._lock)

    def _clear(self) -> None:
        for name in NAMES:
            path = self._folder / name
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            elif name != KERNEL_LOG:
                path.unlink(missing_ok=True)


def is_held(folder: Path) -> bool:
    """Return whether a simulated bench runs in a folder now: what a killed one left there says nothing."""
    try:
        lock = os.open(folder / _LOCK, os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return False
    try:
        fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(lock)
    return False
