from __future__ import annotations

import itertools
import struct
from pathlib import Path
from typing import Any

import pytest

from wakerail_kit.families import DeviceFamily, UsbMode
from wakerail_sim.kernel_log import KernelLog
from wakerail_sim.stages import Stage
from wakerail_sim.usb_end import uevent
from wakerail_sim.usb_identity import UsbIdentity
from wakerail_sim.usb_port import UsbAttach, UsbDetach, UsbFailure, modes_by_stage
from wakerail_sim.usb_sysfs import DEVICE_PATH, UsbSysfs, device_keys, interface_keys

LOADER = UsbMode("loader", 0, 0x1209, 0x0A01, 0xFF)


def modes(*names: str) -> tuple[UsbMode, ...]:
    return tuple(UsbMode(name, order, 0x1209, order + 1, None) for order, name in enumerate(names))


def shown(changes: list[Any]) -> list[str]:
    return [f"{type(change).__name__}:{change.mode.name}" for change in changes]


def booted(bench: Any) -> Any:
    bench.power()
    bench.press()
    return bench


def test_a_boot_shows_its_modes_in_order_and_the_last_one_stays(lab: Any) -> None:
    bench = booted(lab())
    bench.run(30)
    assert shown(bench.usb) == ["UsbAttach:loader", "UsbDetach:loader", "UsbAttach:running"]
    assert bench.usb[0].at_s == pytest.approx(0.35 + 0.12)
    assert bench.usb[1].at_s == pytest.approx(0.35 + 1.2)
    numbers = [change.number for change in bench.usb]
    assert numbers == [2, 2, 3]


@pytest.mark.parametrize("how", ["OUTP OFF", "VOLT 1"])
def test_losing_power_takes_the_device_off_the_bus(lab: Any, how: str) -> None:
    bench = booted(lab())
    bench.run(10)
    bench.tell(how)
    bench.run(0.1)
    assert shown(bench.usb)[-1] == "UsbDetach:running"


def test_a_restarting_device_comes_and_goes(lab: Any) -> None:
    bench = booted(lab("restart-at-stage:kernel"))
    bench.run(13)
    assert shown(bench.usb) == ["UsbAttach:loader", "UsbDetach:loader"] * 4
    times = [change.at_s for change in bench.usb if isinstance(change, UsbAttach)]
    assert [later - earlier for earlier, later in itertools.pairwise(times)] == pytest.approx([3.2] * 3)


@pytest.mark.parametrize(
    ("family_modes", "stages"),
    [
        ((), {}),
        (modes("a"), {Stage.RUNNING: "a"}),
        (modes("a", "b"), {Stage.LOADER: "a", Stage.RUNNING: "b"}),
        (modes("a", "b", "c"), {Stage.LOADER: "a", Stage.SYSTEM: "b", Stage.RUNNING: "c"}),
        (modes("kernel", "rom"), {Stage.KERNEL: "kernel", Stage.ROM: "rom"}),
        (
            modes(*"abcdefg"),
            {Stage.ROM: "a", Stage.LOADER: "b", Stage.KERNEL: "c", Stage.SYSTEM: "d", Stage.RUNNING: "g"},
        ),
    ],
)
def test_modes_follow_the_boot(family_modes: tuple[UsbMode, ...], stages: dict[Stage, str]) -> None:
    found = modes_by_stage(DeviceFamily("any", "", 3.8, family_modes))
    assert {stage: mode.name for stage, mode in found.items()} == stages


@pytest.mark.parametrize("fault", ["dirty-port", "enumeration-failures"])
def test_a_broken_port_fails_to_enumerate(lab: Any, fault: str) -> None:
    bench = booted(lab(fault))
    bench.run(10)
    assert [type(change) for change in bench.usb] == [UsbFailure, UsbFailure]


def test_a_cleaned_port_enumerates_at_once(lab: Any) -> None:
    bench = booted(lab("dirty-port"))
    bench.run(10)
    with bench.world.present():
        bench.world.clean_port()
    bench.run(0.2)
    assert shown(bench.usb[2:]) == ["UsbAttach:running"]


