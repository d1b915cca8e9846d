"""From devices that come and go to events."""

from wakerail_kit.events import UsbAttached, UsbDetached, UsbEnumerationFailed
from wakerail_kit.families import DeviceFamily, UsbMode
from wakerail_plugins.usb_watcher.bus import UsbBus
from wakerail_plugins.usb_watcher.device import UsbDevice

FAMILY = DeviceFamily(
    "test-family",
    "",
    3.85,
    (UsbMode("loader", 0, 0x1209, 1, None), UsbMode("normal", 1, 0x1209, 3, None)),
)
LOADER = UsbDevice(vendor_id=0x1209, product_id=1, device_class=0xFF, number=5)
NORMAL = UsbDevice(vendor_id=0x1209, product_id=3, device_class=0xEF, number=6, serial="42")
HUB = UsbDevice(vendor_id=0x1209, product_id=0x90, device_class=9, number=2)


def bus() -> UsbBus:
    return UsbBus("usb", (FAMILY,))


def test_a_boot_is_told_stage_by_stage():
    """Each stage attaches with its mode and the mode's place in the boot; each going names what went."""
    watched = bus()
    (first,) = watched.attach("1-2", LOADER, 1.0)
    (gone,) = watched.detach("1-2", 2.0)
    (second,) = watched.attach("1-2", NORMAL, 3.0)
    assert isinstance(first, UsbAttached)
    assert (first.family, first.mode, first.mode_order, first.at_s) == ("test-family", "loader", 0, 1.0)
    assert isinstance(gone, UsbDetached)
    assert (gone.mode, gone.vendor_id, gone.product_id, gone.at_s) == ("loader", 0x1209, 1, 2.0)
    assert isinstance(second, UsbAttached)
    assert (second.mode, second.mode_order, second.serial) == ("normal", 1, "42")


def test_a_stranger_attaches_without_a_mode():
    """What no family knows is reported all the same."""
    (event,) = bus().attach("1-2", UsbDevice(vendor_id=0x1209, product_id=0x77, device_class=0), 1.0)
    assert isinstance(event, UsbAttached)
    assert (event.family, event.mode, event.mode_order) == ("", "", None)


def test_what_was_present_is_silent_until_it_goes():
    """The baseline makes no attach, not even when its own uevent comes late; its removal is told with identity."""
    watched = bus()
    assert watched.start_from({"usb1": HUB, "1-2": NORMAL}) == 1
    assert watched.attach("1-2", NORMAL, 1.0) == []
    (gone,) = watched.detach("1-2", 2.0)
    assert isinstance(gone, UsbDetached)
    assert gone.product_id == 3


def test_an_add_over_a_known_path_means_it_went_in_between():
    """Another identity, or the same with a new number, is a detach and an attach."""
    watched = bus()
    watched.attach("1-2", LOADER, 1.0)
    changed = watched.attach("1-2", NORMAL, 2.0)
    again = watched.attach("1-2", UsbDevice(vendor_id=0x1209, product_id=3, device_class=0xEF, number=7), 3.0)
    assert [type(event) for event in changed + again] == [UsbDetached, UsbAttached, UsbDetached, UsbAttached]


def test_hubs_are_not_reported():
    """A hub that comes and goes makes no event."""
    watched = bus()
    assert watched.attach("1-1", HUB, 1.0) + watched.detach("1-1", 2.0) == []


def test_a_path_that_was_never_seen_goes_silently():
    """No identity, no event."""
    assert bus().detach("1-9", 1.0) == []


def test_a_device_that_nobody_could_identify_failed_to_enumerate():
    """It came and went too fast: counted on its port."""
    watched = bus()
    events = watched.attach("1-2", None, 1.0) + watched.attach("1-2", None, 2.0)
    assert [event.count for event in events if isinstance(event, UsbEnumerationFailed)] == [1, 2]
