"""Failed enumerations, from the kernel's words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail_plugins.usb_watcher.kernel_log import EnumerationRecord, FailureCounter, KernelLog, parse_record


@pytest.mark.parametrize(
    ("line", "path", "says"),
    [
        (
            "3,1234,567890,-;usb 1-2: device descriptor read/64, error -71",
            "1-2",
            "device descriptor read/64, error -71",
        ),
        (
            "3,1235,567999,-;usb 3-1.4.2: device not accepting address 7, error -71",
            "3-1.4.2",
            "device not accepting address 7, error -71",
        ),
        ("3,9,1,-;usb usb1-port2: unable to enumerate USB device", "1-2", "unable to enumerate USB device"),
        ("3,9,1,-;usb 1-1-port3: unable to enumerate USB device", "1-1.3", "unable to enumerate USB device"),
        (
            "3,9,1,-;usb 2-1.4-port1: cannot enable. Maybe the USB cable is bad?",
            "2-1.4.1",
            "cannot enable. Maybe the USB cable is bad?",
        ),
        (
            "3,9,1,c,caller=T7;usb 1-2: device descriptor read/all, error -110",
            "1-2",
            "device descriptor read/all, error -110",
        ),
    ],
)
def test_a_failure_is_put_to_its_port(line, path, says):
    """Device and port records name the same place in the same way."""
    assert parse_record(line) == EnumerationRecord(path, failed=True, says=says)


@pytest.mark.parametrize(
    "line",
    [
        " SUBSYSTEM=usb",
        "6,1,2,-;usb 1-2: USB disconnect, device number 5",
        "6,1,2,-;usb 1-2: Product: unable to enumerate USB device",
        "12,1,2,-;usb 1-2: device descriptor read/64, error -71",  # a program's record, not the kernel's
        "usb 1-2: device descriptor read/64, error -71",
        "",
    ],
)
def test_other_records_are_left_alone(line):
    """Continuation lines, device strings and what other programs write are no failures."""
    assert parse_record(line) is None


@given(st.text(max_size=200))
def test_any_line_can_be_read(line):
    """No line raises."""
    assert parse_record(line) is None or parse_record(line).path


def counts(lines):
    counter = FailureCounter()
    return [counter.count(record) for record in map(parse_record, lines) if record is not None]


def test_one_attempt_said_in_several_lines_counts_once():
    """The kernel retries within an attempt and sums up at the end; each announced attempt that failed counts once."""
    attempt = [
        "6,1,1,-;usb 1-2: new full-speed USB device number {} using xhci_hcd",
        "3,2,2,-;usb 1-2: device descriptor read/64, error -71",
        "3,3,3,-;usb 1-2: device descriptor read/64, error -71",
    ]
    lines = [line.format(number) for number in (5, 6) for line in attempt]
    lines.append("3,9,9,-;usb usb1-port2: unable to enumerate USB device")
    assert counts(lines) == [None, 1, None, None, 2, None, None]


def test_without_the_announcement_each_line_counts():
    """A log that only has the errors still counts them, each port on its own."""
    lines = ["3,2,2,-;usb usb1-port2: unable to enumerate USB device"] * 2
    lines.append("3,2,2,-;usb usb1-port3: unable to enumerate USB device")
    assert counts(lines) == [1, 2, 1]


def test_an_attempt_that_worked_counts_nothing():
    """A new device that no failure follows is no failure."""
    assert counts(["6,1,1,-;usb 1-2: new high-speed USB device number 5 using xhci_hcd"] * 3) == [None] * 3


def test_the_log_is_followed_from_its_end(tmp_path):
    """What was written before is old news; half a line waits for its other half."""
    file = tmp_path / "kmsg"
    file.write_text("3,1,1,-;usb 1-2: device descriptor read/64, error -71\n")
    log = KernelLog(file)
    assert log.read() == []
    with file.open("a") as writer:
        writer.write("3,2,2,-;usb usb1-port4: unable to enu")
        writer.flush()
        assert log.read() == []
        writer.write("merate USB device\n SUBSYSTEM=usb\n")
        writer.flush()
        assert [record.path for record in log.read()] == ["1-4"]
    log.close()
    log.close()
