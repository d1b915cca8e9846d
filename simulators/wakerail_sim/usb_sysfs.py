"""The sysfs directories of a simulated USB device, laid out and written as the Linux kernel does."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path

from wakerail_sim.usb_identity import BUS_POWERED, MAX_POWER_MA, SPEED_MBIT_S, UsbIdentity

BUS_NUMBER = 1
PORT_NUMBER = 2
DEVICE_NAME = f"{BUS_NUMBER}-{PORT_NUMBER}"
INTERFACE_NAME = f"{DEVICE_NAME}:1.0"
DEVICE_PATH = f"/devices/pci0000:00/0000:00:14.0/usb{BUS_NUMBER}/{DEVICE_NAME}"
INTERFACE_PATH = f"{DEVICE_PATH}/{INTERFACE_NAME}"
_BUS_FOLDER = "bus/usb/devices"


class UsbSysfs:
    """Holds the directories under ``root`` of the one device, while it is attached."""

    def __init__(self, root: Path) -> None:
        self._device = root / DEVICE_PATH.lstrip("/")
        self._bus = root / _BUS_FOLDER
        self._device.parent.mkdir(parents=True)
        self._bus.mkdir(parents=True)

    def add(self, identity: UsbIdentity, number: int) -> None:
        """Make the device's directories, whole before a client can be told of them."""
        interface = self._device / INTERFACE_NAME
        interface.mkdir(parents=True)
        _write(self._device, _device_attributes(identity, number))
        (self._device / "descriptors").write_bytes(identity.descriptors())
        _write(interface, _interface_attributes(identity))
        for folder in (self._device, interface):
            up = "../" * len(Path(_BUS_FOLDER).parts)
            target = folder.relative_to(self._bus.parents[2])
            (self._bus / folder.name).symlink_to(f"{up}{target}")

    def remove(self) -> None:
        """Remove the device's directories, if it is there."""
        for name in (INTERFACE_NAME, DEVICE_NAME):
            (self._bus / name).unlink(missing_ok=True)
        if self._device.exists():
            shutil.rmtree(self._device)


def _write(folder: Path, attributes: Mapping[str, str]) -> None:
    for name, value in attributes.items():
        (folder / name).write_text(f"{value}\n", encoding="utf-8")


def device_keys(identity: UsbIdentity, number: int) -> dict[str, str]:
    """Return the uevent keys of the device, beside those that every event has."""
    return {
        "MAJOR": "189",
        "MINOR": str(128 * (BUS_NUMBER - 1) + number - 1),
        "DEVNAME": f"bus/usb/{BUS_NUMBER:03d}/{number:03d}",
        "DEVTYPE": "usb_device",
        "PRODUCT": identity.product_key,
        "TYPE": identity.type_key,
        "BUSNUM": f"{BUS_NUMBER:03d}",
        "DEVNUM": f"{number:03d}",
    }


def interface_keys(identity: UsbIdentity) -> dict[str, str]:
    """Return the uevent keys of the device's interface, beside those that every event has."""
    return {
        "DEVTYPE": "usb_interface",
        "PRODUCT": identity.product_key,
        "TYPE": identity.type_key,
        "INTERFACE": f"{identity.interface_class}/0/0",
        "MODALIAS": f"usb:v{identity.vendor_id:04X}p{identity.product_id:04X}d{identity.revision_bcd:04X}"
        f"dc{identity.device_class:02X}dsc00dp00ic{identity.interface_class:02X}isc00ip00in00",
    }


def _device_attributes(identity: UsbIdentity, number: int) -> dict[str, str]:
    return {
        "idVendor": f"{identity.vendor_id:04x}",
        "idProduct": f"{identity.product_id:04x}",
        "bcdDevice": f"{identity.revision_bcd:04x}",
        "bDeviceClass": f"{identity.device_class:02x}",
        "bDeviceSubClass": "00",
        "bDeviceProtocol": "00",
        "bMaxPacketSize0": "64",
        "bMaxPower": f"{MAX_POWER_MA}mA",
        "bmAttributes": f"{BUS_POWERED:02x}",
        "bConfigurationValue": "1",
        "bNumConfigurations": "1",
        "bNumInterfaces": " 1",
        "busnum": str(BUS_NUMBER),
        "devnum": str(number),
        "devpath": str(PORT_NUMBER),
        "version": " 2.00",
        "speed": str(SPEED_MBIT_S),
        "maxchild": "0",
        "removable": "unknown",
        "manufacturer": identity.maker,
        "product": identity.product,
        "serial": identity.serial,
        "uevent": _lines({**device_keys(identity, number), "DRIVER": "usb"}),
    }


def _interface_attributes(identity: UsbIdentity) -> dict[str, str]:
    return {
        "bInterfaceNumber": "00",
        "bAlternateSetting": " 0",
        "bNumEndpoints": "02",
        "bInterfaceClass": f"{identity.interface_class:02x}",
        "bInterfaceSubClass": "00",
        "bInterfaceProtocol": "00",
        "uevent": _lines(interface_keys(identity)),
    }


def _lines(keys: Mapping[str, str]) -> str:
    return "\n".join(f"{key}={value}" for key, value in keys.items())
