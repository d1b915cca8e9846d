"""What a simulated bench says of itself in its folder while it runs: where its instruments are, and its clock.

A daemon that is to go by that clock learns both from here, and so can tell a simulated instrument from a real one.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import msgspec

from wakerail_kit.errors import ConfigInvalid
from wakerail_sim import bench_folder
from wakerail_sim.fast_clock import FastClock


@dataclass(frozen=True, slots=True)
class Addresses:
    """Where the instruments are: VISA resource names for supply and meter, paths for all else."""

    supply: str
    plate: str
    plate_modbus: str
    port_tester: str
    meter: str
    usb_socket: str
    usb_sysfs: str
    kernel_log: str
    hands: str

    @property
    def instruments(self) -> frozenset[str]:
        """Where a daemon may find an instrument; nothing real is there as long as the bench runs."""
        return frozenset({self.supply, self.plate, self.plate_modbus, self.port_tester, self.meter, self.usb_socket})

    def write(self, folder: Path) -> None:
        """Say so in the bench's folder, which means that it is up."""
        (folder / bench_folder.ADDRESSES).write_bytes(msgspec.json.encode(self))


@dataclass(frozen=True, slots=True)
class RunningBench:
    """A simulated bench that runs. ``fast_clock`` is its clock, None if it goes by the machine's own."""

    addresses: Addresses
    fast_clock: FastClock | None


def running_bench(folder: Path) -> RunningBench:
    """Return the simulated bench that runs in a folder. Raises ConfigInvalid if none does, or it is not up yet."""
    try:
        if bench_folder.is_held(folder):
            told = (folder / bench_folder.ADDRESSES).read_bytes()
            clock = folder / bench_folder.CLOCK
            fast = FastClock.of(clock) if clock.exists() else None
            return RunningBench(msgspec.json.decode(told, type=Addresses), fast)
    except (OSError, msgspec.DecodeError):
        pass
    raise ConfigInvalid(f"{folder}: no simulated bench runs there; start one with 'wakerail sim --dir {folder}'")
