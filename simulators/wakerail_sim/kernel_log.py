"""The kernel's log of the USB port, as a file that grows by records in the form of /dev/kmsg.

A record is ``priority,sequence,microseconds,flags;text``, with lines ``_KEY=value`` (a blank in front) that say which
device it is about.
"""

from __future__ import annotations

from pathlib import Path

from wakerail_sim.usb_identity import UsbIdentity
from wakerail_sim.usb_sysfs import BUS_NUMBER, DEVICE_NAME, PORT_NUMBER

_ERROR, _INFO = 3, 6
_EPROTO = -71


class KernelLog:
    """Appends to ``file``, which it empties first."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self._sequence = 1000
        file.write_text("", encoding="utf-8")

    def attached(self, at_s: float, number: int, identity: UsbIdentity) -> None:
        """Log what the kernel logs of a device that enumerated."""
        ids = f"idVendor={identity.vendor_id:04x}, idProduct={identity.product_id:04x}"
        revision = f"bcdDevice={identity.revision_bcd >> 8:2x}.{identity.revision_bcd & 0xFF:02x}"
        self._append(
            at_s,
            (_INFO, f"new high-speed USB device number {number} using xhci_hcd"),
            (_INFO, f"New USB device found, {ids}, {revision}"),
            (_INFO, "New USB device strings: Mfr=1, Product=2, SerialNumber=3"),
            (_INFO, f"Product: {identity.product}"),
            (_INFO, f"Manufacturer: {identity.maker}"),
            (_INFO, f"SerialNumber: {identity.serial}"),
        )

    def detached(self, at_s: float, number: int) -> None:
        """Log a disconnect."""
        self._append(at_s, (_INFO, f"USB disconnect, device number {number}"))

    def failed(self, at_s: float, numbers: tuple[int, int]) -> None:
        """Log what the kernel logs of a device that does not answer, until it gives up."""
        for number in numbers:
            error = (_ERROR, f"device descriptor read/64, error {_EPROTO}")
            self._append(at_s, (_INFO, f"new full-speed USB device number {number} using xhci_hcd"), error, error)
        self._append(
            at_s,
            (_ERROR, "unable to enumerate USB device"),
            device=f"usb{BUS_NUMBER}-port{PORT_NUMBER}",
        )

    def _append(self, at_s: float, *records: tuple[int, str], device: str = DEVICE_NAME) -> None:
        with self._file.open("a", encoding="utf-8") as log:
            for priority, text in records:
                log.write(f"{priority},{self._sequence},{round(at_s * 1e6)},-;usb {device}: {text}\n")
                log.write(f" SUBSYSTEM=usb\n DEVICE=+usb:{device}\n")
                self._sequence += 1
