"""The USB watcher: tells what the host sees on USB while a device boots, by udev, raw uevents or libusb."""

from __future__ import annotations

from collections.abc import Sequence

from wakerail_kit.hooks import InstrumentType, hookimpl
from wakerail_kit.kinds import USB_WATCHER
from wakerail_plugins.usb_watcher.driver import build_usb_watcher

api_version = 1


@hookimpl
def wakerail_instrument_types() -> Sequence[InstrumentType]:
    """Offer the watcher of the host's own USB."""
    return [
        InstrumentType(
            name="usb-watcher",
            kind=USB_WATCHER,
            says="what this host sees on USB: devices that come, go or fail to enumerate",
            build=build_usb_watcher,
        )
    ]
