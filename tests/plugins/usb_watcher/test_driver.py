"""The watcher as the host uses it: over a real Unix socket with a sysfs tree, and by polling libusb's interface."""

import contextlib
import socket
from pathlib import Path

import psutil
import pytest
import usb.backend
import usb.core

from wakerail_kit.clock import RealClock, SimulatedClock
from wakerail_kit.conformance import CHECKS
from wakerail_kit.errors import ConfigInvalid, DeviceUnavailable, OutOfSync
from wakerail_kit.events import UsbAttached, UsbDetached, UsbEnumerationFailed
from wakerail_kit.families import DeviceFamily, UsbMode
from wakerail_kit.hooks import BuildContext
from wakerail_kit.kinds import USB_WATCHER
from wakerail_kit.yamldoc import parse_yaml
from wakerail_plugins import usb_watcher
from wakerail_plugins.usb_watcher.driver import UsbWatcher, best_source
from wakerail_plugins.usb_watcher.sources import PyusbSource, UdevSource

FAMILY = DeviceFamily("test-family", "", 3.85, (UsbMode("loader", 0, 0x1209, 1, None),))


def context(clock) -> BuildContext:
    return BuildContext(clock=clock, bench="bench", instrument="usb", dialects=Path(), families=(FAMILY,))


def build(text: str, clock=None):
    """Build the driver as the host does, from its section of a bench file."""
    document = parse_yaml(text, "bench.yaml")
    (offered,) = usb_watcher.wakerail_instrument_types()
    driver = offered.build(document.top, context(clock or SimulatedClock()))
    document.finish()
    return driver


def test_the_plugin_offers_the_watcher():
    """The hook names the kind and the driver's name."""
    (offered,) = usb_watcher.wakerail_instrument_types()
    assert (offered.name, offered.kind) == ("usb-watcher", USB_WATCHER)
    assert usb_watcher.api_version == 1


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("source: udef", "bench.yaml:1: source: 'udef' is not known; did you mean 'udev'?"),
        ("source: uevents\nsocket: a", "bench.yaml:1: sysfs: is missing"),
        ("wire: a", "bench.yaml:1: wire: unknown key; known here: kernel_log, socket, source, sysfs"),
        ("source: udev\nsocket: a", "bench.yaml:2: socket: has a meaning only beside 'source: uevents'"),
        ("sysfs: /sys", "bench.yaml:1: sysfs: has a meaning only beside 'source: uevents'"),
    ],
)
def test_a_wrong_key_is_one_clear_line(text, says):
    """File, line, key and what would be right."""
    with pytest.raises(ConfigInvalid) as refused:
        build(text)
    assert refused.value.problems == (says,)


def test_a_mistaken_source_is_the_only_mistake_of_its_section():
    """What its keys would have meant is not known."""
    with pytest.raises(ConfigInvalid) as refused:
        build("source: uevnts\nsocket: a\nsysfs: b")
    assert refused.value.problems == ("bench.yaml:1: source: 'uevnts' is not known; did you mean 'uevents'?",)


class Bench:
    """The far end: a sysfs tree, a socket that sends uevents, a kernel log."""

    def __init__(self, folder: Path) -> None:
        self.sysfs = folder / "sys"
        self.address = folder / "uevents"
        self.log = folder / "kmsg"
        (self.sysfs / "devices").mkdir(parents=True)
        self.log.touch()
        self.links: list[socket.socket] = []
        self.listen()

    def listen(self) -> None:
        self.address.unlink(missing_ok=True)
        self.listener = socket.socket(socket.AF_UNIX)
        self.listener.bind(str(self.address))
        self.listener.listen(64)

    def watcher(self, clock):
        return build(f"source: uevents\nsocket: {self.address}\nsysfs: {self.sysfs}\nkernel_log: {self.log}", clock)

    @property
    def link(self) -> socket.socket:
        return self.links[-1]

    def accept(self) -> None:
        self.listener.settimeout(5)
        self.links.append(self.listener.accept()[0])

    def accept_all(self) -> None:
        self.listener.settimeout(0)
        with contextlib.suppress(BlockingIOError):
            while True:
                self.links.append(self.listener.accept()[0])

    def plug(self, path: str, product_id: int, number: int, device_class: int = 0xFF) -> None:
        folder = self.sysfs / "devices" / path
        folder.mkdir(exist_ok=True)
        head = bytes([0x12, 1, 0, 2, device_class, 0, 0, 0x40])
        words = b"".join(value.to_bytes(2, "little") for value in (0x1209, product_id, 0x0100))
        (folder / "descriptors").write_bytes(head + words + bytes([1, 2, 3, 1]))
        for name, text in {"speed": "480\n", "devnum": f"{number}\n", "serial": "SN-1\n"}.items():
            (folder / name).write_text(text)

    def unplug(self, path: str) -> None:
        for file in (self.sysfs / "devices" / path).iterdir():
            file.unlink()
        (self.sysfs / "devices" / path).rmdir()

    def tell(self, action: str, path: str, devtype: str = "usb_device", **properties: str) -> None:
        texts = {"ACTION": action, "DEVPATH": f"/devices/{path}", "SUBSYSTEM": "usb", "DEVTYPE": devtype} | properties
        message = f"{action}@/devices/{path}\0" + "".join(f"{key}={value}\0" for key, value in texts.items())
        self.link.sendall(message.encode() + b"\0")

    def close(self) -> None:
        self.listener.close()
        while self.links:
            self.links.pop().close()


