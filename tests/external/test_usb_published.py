"""The USB decoder against recordings and texts that others published."""

import csv

import pytest

from wakerail_plugins.usb_watcher.device import decode_descriptor, device_of
from wakerail_plugins.usb_watcher.kernel_log import parse_record


def test_a_recorded_root_hub():
    """USB 2.0 table 9-8 against a recorded descriptor (martinpitt/umockdev @39f785a74e, devices/cameras)."""
    read = decode_descriptor(bytes.fromhex("12 01 00 02 09 00 00 40 6B 1D 02 00 05 03 03 02 01 01"))
    assert (read.usb_bcd, read.device_class, read.max_packet_size) == (0x0200, 9, 64)
    assert (read.vendor_id, read.product_id, read.revision_bcd) == (0x1D6B, 0x0002, 0x0305)
    assert (read.maker_string, read.product_string, read.serial_string, read.configurations) == (3, 2, 1, 1)


def test_a_recorded_hub():
    """The same source; a big-endian reader would see 0904:5800."""
    data = bytes.fromhex("12 01 00 02 09 00 01 40 09 04 58 00 00 01 01 02 00 01")
    read = decode_descriptor(data)
    assert (read.vendor_id, read.product_id, read.revision_bcd) == (0x0409, 0x0058, 0x0100)
    assert (read.device_class, read.device_protocol) == (9, 1)
    assert (read.maker_string, read.product_string, read.serial_string, read.configurations) == (1, 2, 0, 1)
    # its uevent, as recorded: hex without leading zeros, class in decimal
    told = device_of({"PRODUCT": "409/58/100", "TYPE": "9/0/1", "DEVNUM": "020"})
    assert told == device_of({"DEVNUM": "020"}, data)
    assert told is not None
    assert told.is_hub


def recorded_devices(file):
    """Yield (properties, text attributes, descriptors) of each USB device of a recording."""
    for block in file.read_text().split("\n\n"):
        properties, attributes, descriptors = {}, {}, b""
        for line in block.splitlines():
            sort, _, rest = line.partition(": ")
            key, _, value = rest.partition("=")
            if sort == "E":
                properties[key] = value
            elif sort == "A":
                attributes[key] = value.removesuffix("\\n")
            elif sort == "H" and key == "descriptors":
                descriptors = bytes.fromhex(value)
        if properties.get("DEVTYPE") == "usb_device":
            yield properties, attributes, descriptors


@pytest.mark.parametrize("name", ["phone_mtp.umockdev", "canon-powershot-sx200.umockdev"])
def test_descriptor_texts_and_uevent_of_real_devices_agree(reference, name):
    """Three independent statements of the kernel about each recorded device give the same identity."""
    devices = list(recorded_devices(reference / "data" / "usb" / name))
    assert devices
    for properties, attributes, descriptors in devices:
        binary = device_of({}, descriptors)
        texts = device_of({}, b"", {key: attributes[key] for key in attributes if key != "devnum"})
        uevent = device_of({key: properties[key] for key in ("PRODUCT", "TYPE")})
        assert binary is not None
        assert binary == uevent
        assert texts is not None
        assert texts.is_same_enumeration(binary)
        assert device_of(properties, descriptors, attributes).number == int(attributes["devnum"])


def test_a_recorded_phone(reference):
    """Vendor, product and speed as the recording's own table of truth gives them."""
    properties, attributes, descriptors = next(recorded_devices(reference / "data" / "usb" / "phone_mtp.umockdev"))
    phone = device_of(properties, descriptors, attributes)
    assert phone is not None
    assert (phone.vendor_id, phone.product_id, phone.speed_mbit_s) == (0x0FCE, 0x0166, 480.0)
    assert (phone.maker, phone.product) == (attributes["manufacturer"], attributes["product"])
    assert phone.maker
    assert phone.product
    assert not phone.is_hub


def test_connects_that_never_enumerate_are_attempts_and_no_devices(reference):
    """A recorded log of seven connects and no device: seven announced attempts on one port."""
    with (reference / "data" / "usb" / "connect_only_never_found_17s.csv").open() as rows:
        connects = [row for row in csv.DictReader(rows) if row["event"] == "connect"]
    lines = [
        f"6,{number},{float(row['t_s']) * 1e6:.0f},-;usb {row['bus_path']}: new full-speed USB device number "
        f"{row['device_number']} using xhci_hcd"
        for number, row in enumerate(connects)
    ]
    records = [parse_record(line) for line in lines]
    assert [(record.path, record.failed) for record in records if record is not None] == [("3-2", False)] * 7
