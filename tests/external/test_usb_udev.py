"""The watcher on udev for real: libudev and pyudev hear made-up devices of an umockdev test bed.

The test starts this file again under umockdev's preload library; that inner part drives the test bed by ctypes,
reads the watcher, and prints what it saw.
"""

import ctypes
import json
import shutil
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

from wakerail_kit.clock import SimulatedClock
from wakerail_kit.events import type_of
from wakerail_kit.families import DeviceFamily, UsbMode
from wakerail_kit.hooks import BuildContext
from wakerail_kit.yamldoc import parse_yaml
from wakerail_plugins import usb_watcher

FAMILY = DeviceFamily(
    "test-family",
    "",
    3.85,
    (UsbMode("loader", 0, 0x1209, 1, None), UsbMode("normal", 1, 0x1209, 3, None)),
)


def described(path: str, number: int, product_id: int) -> str:
    """Describe a device to umockdev; ACTION is left out, so that the test bed's own uevents carry theirs."""
    descriptor = f"12010002FF00004009120{product_id}0000010102000109020900000101000000"
    return "\n".join(
        [
            f"P: /devices/pci0000:00/usb1/{path}",
            f"N: bus/usb/001/{number:03d}={descriptor}",
            f"E: DEVNAME=/dev/bus/usb/001/{number:03d}",
            "E: DEVTYPE=usb_device",
            "E: BUSNUM=001",
            f"E: DEVNUM={number:03d}",
            f"E: PRODUCT=1209/{product_id}/100",
            "E: TYPE=255/0/0",
            "E: SUBSYSTEM=usb",
            f"A: devnum={number}\\n",
            "A: speed=480\\n",
            "A: manufacturer=Fenmoor\\n",
            f"H: descriptors={descriptor}",
            "",
            "",
        ]
    )


class TestBed:
    """umockdev's test bed, as far as this test needs it."""

    __test__ = False

    def __init__(self) -> None:
        self._lib = ctypes.CDLL("libumockdev.so.0")
        self._lib.umockdev_testbed_new.restype = ctypes.c_void_p
        self._bed = ctypes.c_void_p(self._lib.umockdev_testbed_new())

    def add(self, description: str) -> None:
        error = ctypes.c_void_p()
        assert self._lib.umockdev_testbed_add_from_string(self._bed, description.encode(), ctypes.byref(error))

    def uevent(self, path: str, action: str) -> None:
        self._lib.umockdev_testbed_uevent(self._bed, f"/sys/devices/{path}".encode(), action.encode())

    def remove(self, path: str) -> None:
        self._lib.umockdev_testbed_remove_device(self._bed, f"/sys/devices/{path}".encode())


def inner(recording: str) -> None:
    """Run under the preload library: one boot of three stages, and what was present at the start goes."""
    bed = TestBed()
    root = "pci0000:00/usb1"
    if recording:
        bed.add(Path(recording).read_text())
        present = "pci0000:00/0000:00:1a.0/usb1/1-1/1-1.5/1-1.5.2/1-1.5.2.4"
    else:
        bed.add(described("1-9", 9, 7))
        present = f"{root}/1-9"
    clock = SimulatedClock()
    document = parse_yaml("source: udev\nkernel_log: /nowhere", "bench.yaml")
    (offered,) = usb_watcher.wakerail_instrument_types()
    watcher = offered.build(document.top, BuildContext(clock, "bench", "usb", Path(), (FAMILY,)))
    document.finish()
    says = [watcher.open().text]

    def look() -> None:
        for _ in range(20):  # the test bed delivers within one or two of the watcher's own short waits
            events = watcher.read().events
            if events:
                says.extend([type_of(type(event)), msgspec.to_builtins(event)] for event in events)
                return
        says.append("nothing")

    for number, product_id in ((10, 1), (11, 3)):
        clock.advance(1.0)
        bed.add(described("1-4", number, product_id))  # the test bed sends the add by itself
        look()
        bed.uevent(f"{root}/1-4", "bind")
        bed.uevent(f"{root}/1-4", "change")
        bed.uevent(f"{root}/1-4", "unbind")
        bed.uevent(f"{root}/1-4", "remove")
        bed.remove(f"{root}/1-4")
        look()
    bed.uevent(present, "remove")
    look()
    watcher.close()
    sys.stdout.write(json.dumps(says))


def run_inner(recording: str = "") -> list:
    wrapper = shutil.which("umockdev-wrapper")
    done = subprocess.run(
        [wrapper, sys.executable, __file__, recording], capture_output=True, text=True, timeout=50, check=False
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.needs("umockdev")
def test_a_boot_is_heard_through_udev():
    """Two boot stages and a device that was there: attach and detach with identity, nothing for bind and change."""
    says, *events = run_inner()
    assert says.startswith("USB by udev; 1 device present; failed enumerations are not seen: /nowhere")
    kinds = [kind for kind, _ in events]
    attached, detached = "wakerail.usb-attached.v1", "wakerail.usb-detached.v1"
    assert kinds == [attached, detached, attached, detached, detached]
    loader, loader_gone, normal, normal_gone, present_gone = (data for _, data in events)
    assert (loader["path"], loader["mode"], loader["mode_order"]) == ("1-4", "loader", 0)
    assert (loader["speed_mbit_s"], loader["maker"], loader["at_s"]) == (480.0, "Fenmoor", 1.0)
    assert (loader_gone["mode"], normal["mode"], normal_gone["mode"]) == ("loader", "normal", "normal")
    assert (present_gone["path"], present_gone["product_id"]) == ("1-9", 7)


@pytest.mark.needs("umockdev")
def test_a_recorded_phone_is_known_from_the_start_and_heard_going(reference):
    """A real phone behind three hubs (recording of martinpitt/umockdev): the hubs do not count, the phone does."""
    says, *events = run_inner(str(reference / "data" / "usb" / "phone_mtp.umockdev"))
    assert "1 device present" in says
    kind, gone = events[-1]
    assert kind == "wakerail.usb-detached.v1"
    assert (gone["path"], gone["vendor_id"], gone["product_id"]) == ("1-1.5.2.4", 0x0FCE, 0x0166)


if __name__ == "__main__":
    inner(sys.argv[1])