@pytest.fixture
def bench(tmp_path):
    far_end = Bench(tmp_path)
    yield far_end
    far_end.close()


@pytest.fixture
def clock():
    return SimulatedClock()


@pytest.fixture
def watcher(bench, clock):
    driver = bench.watcher(clock)
    yield driver
    driver.close()


def test_a_device_is_told_from_plug_to_unplug(bench, watcher, clock):
    """Attach with everything the host knows, classified; detach with identity; times by the injected clock."""
    watcher.open()
    bench.accept()
    clock.advance(12.5)
    bench.plug("1-2", 1, 5)
    bench.tell("add", "1-2")
    bench.tell("bind", "1-2")
    bench.tell("add", "1-2:1.0", devtype="usb_interface")
    (attached,) = watcher.read().events
    assert attached == UsbAttached(
        instrument="usb",
        at_s=12.5,
        path="1-2",
        vendor_id=0x1209,
        product_id=1,
        device_class=0xFF,
        revision_bcd=0x0100,
        speed_mbit_s=480.0,
        serial="SN-1",
        family="test-family",
        mode="loader",
        mode_order=0,
        last_order=0,
    )
    clock.advance(1.0)
    bench.unplug("1-2")
    bench.tell("unbind", "1-2")
    bench.tell("remove", "1-2")
    assert watcher.read().events == [
        UsbDetached(
            instrument="usb", at_s=13.5, path="1-2", vendor_id=0x1209, product_id=1, family="test-family", mode="loader"
        )
    ]


def test_what_is_present_at_open_is_counted_in_words_and_told_when_it_goes(bench, watcher):
    """Hubs do not count."""
    bench.plug("usb1", 0x90, 1, device_class=9)
    bench.plug("1-2", 1, 5)
    identity = watcher.open()
    bench.accept()
    assert "1 device present" in identity.text
    assert list(watcher.read().events) == []
    bench.tell("remove", "usb1")
    bench.tell("remove", "1-2")
    (gone,) = watcher.read().events
    assert (gone.path, gone.product_id) == ("1-2", 1)


def test_a_failed_enumeration_is_told_from_the_kernel_log(bench, watcher):
    """The log named in the bench file is followed."""
    assert f"failed enumerations from {bench.log}" in watcher.open().text
    with bench.log.open("a") as log:
        log.write("3,7,7000,-;usb usb1-port2: unable to enumerate USB device\n")
    (failed,) = watcher.read().events
    assert failed == UsbEnumerationFailed(
        instrument="usb", at_s=0.0, path="1-2", count=1, says="unable to enumerate USB device"
    )


def test_without_a_log_the_identity_says_so(bench, watcher):
    """An absent log is no error, and not silent."""
    bench.log.unlink()
    assert f"failed enumerations are not seen: {bench.log}: No such file" in watcher.open().text


def test_an_absent_source_is_unavailable_and_a_later_open_works(bench, watcher):
    """Nobody listens yet; once somebody does, the same driver opens."""
    bench.listener.close()
    with pytest.raises(DeviceUnavailable, match="no uevents at"):
        watcher.open()
    with pytest.raises(DeviceUnavailable):
        watcher.read()
    bench.listen()
    watcher.open()
    assert list(watcher.read().events) == []


def test_a_source_that_closes_is_unavailable(bench, watcher):
    """End of stream is not "nothing happened"."""
    watcher.open()
    bench.accept()
    bench.link.close()
    with pytest.raises(DeviceUnavailable, match="has closed"):
        watcher.read()


