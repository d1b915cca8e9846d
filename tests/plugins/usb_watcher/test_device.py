"""The decoder: descriptor, sysfs texts and uevent properties give one device."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail_plugins.usb_watcher.device import UsbDevice, decode_descriptor, device_of

byte = st.integers(0, 0xFF)
word = st.integers(0, 0xFFFF)


@given(st.tuples(word, byte, byte, byte, byte, word, word, word, byte, byte, byte, byte), st.binary(max_size=40))
def test_any_descriptor_is_read_back_whatever_follows_it(fields, configurations):
    """Packed by the table's layout, every field comes back; the configurations behind it do not matter."""
    packed = struct.pack("<BBHBBBBHHHBBBB", 18, 1, *fields)
    read = decode_descriptor(packed + configurations)
    assert (
        read.usb_bcd,
        read.device_class,
        read.device_subclass,
        read.device_protocol,
        read.max_packet_size,
        read.vendor_id,
        read.product_id,
        read.revision_bcd,
        read.maker_string,
        read.product_string,
        read.serial_string,
        read.configurations,
    ) == fields


@given(st.binary(max_size=64).filter(lambda data: data[:2] != b"\x12\x01" or len(data) < 18))
def test_what_is_no_device_descriptor_is_refused(data):
    """Too few bytes, another length byte or another type are refused in words."""
    with pytest.raises(ValueError, match="device descriptor"):
        decode_descriptor(data)


TEXTS = {
    "idVendor": "1209",
    "idProduct": "0003",
    "bcdDevice": "0102",
    "bDeviceClass": "ef",
    "speed": "480",
    "devnum": "7",
    "serial": "FT3-0042",
    "manufacturer": "Fenmoor",
    "product": "T3",
}
DESCRIPTOR = bytes.fromhex("12 01 00 02 EF 02 01 40 09 12 03 00 02 01 01 02 03 01")
WHOLE = UsbDevice(
    vendor_id=0x1209,
    product_id=3,
    device_class=0xEF,
    revision_bcd=0x0102,
    speed_mbit_s=480.0,
    number=7,
    serial="FT3-0042",
    maker="Fenmoor",
    product="T3",
)


@pytest.mark.parametrize("descriptors", [DESCRIPTOR, b"", DESCRIPTOR[:9]])
def test_the_texts_stand_in_for_a_descriptor_that_cannot_be_read(descriptors):
    """Binary descriptor or text attributes: the same device."""
    assert device_of({}, descriptors, TEXTS) == WHOLE


def test_a_uevent_alone_names_the_device():
    """PRODUCT is hex without leading zeros, TYPE and DEVNUM are decimal."""
    device = device_of({"PRODUCT": "1209/3/102", "TYPE": "239/2/1", "DEVNUM": "007"})
    assert device == UsbDevice(vendor_id=0x1209, product_id=3, device_class=0xEF, revision_bcd=0x0102, number=7)


def test_a_uevent_about_a_device_that_made_way_for_the_next_is_believed():
    """When the folder already shows the next boot stage, the event's own identity counts, without its strings."""
    device = device_of({"PRODUCT": "1209/1/102", "TYPE": "255/0/0", "DEVNUM": "006"}, DESCRIPTOR, TEXTS)
    assert device == UsbDevice(vendor_id=0x1209, product_id=1, device_class=0xFF, revision_bcd=0x0102, number=6)


def test_nothing_known_gives_no_device():
    """A device without descriptor, texts and PRODUCT is not made up."""
    assert device_of({"DEVTYPE": "usb_device"}) is None


def test_control_characters_of_a_device_do_not_pass():
    """A device's strings reach terminals and logs; escape sequences and line ends are taken out."""
    device = device_of({}, b"", TEXTS | {"serial": "A\x1b[31mB\nC"})
    assert device is not None
    assert device.serial == "A [31mB C"


@pytest.mark.parametrize(("text", "speed_mbit_s"), [("1.5", 1.5), ("12", 12.0), ("20000", 20000.0), ("unknown", None)])
def test_speed_is_in_megabit_per_second(text, speed_mbit_s):
    """The sysfs text is taken as a number; before the speed is settled there is none."""
    device = device_of({}, DESCRIPTOR, {"speed": text})
    assert device is not None
    assert device.speed_mbit_s == speed_mbit_s


@given(
    st.dictionaries(st.sampled_from(["PRODUCT", "TYPE", "DEVNUM"]), st.text(max_size=20)),
    st.binary(max_size=20),
    st.dictionaries(st.sampled_from(list(TEXTS)), st.text(max_size=20)),
)
def test_garbage_never_raises(properties, descriptors, texts):
    """Whatever a host or device says, the answer is a device or None."""
    assert isinstance(device_of(properties, descriptors, texts), UsbDevice | None)