def test_the_cable_takes_the_device_off_the_bus_and_back(lab: Any) -> None:
    bench = booted(lab())
    bench.run(10)
    with bench.world.present():
        bench.world.usb.plug(cable_in=False)
    bench.run(1)
    assert shown(bench.usb)[-1] == "UsbDetach:running"
    with bench.world.present():
        bench.world.usb.plug(cable_in=True)
    bench.run(1)
    assert shown(bench.usb)[-1] == "UsbAttach:running"
    assert bench.usb[-1].number == 4


def test_a_cable_that_rattles_is_enumerated_once(lab: Any) -> None:
    bench = booted(lab())
    bench.run(10)
    for _ in range(3):
        for cable_in in (False, True):
            with bench.world.present():
                bench.world.usb.plug(cable_in=cable_in)
            bench.run(0.03)
    bench.run(1)
    assert shown(bench.usb[3:]) == ["UsbDetach:running", "UsbAttach:running"]


def test_the_device_descriptor_has_its_fields_where_the_standard_puts_them(family: DeviceFamily) -> None:
    # offsets: USB 2.0, table 9-8
    identity = UsbIdentity.of(family, family.usb_modes[0], seed=12)
    raw = identity.descriptors()
    device = raw[:18]
    assert device[0] == 18
    assert device[1] == 1
    fields = {
        "bcdUSB": (2, 0x0200),
        "idVendor": (8, 0x1209),
        "idProduct": (10, 0x0A01),
        "bcdDevice": (12, 0x0100),
    }
    for place, value in fields.values():
        assert int.from_bytes(device[place : place + 2], "little") == value
    assert device[4] == 0xFF  # bDeviceClass
    assert device[7] == 64  # bMaxPacketSize0
    assert tuple(device[14:17]) == (1, 2, 3)
    assert device[17] == 1


def test_the_configuration_descriptor_counts_itself(family: DeviceFamily) -> None:
    # USB 2.0, tables 9-10, 9-12 and 9-13; bMaxPower is in units of 2 mA
    raw = UsbIdentity.of(family, family.usb_modes[1], seed=1).descriptors()[18:]
    length, kind, total, interfaces, _, _, attributes, power = struct.unpack("<BBHBBBBB", raw[:9])
    assert (length, kind, interfaces, attributes, power * 2) == (9, 2, 1, 0x80, 500)
    assert total == len(raw)
    place, kinds = 9, []
    while place < len(raw):
        kinds.append(raw[place + 1])
        place += raw[place]
    assert place == len(raw)
    assert kinds == [4, 5, 5]
    assert raw[9 + 5] == 0xFF  # a device without a class leaves it to its interface


def test_the_descriptor_has_the_form_of_a_recorded_one(reference: Path) -> None:
    # example B of ../shared/check-values.md 3.3: 0409:0058, class 9/0/1, bcdDevice 0100
    assert (reference / "check-values.md").exists()
    recorded = bytes.fromhex("12010002090001400904580000010102000109021900010100E032")
    identity = UsbIdentity(0x0409, 0x0058, 9, "", "", "")
    ours = identity.descriptors()
    for field in (slice(0, 5), slice(7, 14), slice(17, 20)):
        assert ours[field] == recorded[field]
    assert identity.product_key == "409/58/100"
    assert identity.type_key.startswith("9/0/")


def test_keys_have_the_form_of_recorded_ones(reference: Path) -> None:
    # a recorded camera: ../shared/data/usb/canon-powershot-sx200.umockdev
    recorded: dict[str, str] = {}
    for line in (reference / "data" / "usb" / "canon-powershot-sx200.umockdev").read_text(encoding="utf-8").split("\n"):
        if not line:
            break
        if line.startswith("E: "):
            key, _, value = line[3:].partition("=")
            recorded[key] = value
    identity = UsbIdentity(0x04A9, 0x31C0, 0, "", "", "", revision_bcd=0x0002)
    keys = device_keys(identity, 11)
    for key in ("MAJOR", "MINOR", "DEVTYPE", "PRODUCT", "TYPE", "BUSNUM", "DEVNUM"):
        assert keys[key] == recorded[key]
    assert f"/dev/{keys['DEVNAME']}" == recorded["DEVNAME"]