def test_a_garbled_source_is_out_of_sync(bench, watcher):
    """Garbage makes no events, and nothing that follows it is believed."""
    watcher.open()
    bench.accept()
    bench.link.sendall(b"garbage\0\0")
    with pytest.raises(OutOfSync):
        watcher.read()
    with pytest.raises(DeviceUnavailable, match="must be opened again"):
        watcher.read()


def test_opened_and_closed_many_times_leaks_nothing(bench, watcher):
    """File descriptors are given back."""
    watcher.open()
    watcher.close()
    before = psutil.Process().num_fds()
    for _ in range(50):
        watcher.open()
        bench.accept()
        watcher.close()
        bench.links.pop().close()
    assert psutil.Process().num_fds() == before


class Rig:
    """The bench as the kit's conformance checks handle it."""

    kind = USB_WATCHER

    def __init__(self, bench: Bench) -> None:
        self.bench = bench

    def driver(self):
        return self.bench.watcher(SimulatedClock())

    def energised(self) -> bool:
        return False

    def cut(self) -> None:
        self.bench.close()

    def garble(self) -> None:
        self.bench.accept_all()
        for link in self.bench.links:
            with contextlib.suppress(OSError):
                link.sendall(b"garbage\0\0")

    def restore(self) -> None:
        self.bench.close()
        self.bench.listen()


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_every_promise_of_the_kind_is_kept(check, bench):
    """The kit's own checks, over this socket."""
    check(Rig(bench))


class Descriptor:
    """A device descriptor as libusb's backend hands it out."""

    bLength, bDescriptorType, bcdUSB, bDeviceSubClass, bDeviceProtocol, bMaxPacketSize0 = 18, 1, 0x0200, 0, 0, 64
    idVendor, bcdDevice, iManufacturer, iProduct, iSerialNumber, bNumConfigurations = 0x1209, 0x0100, 0, 0, 0, 1
    bus, speed, port_number = 1, 3, None

    def __init__(self, product_id, address, ports, device_class=0xFF):
        self.idProduct, self.address, self.port_numbers = product_id, address, ports
        self.bDeviceClass = device_class


class Backend(usb.backend.IBackend):
    """A libusb whose devices the test puts in a list."""

    def __init__(self, *devices):
        self.devices = list(devices)
        self.wrong = None

    def enumerate_devices(self):
        if self.wrong is not None:
            raise self.wrong
        return iter(self.devices)

    def get_device_descriptor(self, dev):
        return dev


@pytest.fixture
def polled():
    backend = Backend(Descriptor(2, 1, None, device_class=9), Descriptor(7, 4, (3,)))
    driver = UsbWatcher(context(RealClock()), lambda: PyusbSource(RealClock(), backend), None)
    yield backend, driver
    driver.close()


def test_polling_tells_what_came_and_went(polled):
    """Paths are made as the kernel makes them; a device with a new address has come anew."""
    backend, driver = polled
    assert "1 device present" in driver.open().text
    backend.devices.append(Descriptor(1, 5, (2, 4)))
    (attached,) = driver.read().events
    assert (attached.path, attached.mode, attached.speed_mbit_s) == ("1-2.4", "loader", 480.0)
    assert list(driver.read().events) == []
    backend.devices[-1] = Descriptor(1, 6, (2, 4))
    assert [type(event) for event in driver.read().events] == [UsbDetached, UsbAttached]
    del backend.devices[1:]
    assert {event.path for event in driver.read().events} == {"1-3", "1-2.4"}


def test_a_libusb_error_is_translated(polled):
    """A failing backend is a watcher that is unavailable, not a traceback."""
    backend, driver = polled
    driver.open()
    backend.wrong = usb.core.USBError("input/output error", -1, 5)
    with pytest.raises(DeviceUnavailable, match="libusb"):
        driver.read()


def test_a_host_without_libudev_is_polled(monkeypatch):
    """``auto`` takes udev where it is, else libusb."""
    pyudev = pytest.importorskip("pyudev")

    def absent(*args):
        raise ImportError("No library named udev")

    assert isinstance(best_source(context(RealClock())), UdevSource | PyusbSource)
    monkeypatch.setattr(pyudev, "Context", absent)
    assert isinstance(best_source(context(RealClock())), PyusbSource)
    with pytest.raises(DeviceUnavailable, match="No library named udev"):
        UdevSource()
