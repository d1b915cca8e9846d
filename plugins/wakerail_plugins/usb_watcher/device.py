"""What a host knows of one USB device: its descriptor, its sysfs attributes and its uevent, read into one struct.

Pure: bytes and texts in, a UsbDevice out.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

DESCRIPTOR_SIZE = 18
_DEVICE_TYPE = 1
_HUB_CLASS = 9
# USB 2.0, table 9-8; multi-byte fields are little-endian (section 8.1).
_LAYOUT = struct.Struct("<BBHBBBBHHHBBBB")

#: The sysfs attributes that ``device_of`` understands.
ATTRIBUTES = (
    "idVendor",
    "idProduct",
    "bcdDevice",
    "bDeviceClass",
    "speed",
    "devnum",
    "serial",
    "manufacturer",
    "product",
)


@dataclass(frozen=True, slots=True)
class DeviceDescriptor:
    """The standard device descriptor of USB 2.0, table 9-8. Strings are given by their index, 0 for none."""

    usb_bcd: int
    device_class: int
    device_subclass: int
    device_protocol: int
    max_packet_size: int
    vendor_id: int
    product_id: int
    revision_bcd: int
    maker_string: int
    product_string: int
    serial_string: int
    configurations: int


@dataclass(frozen=True, slots=True)
class UsbDevice:
    """One enumerated device. ``number`` is the host's own, new with each enumeration; None where it is not told."""

    vendor_id: int
    product_id: int
    device_class: int
    revision_bcd: int | None = None
    speed_mbit_s: float | None = None
    number: int | None = None
    serial: str = ""
    maker: str = ""
    product: str = ""

    @property
    def is_hub(self) -> bool:
        """Tell whether this is a hub, a host's root hub included."""
        return self.device_class == _HUB_CLASS

    def is_same_enumeration(self, other: UsbDevice) -> bool:
        """Tell whether both describe one device that was enumerated once."""
        if self.number is not None and other.number is not None and self.number != other.number:
            return False
        return (self.vendor_id, self.product_id, self.device_class, self.revision_bcd) == (
            other.vendor_id,
            other.product_id,
            other.device_class,
            other.revision_bcd,
        )


def decode_descriptor(data: bytes) -> DeviceDescriptor:
    """Decode a device descriptor; bytes after the first 18 (the configurations) are left alone.

    Raises ValueError if the bytes are too few or are not a device descriptor.
    """
    if len(data) < DESCRIPTOR_SIZE:
        raise ValueError(f"a device descriptor has {DESCRIPTOR_SIZE} bytes, here are {len(data)}")
    length, kind, *fields = _LAYOUT.unpack_from(data)
    if length != DESCRIPTOR_SIZE or kind != _DEVICE_TYPE:
        raise ValueError(f"not a device descriptor: length {length}, type {kind}")
    return DeviceDescriptor(*fields)


def device_of(
    properties: Mapping[str, str], descriptors: bytes = b"", attributes: Mapping[str, str] | None = None
) -> UsbDevice | None:
    """Put together what the host tells of a device: a uevent's properties, ``descriptors`` and sysfs texts.

    The descriptor comes first, then the texts. When the uevent names another identity than these, the device that
    the uevent was about has already made way for the next one; then the uevent is believed and the rest left out.
    Returns None if nothing names the device.
    """
    texts = attributes or {}
    found = _from_descriptor(descriptors) or _from_texts(texts)
    told = _from_properties(properties)
    number = _whole(properties.get("DEVNUM"), 10)
    if told is not None and (found is None or not _agree(found, told)):
        return UsbDevice(*told, number=number)
    if found is None:
        return None
    return UsbDevice(
        *found,
        speed_mbit_s=_speed_mbit_s(texts.get("speed")),
        number=number if number is not None else _whole(texts.get("devnum"), 10),
        serial=_printable(texts.get("serial")),
        maker=_printable(texts.get("manufacturer")),
        product=_printable(texts.get("product")),
    )


class _Identity(NamedTuple):
    vendor_id: int
    product_id: int
    device_class: int
    revision_bcd: int | None


def _agree(found: _Identity, told: _Identity) -> bool:
    same_revision = None in {found.revision_bcd, told.revision_bcd} or found.revision_bcd == told.revision_bcd
    return (found.vendor_id, found.product_id) == (told.vendor_id, told.product_id) and same_revision


def _from_descriptor(data: bytes) -> _Identity | None:
    try:
        read = decode_descriptor(data)
    except ValueError:
        return None
    return _Identity(read.vendor_id, read.product_id, read.device_class, read.revision_bcd)


def _from_texts(texts: Mapping[str, str]) -> _Identity | None:
    vendor_id, product_id = _whole(texts.get("idVendor"), 16), _whole(texts.get("idProduct"), 16)
    if vendor_id is None or product_id is None:
        return None
    device_class, revision_bcd = _whole(texts.get("bDeviceClass"), 16), _whole(texts.get("bcdDevice"), 16)
    return _Identity(vendor_id, product_id, device_class or 0, revision_bcd)


def _from_properties(properties: Mapping[str, str]) -> _Identity | None:
    # Linux writes PRODUCT in hex without leading zeros and TYPE in decimal (drivers/usb/core/driver.c).
    product = [_whole(part, 16) for part in properties.get("PRODUCT", "").split("/")]
    if len(product) != 3 or product[0] is None or product[1] is None:
        return None
    device_class = _whole(properties.get("TYPE", "").split("/")[0], 10)
    return _Identity(product[0], product[1], device_class or 0, product[2])


def _whole(text: str | None, base: int) -> int | None:
    try:
        return int(text, base) if text else None
    except ValueError:
        return None


def _speed_mbit_s(text: str | None) -> float | None:
    try:
        return float(text) if text else None
    except ValueError:  # the kernel writes "unknown" before the speed is settled
        return None


def _printable(text: str | None) -> str:
    # A device may put anything into its strings; control characters would reach a terminal or a log.
    return "".join(char if char.isprintable() else " " for char in text or "").strip()
