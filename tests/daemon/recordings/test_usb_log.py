"""Logs of what a USB host saw."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from wakerail.recordings.usb_log import read_usb_log
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import UsbAttached, UsbDetached, UsbEnumerationFailed

HEADER = "t_s,event,bus_path,device_number,vid,pid,detail\n"


def told(log):
    """Return the events in short: time, what, path."""
    short = {UsbAttached: "attached", UsbDetached: "detached", UsbEnumerationFailed: "failed"}
    return [(event.at_s, short[type(event)], event.path) for event in log.events]


def test_a_connect_that_is_found_is_one_device(file):
    log = read_usb_log(file(HEADER + "0,connect,1-2,7,,,\n0.25,found,1-2,,1209,d00f,\n3,disconnect,1-2,7,,,\n"))
    assert told(log) == [(0.25, "attached", "1-2"), (3.0, "detached", "1-2")]
    assert (log.events[0].vendor_id, log.events[0].product_id) == (0x1209, 0xD00F)
    assert log.read_as == "USB: comma, header; time from 't_s' in s, 3 rows"


def test_a_connect_that_is_never_found_is_a_failure_at_its_time(file):
    rows = "0,connect,1-2,7,,,\n1,connect,1-2,8,,,\n2,disconnect,1-2,8,,,\n2.5,connect,1-2,9,,,\n"
    log = read_usb_log(file(HEADER + rows))
    assert told(log) == [
        (0.0, "failed", "1-2"),
        (1.0, "failed", "1-2"),
        (2.0, "detached", "1-2"),
        (2.5, "failed", "1-2"),
    ]
    assert [event.count for event in log.events if isinstance(event, UsbEnumerationFailed)] == [1, 2, 3]


def test_ports_are_followed_apart(file):
    rows = "0,connect,1-2,7,,,\n0.1,connect,1-3,8,,,\n0.2,found,1-2,,1209,1,\n0.3,disconnect,1-3,8,,,\n"
    assert told(read_usb_log(file(HEADER + rows))) == [
        (0.1, "failed", "1-3"),
        (0.2, "attached", "1-2"),
        (0.3, "detached", "1-3"),
    ]


def test_errors_of_one_attempt_are_one_failure(file):
    rows = "0,connect,1-2,7,,,\n0.5,enumeration-error,1-2,,,,\n0.9,enumeration-error,1-2,,,,\n4,connect,1-2,8,,,\n"
    assert told(read_usb_log(file(HEADER + rows))) == [(0.0, "failed", "1-2"), (4.0, "failed", "1-2")]
    alone = read_usb_log(file(HEADER + "1,enumeration-error,1-2,,,,\n"))
    assert told(alone) == [(1.0, "failed", "1-2")]


def test_a_reset_says_nothing(file):
    rows = "0,found,1-2,,1209,1,\n5,reset,1-2,7,,,\n"
    assert told(read_usb_log(file(HEADER + rows))) == [(0.0, "attached", "1-2")]


def test_civil_times_count_from_the_trace_where_there_is_one(file):
    rows = "time;event;bus_path\n2026-11-25T10:15:02Z;connect;1-2\n2026-11-25 11:15:03.5+01:00;disconnect;1-2\n"
    assert told(read_usb_log(file(rows))) == [(0.0, "failed", "1-2"), (1.5, "detached", "1-2")]
    begins = datetime(2026, 11, 25, 10, 15, tzinfo=UTC)
    assert told(read_usb_log(file(rows), begins, beside_trace=True))[0] == (2.0, "failed", "1-2")


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (HEADER + "0,conect,1-2,7,,,\n", "trace.csv:2: unknown event 'conect'; did you mean 'connect'?"),
        (
            HEADER + "0,found,1-2,7,12x9,1,\n",
            "trace.csv:2: vid '12x9' is no USB id; write four hex digits, like '1209'",
        ),
        (HEADER + "0,found,1-2,7,,1,\n", "trace.csv:2: vid '' is no USB id"),
        (HEADER + "1,reset,1-2,7,,,\n0.5,reset,1-2,7,,,\n", "trace.csv:3: time goes back, from 1 s to 0.5 s; sort"),
        (HEADER + "1,reset,1-2,7,,,\n2,reset\n", "trace.csv:3: 2 cells where the header has 7"),
        (HEADER + "1,reset,1-2,7,,,\nsoon,reset,1-2,7,,,\n", "trace.csv:3: 'soon' is no time that fits here"),
        ("t_s,bus_path\n1,1-2\n", "trace.csv:1: no column 'event'; a header like 't_s,event,bus_path"),
    ],
)
def test_a_wrong_row_is_one_line_with_its_place(file, rows, says):
    with pytest.raises(ConfigInvalid) as wrong:
        read_usb_log(file(rows))
    (line,) = wrong.value.problems
    assert line[line.index("trace.") :].startswith(says)


def test_a_civil_log_does_not_go_with_a_trace_of_plain_seconds(file):
    rows = "time;event;bus_path\n2026-11-25T10:15:02Z;connect;1-2\n"
    with pytest.raises(ConfigInvalid, match="both need one scale of time"):
        read_usb_log(file(rows), None, beside_trace=True)
    with pytest.raises(ConfigInvalid, match="no time that fits here"):
        read_usb_log(file(HEADER + "0,reset,1-2,7,,,\n"), datetime(2026, 11, 25, tzinfo=UTC), beside_trace=True)


# ../shared/data/usb/README.md: connects, disconnects and founds counted by hand in kernel logs of public issue threads
@pytest.mark.parametrize(
    ("name", "attached", "detached", "failed"),
    [
        ("loop_1s_android_recovery", 0, 6, 6),
        ("loop_6s_reset_then_disconnect", 3, 2, 0),
        ("staged_boot_three_ids_not_a_loop", 3, 3, 0),
        ("connect_only_never_found_17s", 0, 0, 7),
        ("phone_normal_then_fastboot", 2, 0, 0),
    ],
)
def test_recorded_logs(reference, name, attached, detached, failed):
    path = reference / "data" / "usb" / f"{name}.csv"
    if not path.exists():
        pytest.skip(f"the recording {path.name} is not here")
    whats = [what for _, what, _ in told(read_usb_log(path))]
    assert [whats.count(what) for what in ("attached", "detached", "failed")] == [attached, detached, failed]
