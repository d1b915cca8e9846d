"""The driver: one source of news about the bus, and the kernel's log beside it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from wakerail_kit.errors import DeviceUnavailable, OutOfSync
from wakerail_kit.events import EventData
from wakerail_kit.hooks import BuildContext
from wakerail_kit.kinds import Instrument, InstrumentFault, Reading
from wakerail_kit.messages import Identity
from wakerail_kit.yamldoc import Section
from wakerail_plugins.usb_watcher.bus import UsbBus
from wakerail_plugins.usb_watcher.kernel_log import KernelLog
from wakerail_plugins.usb_watcher.sources import PyusbSource, Source, UdevSource, UeventSource

_WAIT_S = 0.25
_SOURCES = ("auto", "udev", "uevents", "pyusb")


def build_usb_watcher(section: Section, context: BuildContext) -> Instrument:
    """Read the watcher's keys: ``source``, and ``socket`` and ``sysfs`` for ``source: uevents``; ``kernel_log``."""
    kind = section.text("source", default="auto", one_of=_SOURCES)
    kernel_log = section.text("kernel_log", default="")
    make_source: Callable[[], Source]
    if kind == "uevents":
        address, sysfs = Path(section.text("socket")), Path(section.text("sysfs"))

        def make_source() -> Source:
            return UeventSource(address, sysfs)

    elif kind == "udev":
        make_source = UdevSource
    elif kind == "pyusb":

        def make_source() -> Source:
            return PyusbSource(context.clock)

    else:

        def make_source() -> Source:
            return best_source(context)

    for key in ("socket", "sysfs"):
        section.raw(key, None)  # so that they are among the keys that are known here
        if kind != "uevents" and kind in _SOURCES and key in section:
            section.note(key, "has a meaning only beside 'source: uevents'")
    # Another world's uevents do not go with this host's kernel log.
    default_log = Path("/dev/kmsg") if kind != "uevents" and sys.platform == "linux" else None
    return UsbWatcher(context, make_source, Path(kernel_log) if kernel_log else default_log)


def best_source(context: BuildContext) -> Source:
    """Return udev where the host has it, else libusb."""
    try:
        return UdevSource()
    except DeviceUnavailable:
        return PyusbSource(context.clock)


class UsbWatcher:
    """Reports USB devices that come, go, or fail to enumerate. Hubs are not reported.

    ``make_source`` is called at each ``open``. ``kernel_log`` None, or a log that this user may not read, means
    that failed enumerations are not seen; the identity says so.
    """

    waits = True

    def __init__(self, context: BuildContext, make_source: Callable[[], Source], kernel_log: Path | None) -> None:
        self._clock = context.clock
        self._bus = UsbBus(context.instrument, context.families)
        self._make_source = make_source
        self._source: Source | None = None
        self._log_path = kernel_log
        self._log: KernelLog | None = None
        self._lost = ""

    def open(self) -> Identity:
        """Start watching. What is present is taken as known: its going will be reported, its presence is not."""
        self.close()
        self._source = self._make_source()
        count = self._bus.start_from(self._source.open())
        devices = "1 device present" if count == 1 else f"{count} devices present"
        return Identity(text=f"USB by {self._source.says}; {devices}; {self._open_log()}", model=self._source.says)

    def _open_log(self) -> str:
        if self._log_path is None:
            return "failed enumerations are not seen: no kernel log"
        try:
            self._log = KernelLog(self._log_path)
        except OSError as wrong:
            return f"failed enumerations are not seen: {self._log_path}: {wrong.strerror}"
        return f"failed enumerations from {self._log_path}"

    def read(self) -> Reading:
        """Wait a quarter of a second at most; return what came, went or failed to enumerate since the last call.

        Raises DeviceUnavailable or OutOfSync when the source has gone or is garbled, and from then on until it is
        opened again: what was missed meanwhile is not known.
        """
        if self._source is None:
            raise DeviceUnavailable(self._lost or "the USB watcher is not open")
        try:
            return Reading(events=self._events(self._source))
        except (DeviceUnavailable, OutOfSync) as lost:
            self.close()
            self._lost = f"the USB watcher must be opened again; it ended with: {lost}"
            raise

    def _events(self, source: Source) -> list[EventData]:
        changes = source.changes(_WAIT_S)
        at_s = self._clock.monotonic_s()
        events: list[EventData] = []
        for record in self._log.read() if self._log is not None else ():
            events += self._bus.note(record, at_s)
        for change in changes:
            if change.came:
                events += self._bus.attach(change.path, change.device, at_s)
            else:
                events += self._bus.detach(change.path, at_s)
        return events

    def make_safe(self) -> None:
        """Do nothing: a watcher has nothing that could hurt."""

    def faults(self) -> Sequence[InstrumentFault]:
        return ()

    def close(self) -> None:
        self._lost = ""
        if self._source is not None:
            self._source.close()
            self._source = None
        if self._log is not None:
            self._log.close()
            self._log = None
