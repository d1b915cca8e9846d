"""The far end of USB: kernel-style uevents on a unix socket, sysfs directories, and the kernel's log."""

from __future__ import annotations

import contextlib
import selectors
import socket
from collections.abc import Mapping
from pathlib import Path

from wakerail_kit.clock import Clock
from wakerail_kit.families import DeviceFamily
from wakerail_sim.far_ends import ListeningEnd, bind_unix
from wakerail_sim.kernel_log import KernelLog
from wakerail_sim.usb_identity import UsbIdentity
from wakerail_sim.usb_port import UsbAttach, UsbChange, UsbDetach
from wakerail_sim.usb_sysfs import DEVICE_PATH, INTERFACE_PATH, UsbSysfs, device_keys, interface_keys


def uevent(action: str, path: str, keys: Mapping[str, str], number: int) -> bytes:
    """Return one event as the kernel multicasts it, ended by an empty string: so two NULs close it."""
    head = {"ACTION": action, "DEVPATH": path, "SUBSYSTEM": "usb"}
    fields = [f"{key}={value}" for key, value in {**head, **keys, "SEQNUM": str(number)}.items()]
    return "".join(f"{field}\0" for field in [f"{action}@{path}", *fields, ""]).encode()


class UsbEnd(ListeningEnd):
    """Tells every client of each change on the port. A client that does not read is dropped, as netlink would.

    ``begun_s`` is the monotonic time at which the world began, so that the log has the clock's own time.
    """

    def __init__(self, folder: Path, clock: Clock, *, family: DeviceFamily, seed: int, begun_s: float) -> None:
        super().__init__("usb", clock, lambda: bind_unix(folder / "usb"))
        self._family = family
        self._seed = seed
        self._begun_s = begun_s
        self._sysfs = UsbSysfs(folder / "sysfs")
        self._log = KernelLog(folder / "kernel-log")
        self._sequence = 0

    def change(self, change: UsbChange) -> None:
        """Let a change be seen. Never blocks; for any thread."""
        self._reactor.post(lambda: self._show(change))

    def _show(self, change: UsbChange) -> None:
        at_s = self._begun_s + change.at_s
        if isinstance(change, UsbAttach):
            identity = UsbIdentity.of(self._family, change.mode, self._seed)
            self._log.attached(at_s, change.number, identity)
            self._sysfs.add(identity, change.number)
            device, interface = device_keys(identity, change.number), interface_keys(identity)
            self._tell("add", DEVICE_PATH, device)
            self._tell("add", INTERFACE_PATH, interface)
            self._tell("bind", DEVICE_PATH, {**device, "DRIVER": "usb"})
        elif isinstance(change, UsbDetach):
            identity = UsbIdentity.of(self._family, change.mode, self._seed)
            self._log.detached(at_s, change.number)
            self._sysfs.remove()
            device, interface = device_keys(identity, change.number), interface_keys(identity)
            self._tell("remove", INTERFACE_PATH, interface)
            self._tell("unbind", DEVICE_PATH, device)
            self._tell("remove", DEVICE_PATH, device)
        else:
            self._log.failed(at_s, change.numbers)

    def _tell(self, action: str, path: str, keys: Mapping[str, str]) -> None:
        self._sequence += 1
        message = uevent(action, path, keys, self._sequence)
        for file, client in list(self._clients.items()):
            try:
                whole = client.send(message) == len(message)
            except OSError:
                whole = False
            if not whole:
                self._drop(file)

    def _welcome(self, client: socket.socket) -> None:
        file = client.fileno()
        self._reactor.watch(file, selectors.EVENT_READ, lambda: self._hear(file, client))

    def _hear(self, file: int, client: socket.socket) -> None:
        """Swallow what a client says; drop it when it has gone."""
        with contextlib.suppress(BlockingIOError):
            try:
                said = client.recv(4096)
            except ConnectionError:
                said = b""
            if not said:
                self._drop(file)