def test_a_uevent_is_in_the_kernels_form(family: DeviceFamily) -> None:
    identity = UsbIdentity.of(family, LOADER, seed=1)
    message = uevent("add", DEVICE_PATH, device_keys(identity, 5), 77)
    assert message.endswith(b"\0\0")
    head, *fields, last, end = message.decode().split("\0")
    assert head == f"add@{DEVICE_PATH}"
    assert last == end == ""
    keys = dict(field.split("=", 1) for field in fields)
    assert keys["ACTION"] == "add"
    assert keys["DEVPATH"] == DEVICE_PATH
    assert keys["SUBSYSTEM"] == "usb"
    assert keys["PRODUCT"] == "1209/a01/100"
    assert keys["TYPE"] == "255/0/0"
    assert keys["DEVNUM"] == "005"
    assert keys["SEQNUM"] == "77"
    assert interface_keys(identity)["INTERFACE"] == "255/0/0"


def test_sysfs_has_the_attributes_while_the_device_is_there(tmp_path: Path, family: DeviceFamily) -> None:
    sysfs = UsbSysfs(tmp_path / "sysfs")
    sysfs.add(UsbIdentity.of(family, LOADER, seed=42), 7)
    folder = tmp_path / "sysfs" / DEVICE_PATH.lstrip("/")
    read = {file.name: file.read_bytes() for file in folder.iterdir() if file.is_file()}
    expected = {
        "idVendor": "1209",
        "idProduct": "0a01",
        "bcdDevice": "0100",
        "bDeviceClass": "ff",
        "busnum": "1",
        "devnum": "7",
        "speed": "480",
        "bMaxPower": "500mA",
        "serial": "QM000042",
        "product": "quayhand loader",
    }
    assert {name: read[name].decode() for name in expected} == {name: f"{value}\n" for name, value in expected.items()}
    assert len(read["descriptors"]) == 18 + 32
    listed = {link.name: link.resolve() for link in (tmp_path / "sysfs/bus/usb/devices").iterdir()}
    assert listed == {"1-2": folder.resolve(), "1-2:1.0": (folder / "1-2:1.0").resolve()}
    sysfs.remove()
    assert not folder.exists()
    assert not list((tmp_path / "sysfs/bus/usb/devices").iterdir())


def test_the_kernels_log_has_its_records_in_order(tmp_path: Path, family: DeviceFamily) -> None:
    file = tmp_path / "kernel-log"
    log = KernelLog(file)
    log.failed(1.5, (4, 5))
    log.attached(2.0, 6, UsbIdentity.of(family, LOADER, seed=1))
    log.detached(3.0, 6)
    records = [line for line in file.read_text(encoding="utf-8").splitlines() if not line.startswith(" ")]
    heads = [record.split(";", 1)[0].split(",") for record in records]
    assert [int(head[1]) for head in heads] == list(range(1000, 1000 + len(records)))
    assert heads[0][0] == "6"
    assert heads[0][2:] == ["1500000", "-"]
    texts = [record.split(";", 1)[1] for record in records]
    assert texts[1] == "usb 1-2: device descriptor read/64, error -71"
    assert "usb usb1-port2: unable to enumerate USB device" in texts
    assert "usb 1-2: New USB device found, idVendor=1209, idProduct=0a01, bcdDevice= 1.00" in texts
    assert texts[-1] == "usb 1-2: USB disconnect, device number 6"
    assert records[1].startswith("3,")


def test_detaching_names_what_was_attached(lab: Any) -> None:
    bench = booted(lab())
    bench.run(2)
    attached, detached = bench.usb
    assert isinstance(attached, UsbAttach)
    assert isinstance(detached, UsbDetach)
    assert attached.mode == detached.mode
