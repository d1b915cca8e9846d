"""What a simulated USB device says of itself: its identity in a boot mode, and its descriptors."""

from __future__ import annotations

import struct
from dataclasses import dataclass

from wakerail_kit.families import DeviceFamily, UsbMode

VENDOR_SPECIFIC_CLASS = 0xFF
MAX_POWER_MA = 500
SPEED_MBIT_S = 480
BUS_POWERED = 0x80
_PACKET_SIZE_0, _PACKET_SIZE = 64, 512
_FIRST_PRODUCT_ID = 0x0001
_USB_2_0, _REVISION = 0x0200, 0x0100
_DEVICE, _CONFIGURATION, _INTERFACE, _ENDPOINT = 1, 2, 4, 5
_BULK = 2


@dataclass(frozen=True, slots=True)
class UsbIdentity:
    """A device on the bus as the host reads it. A mode that leaves product or class open gets one of ours."""

    vendor_id: int
    product_id: int
    device_class: int
    maker: str
    product: str
    serial: str
    revision_bcd: int = _REVISION

    @classmethod
    def of(cls, family: DeviceFamily, mode: UsbMode, seed: int) -> UsbIdentity:
        """Return the identity of a family's device in a boot mode; its serial number follows the seed."""
        return cls(
            vendor_id=mode.vendor_id,
            product_id=_FIRST_PRODUCT_ID + mode.order if mode.product_id is None else mode.product_id,
            device_class=mode.device_class or 0,
            maker="Quillmar",
            product=f"{family.name} {mode.name}",
            serial=f"QM{seed % 1_000_000:06d}",
        )

    @property
    def interface_class(self) -> int:
        """The class of the one interface: the device's own, or vendor-specific where that is left to interfaces."""
        return self.device_class or VENDOR_SPECIFIC_CLASS

    @property
    def product_key(self) -> str:
        """PRODUCT as a uevent writes it: hexadecimal without leading zeros."""
        return f"{self.vendor_id:x}/{self.product_id:x}/{self.revision_bcd:x}"

    @property
    def type_key(self) -> str:
        """TYPE as a uevent writes it: class, subclass and protocol in decimal."""
        return f"{self.device_class}/0/0"

    def descriptors(self) -> bytes:
        """Return the device descriptor and one configuration descriptor (USB 2.0, tables 9-8, 9-10, 9-12, 9-13)."""
        device = struct.pack(
            "<BBHBBBBHHHBBBB",
            18,
            _DEVICE,
            _USB_2_0,
            self.device_class,
            0,
            0,
            _PACKET_SIZE_0,
            self.vendor_id,
            self.product_id,
            self.revision_bcd,
            1,
            2,
            3,
            1,
        )
        interface = struct.pack("<BBBBBBBBB", 9, _INTERFACE, 0, 0, 2, self.interface_class, 0, 0, 0)
        endpoints = b"".join(
            struct.pack("<BBBBHB", 7, _ENDPOINT, address, _BULK, _PACKET_SIZE, 0) for address in (0x81, 0x02)
        )
        length = 9 + len(interface) + len(endpoints)
        configuration = struct.pack("<BBHBBBBB", 9, _CONFIGURATION, length, 1, 1, 0, BUS_POWERED, MAX_POWER_MA // 2)
        return device + configuration + interface + endpoints
