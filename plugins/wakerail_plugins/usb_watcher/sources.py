"""Where the watcher's news comes from: udev, a stream of raw uevents, or libusb asked again and again.

Each source gives the same: what is present, then the changes, decoded by ``device``.
"""

from __future__ import annotations

import os
import select
import socket
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from wakerail_kit.clock import Clock
from wakerail_kit.errors import DeviceUnavailable, OutOfSync
from wakerail_plugins.usb_watcher.device import ATTRIBUTES, UsbDevice, device_of
from wakerail_plugins.usb_watcher.uevent import Uevent, UeventStream

_LIBUSB_SPEEDS_MBIT_S = {1: 1.5, 2: 12.0, 3: 480.0, 4: 5000.0, 5: 10000.0}  # enum libusb_speed


@dataclass(frozen=True, slots=True)
class Change:
    """A device came (``device`` is what is known of it, None for nothing) or went. ``path`` is its bus path."""

    path: str
    came: bool
    device: UsbDevice | None = None


class Source(Protocol):
    """One way to see the bus. Methods raise DeviceUnavailable or OutOfSync."""

    says: str

    def open(self) -> Mapping[str, UsbDevice]:
        """Start to listen, then return what is present by path, so that nothing falls between the two."""
        ...

    def changes(self, timeout_s: float) -> list[Change]:
        """Wait at most ``timeout_s`` seconds and return what changed."""
        ...

    def close(self) -> None:
        """Stop listening. Never raises; may be called twice."""
        ...


def read_device_folder(folder: Path) -> tuple[bytes, dict[str, str]]:
    """Return a device's ``descriptors`` and its text attributes from sysfs; what cannot be read is left out."""
    texts: dict[str, str] = {}
    for name in ATTRIBUTES:
        try:
            texts[name] = (folder / name).read_text(encoding="utf-8", errors="replace").strip()
        except OSError:
            continue  # no such string, or the device has gone meanwhile
    try:
        return (folder / "descriptors").read_bytes(), texts
    except OSError:
        return b"", texts


def _change_of(event: Uevent, sysfs: Path) -> Change:
    path = event.devpath.rpartition("/")[2]
    if event.action == "remove":
        return Change(path, came=False)
    descriptors, texts = read_device_folder(sysfs / event.devpath.lstrip("/"))
    return Change(path, came=True, device=device_of(event.properties, descriptors, texts))


