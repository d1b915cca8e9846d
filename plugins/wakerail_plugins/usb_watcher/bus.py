"""What is on the bus: devices come and go by path, and each change becomes an event. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from wakerail_kit.events import EventData, UsbAttached, UsbDetached, UsbEnumerationFailed
from wakerail_kit.families import DeviceFamily, UsbMode, classify
from wakerail_plugins.usb_watcher.device import UsbDevice
from wakerail_plugins.usb_watcher.kernel_log import EnumerationRecord, FailureCounter


class UsbBus:
    """The devices by path, hubs left out; its methods return the events that a change makes."""

    def __init__(self, instrument: str, families: Sequence[DeviceFamily]) -> None:
        self._instrument = instrument
        self._families = families
        self._present: dict[str, UsbDevice] = {}
        self._failures = FailureCounter()

    def start_from(self, present: Mapping[str, UsbDevice]) -> int:
        """Take what is there already as known, without an event. Return how many devices that is."""
        self._present = {path: device for path, device in present.items() if not device.is_hub}
        return len(self._present)

    def attach(self, path: str, device: UsbDevice | None, at_s: float) -> list[EventData]:
        """A device was added. ``device`` is None if it had gone before the host could say what it was."""
        known = self._present.get(path)
        if known is not None and device is not None and known.is_same_enumeration(device):
            return []  # seen already: it was added while those present were being listed
        events = self.detach(path, at_s)
        if device is None:
            count = self._failures.add(path)
            return [*events, self._failed(path, count, "went before it could be identified", at_s)]
        if device.is_hub:
            return events
        self._present[path] = device
        family, mode = self._boot_mode(device)
        return [
            *events,
            UsbAttached(
                instrument=self._instrument,
                at_s=at_s,
                path=path,
                vendor_id=device.vendor_id,
                product_id=device.product_id,
                device_class=device.device_class,
                revision_bcd=device.revision_bcd,
                speed_mbit_s=device.speed_mbit_s,
                serial=device.serial,
                maker=device.maker,
                product=device.product,
                family=family.name if family else "",
                mode=mode.name if mode else "",
                mode_order=mode.order if mode else None,
                last_order=family.usb_modes[-1].order if family else None,
            ),
        ]

    def detach(self, path: str, at_s: float) -> list[EventData]:
        """A path was removed; no event if it was a hub or is not known."""
        device = self._present.pop(path, None)
        if device is None:
            return []
        family, mode = self._boot_mode(device)
        return [
            UsbDetached(
                instrument=self._instrument,
                at_s=at_s,
                path=path,
                vendor_id=device.vendor_id,
                product_id=device.product_id,
                family=family.name if family else "",
                mode=mode.name if mode else "",
            )
        ]

    def note(self, record: EnumerationRecord, at_s: float) -> list[EventData]:
        """The kernel wrote of an enumeration."""
        count = self._failures.count(record)
        return [] if count is None else [self._failed(record.path, count, record.says, at_s)]

    def _failed(self, path: str, count: int, says: str, at_s: float) -> UsbEnumerationFailed:
        return UsbEnumerationFailed(instrument=self._instrument, at_s=at_s, path=path, count=count, says=says)

    def _boot_mode(self, device: UsbDevice) -> tuple[DeviceFamily | None, UsbMode | None]:
        found = classify(self._families, device.vendor_id, device.product_id, device.device_class)
        return found if found is not None else (None, None)
