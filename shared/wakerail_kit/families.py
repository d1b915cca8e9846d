"""Device families: what the shop knows of a sort of device, read from config/devices/*.yaml."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from wakerail_kit.alloys import Alloy
from wakerail_kit.connectors import Connector, read_connectors
from wakerail_kit.heat_profiles import HeatProfile, read_profiles
from wakerail_kit.proving import Charging, Function, read_charging, read_functions
from wakerail_kit.rails import Rail, read_rails
from wakerail_kit.yamldoc import load_yaml


@dataclass(frozen=True, slots=True)
class UsbMode:
    """One boot mode as the host sees it: USB identity, and its place in the order of a boot (0 is earliest)."""

    name: str
    order: int
    vendor_id: int
    product_id: int | None
    device_class: int | None

    def matches(self, vendor_id: int, product_id: int, device_class: int) -> bool:
        return (
            vendor_id == self.vendor_id
            and self.product_id in {None, product_id}
            and self.device_class in {None, device_class}
        )


@dataclass(frozen=True, slots=True)
class DeviceFamily:
    """A sort of device: its name, nominal volts, the boot modes in which its USB port enumerates, and by name how its
    boards are heated, what a meter reads at their connectors; and how it charges, what it must be able to do, and
    into which rails a low voltage may be injected.
    """

    name: str
    says: str
    nominal_v: float
    usb_modes: tuple[UsbMode, ...]
    profiles: Mapping[str, HeatProfile] = field(default_factory=dict)
    connectors: Mapping[str, Connector] = field(default_factory=dict)
    charging: Charging | None = None
    functions: tuple[Function, ...] = ()
    rails: Mapping[str, Rail] = field(default_factory=dict)


def load_family(file: Path, alloys: Mapping[str, Alloy] | None = None) -> DeviceFamily:
    """Read one family. Raises ConfigInvalid listing every mistake with its line.

    Heat profiles name their alloy; without a table of ``alloys`` they are left unread.
    """
    doc = load_yaml(file)
    top = doc.top
    name = top.name("family")
    says = top.text("says", default="")
    nominal_v = top.quantity("nominal", "V", low=0.0)
    modes = tuple(
        UsbMode(
            name=entry.name("mode"),
            order=order,
            vendor_id=entry.integer("vendor", low=0, high=0xFFFF),
            product_id=entry.optional_integer("product", low=0, high=0xFFFF),
            device_class=entry.optional_integer("class", low=0, high=0xFF),
        )
        for order, entry in enumerate(top.sections("usb-modes", default=()))
    )
    profiles: Mapping[str, HeatProfile] = {}
    if alloys is not None:
        profiles = read_profiles(top, alloys)
    else:
        top.raw("profiles", None)
    connectors = read_connectors(top)
    rails = read_rails(top, connectors)
    charging, functions = read_charging(top), read_functions(top)
    top.raw("plan", None)  # the daemon's to read
    doc.finish()
    return DeviceFamily(name, says, nominal_v, modes, profiles, connectors, charging, functions, rails)


def load_families(folder: Path, alloys: Mapping[str, Alloy] | None = None) -> tuple[DeviceFamily, ...]:
    """Read every family of a folder, in the order of the file names."""
    return tuple(load_family(file, alloys) for file in sorted(folder.glob("*.yaml")))


def classify(
    families: Sequence[DeviceFamily], vendor_id: int, product_id: int, device_class: int
) -> tuple[DeviceFamily, UsbMode] | None:
    """Return the family and boot mode of a USB identity, or None for a stranger."""
    for family in families:
        for mode in family.usb_modes:
            if mode.matches(vendor_id, product_id, device_class):
                return family, mode
    return None