class UeventSource:
    """Kernel-form uevents from a Unix stream socket, with the attributes under a sysfs root."""

    def __init__(self, address: Path, sysfs: Path) -> None:
        self.says = f"uevents from {address}"
        self._address = address
        self._sysfs = sysfs
        self._socket: socket.socket | None = None
        self._stream = UeventStream()

    def open(self) -> Mapping[str, UsbDevice]:
        link = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            link.settimeout(1.0)
            link.connect(str(self._address))
        except OSError as wrong:
            link.close()
            raise DeviceUnavailable(f"no uevents at {self._address}: {wrong.strerror or wrong}") from wrong
        self._socket, self._stream = link, UeventStream()
        return self._present()

    def _present(self) -> dict[str, UsbDevice]:
        present = {}
        for folder, _, files in os.walk(self._sysfs / "devices"):
            if "descriptors" in files or "idVendor" in files:
                device = device_of({}, *read_device_folder(Path(folder)))
                if device is not None:
                    present[Path(folder).name] = device
        return present

    def changes(self, timeout_s: float) -> list[Change]:
        if self._socket is None:
            raise DeviceUnavailable(f"{self.says}: not open")
        try:
            ready, _, _ = select.select([self._socket], [], [], timeout_s)
            data = self._socket.recv(65536) if ready else None
        except OSError as wrong:
            raise DeviceUnavailable(f"{self.says}: {wrong.strerror or wrong}") from wrong
        if data == b"":
            raise DeviceUnavailable(f"{self.says}: the other end has closed")
        events = self._stream.feed(data) if data else []
        return [_change_of(event, self._sysfs) for event in events if event.concerns_usb_device]

    def close(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None


class UdevSource:
    """The host's own udev. Raises DeviceUnavailable when built where libudev is absent."""

    def __init__(self) -> None:
        self.says = "udev"
        self._monitor: Any = None
        try:
            import pyudev  # noqa: PLC0415  slow to load, and absent on some hosts

            self._pyudev = pyudev
            self._context = pyudev.Context()
        except (ImportError, OSError) as wrong:
            raise DeviceUnavailable(f"udev cannot be used on this host: {wrong}") from wrong

    def open(self) -> Mapping[str, UsbDevice]:
        try:
            monitor = self._pyudev.Monitor.from_netlink(self._context)
            monitor.filter_by("usb", "usb_device")
            monitor.start()
            present = {}
            for listed in self._context.list_devices(subsystem="usb", DEVTYPE="usb_device"):
                device = device_of(dict(listed.properties), *read_device_folder(Path(listed.sys_path)))
                if device is not None:
                    present[str(listed.sys_name)] = device
        except OSError as wrong:
            raise DeviceUnavailable(f"udev: {wrong.strerror or wrong}") from wrong
        self._monitor = monitor
        return present

    def changes(self, timeout_s: float) -> list[Change]:
        if self._monitor is None:
            raise DeviceUnavailable("udev: not open")
        found = []
        try:
            heard = self._monitor.poll(timeout_s)
            while heard is not None:
                event = Uevent(str(heard.action), str(heard.device_path), dict(heard.properties))
                if event.concerns_usb_device:
                    found.append(_change_of(event, Path("/sys")))
                heard = self._monitor.poll(0)
        except OSError as wrong:  # ENOBUFS: the kernel dropped events that nobody read in time
            raise OutOfSync(f"udev: events were lost: {wrong.strerror or wrong}") from wrong
        return found

    def close(self) -> None:
        self._monitor = None  # pyudev lets go of the socket with its last reference


class PyusbSource:
    """libusb, asked for its list each time: for hosts without udev.

    A device that goes and comes back between two looks is told by its new address. Strings are not read, because
    that would mean opening a device that is just booting.
    """

    def __init__(self, clock: Clock, backend: Any = None) -> None:
        self.says = "libusb, by polling"
        self._clock = clock
        self._backend = backend
        self._present: dict[str, UsbDevice] = {}
        self._closing = threading.Event()

    def open(self) -> Mapping[str, UsbDevice]:
        self._closing.clear()
        self._present = self._list()
        return dict(self._present)

    def changes(self, timeout_s: float) -> list[Change]:
        self._clock.wait(self._closing, timeout_s)
        before, self._present = self._present, self._list()
        found = []
        for path, device in before.items():
            now = self._present.get(path)
            if now is None or not device.is_same_enumeration(now):
                found.append(Change(path, came=False))
        for path, device in self._present.items():
            was = before.get(path)
            if was is None or not device.is_same_enumeration(was):
                found.append(Change(path, came=True, device=device))
        return found

    def close(self) -> None:
        self._closing.set()

    def _list(self) -> dict[str, UsbDevice]:
        import usb.core  # noqa: PLC0415  slow to load

        try:
            return {
                _bus_path(each): UsbDevice(
                    vendor_id=each.idVendor,
                    product_id=each.idProduct,
                    device_class=each.bDeviceClass,
                    revision_bcd=each.bcdDevice,
                    speed_mbit_s=_LIBUSB_SPEEDS_MBIT_S.get(each.speed),
                    number=each.address,
                )
                for each in usb.core.find(find_all=True, backend=self._backend)
            }
        except usb.core.NoBackendError as wrong:
            raise DeviceUnavailable("no libusb on this host; install libusb 1.0") from wrong
        except OSError as wrong:  # USBError is one
            raise DeviceUnavailable(f"libusb: {wrong.strerror or wrong}") from wrong


def _bus_path(device: Any) -> str:
    if device.port_numbers:
        return f"{device.bus}-{'.'.join(str(port) for port in device.port_numbers)}"
    # a root hub has no port, and an old libusb tells none
    return f"usb{device.bus}" if device.bDeviceClass == 9 else f"{device.bus}-address{device.address}"
