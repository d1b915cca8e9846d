"""Other people's recordings, with the truth that their publishers or a careful eye gave.

Sources, licences and truths: ../shared/data/current/README.md and ../shared/data/usb/README.md.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from wakerail.analysis.seen import Onset, Restart, Seen
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail_kit.events import UsbAttached, UsbDetached, UsbEnumerationFailed
from wakerail_kit.messages import Frame
from wakerail_kit.outcome import Outcome


def read(file: Path) -> list[dict[str, str]]:
    if not file.exists():
        pytest.skip(f"the recording {file.name} is not here")
    with file.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def watch_current(file: Path, size: int) -> tuple[BootReader, list[Seen], float]:
    """Read a recording with the default settings: nothing is known of the device beforehand."""
    rows = read(file)
    reader, seen = BootReader(ReaderSettings()), []
    for number, at in enumerate(range(0, len(rows), size), 1):
        part = rows[at : at + size]
        frame = Frame(
            bench="b",
            instrument="supply",
            number=number,
            start="2026-01-01T00:00:00Z",
            t_s=[float(row["t_s"]) for row in part],
            half_width_s=[0.0] * len(part),
            signals={"current": [float(row["current_a"]) for row in part]},
            units={"current": "A"},
        )
        seen += reader.take_frame(frame)
    return reader, seen, float(rows[-1]["t_s"])


@pytest.fixture(name="current")
def _current(reference: Path) -> Path:
    return reference / "data" / "current"


@pytest.mark.parametrize("size", [1, 512])
def test_reset_of_a_sensor_board_is_one_restart(current, size):
    # srijith1996/zolertia-remote-power-profile, alloff-waveform-after-reset: falls at 0.03 s, boots at 0.20 s
    _, seen, _ = watch_current(current / "mcu_reset_once_a.csv", size)
    (restart,) = seen
    assert isinstance(restart, Restart)
    assert restart.at_s == pytest.approx(0.03, abs=0.01)
    assert restart.again_s == pytest.approx(0.20, abs=0.01)


def test_radio_wake_bursts_are_neither_boots_nor_restarts(current):
    # the same source, cmac-on-waveform: 7 bursts of 2 to 5 ms
    _, seen, _ = watch_current(current / "mcu_radio_duty_cycle_no_restart.csv", 256)
    assert seen == []


@pytest.mark.parametrize(("name", "rise_s"), [("modem_power_on_once", 2.75), ("modem_power_on_once_b", 1.1)])
def test_power_on_of_a_modem_is_one_onset_whatever_it_sends(current, name, rise_s):
    # guusleenders/NB-IoT-Power-Measurements: boot from 2.75 s by the authors, 1.1 s by eye in the second run.
    # Their meter falls to nothing between pulses, so the rise is sure only from a sample after which it stays up.
    reader, seen, end_s = watch_current(current / f"{name}.csv", 10)
    (onset,) = seen
    assert isinstance(onset, Onset)
    assert onset.at_s == pytest.approx(rise_s, abs=0.2)
    assert reader.finish(end_s).outcome is Outcome.PASSED


def test_cold_boot_of_a_software_radio_is_one_onset(current):
    # lab11/uSDR, usdr_coldboot: supply on at 0.030 s, loading at 0.081 A, ready at 0.289 s; a third of a second long
    reader, seen, end_s = watch_current(current / "sdr_cold_boot_quarter_second.csv", 1000)
    (onset,) = seen
    assert isinstance(onset, Onset)
    assert onset.at_s == pytest.approx(0.030, abs=0.001)
    assert onset.level_a == pytest.approx(0.081, abs=0.002)
    assert reader.finish(end_s).outcome is Outcome.INCONCLUSIVE


def watch_usb(file: Path, orders: dict[str, int]) -> tuple[BootReader, list[Seen]]:
    """Play a kernel log's rows as our watcher would tell them: enumerated, left, or come without enumerating."""
    rows = read(file)
    reader, seen, failures = BootReader(ReaderSettings()), [], 0
    found = {row["t_s"] for row in rows if row["event"] == "found"}
    for row, after in zip(rows, [*rows[1:], None], strict=True):
        at_s, path = float(row["t_s"]), row["bus_path"]
        if row["event"] == "found":
            order = orders.get(row["pid"])
            ids = {"vendor_id": int(row["vid"], 16), "product_id": int(row["pid"], 16), "device_class": 0}
            event = UsbAttached(instrument="usb", at_s=at_s, path=path, mode=row["pid"], mode_order=order, **ids)
        elif row["event"] == "disconnect":
            event = UsbDetached(instrument="usb", at_s=at_s, path=path)
        elif row["event"] == "connect" and (after is None or after["t_s"] not in found):
            failures += 1
            event = UsbEnumerationFailed(instrument="usb", at_s=at_s, path=path, count=failures)
        else:
            continue
        seen += reader.take_usb(event)
    return reader, seen


def returns(reader: BootReader) -> float:
    measured = {measurement.name: measurement.value for measurement in reader.finish(1000.0).measurements}
    return measured.get("usb-returns") or 0


@pytest.mark.parametrize(
    ("name", "orders", "restarts", "same_returns"),
    [
        # raspberrypi/usbboot pull 9: one wanted boot in three stages
        ("staged_boot_three_ids_not_a_loop", {"2763": 0, "2764": 1, "0001": 2}, 0, 0),
        # Proxmark/proxmark3 issue 785: connects every 17 s, never enumerates; not a proven restart
        ("connect_only_never_found_17s", {}, 0, 0),
        # M0Rf30/android-udev-rules issue 194: one wanted reboot into the bootloader
        ("phone_normal_then_fastboot", {"d00d": 0, "4ee7": 1}, 1, 0),
        # omnirom/android_bootable_recovery issue 194 and wilbowes/EchoMuse issue 79: returns that show no mode
        ("loop_1s_android_recovery", {}, 0, 5),
        ("loop_6s_reset_then_disconnect", {}, 0, 2),
    ],
)
def test_usb_logs(reference, name, orders, restarts, same_returns):
    reader, seen = watch_usb(reference / "data" / "usb" / f"{name}.csv", orders)
    assert len(seen) == restarts
    assert returns(reader) == same_returns


@pytest.mark.xfail(
    reason="USB alone, under the same identity each time, is no proof to the plain detector", strict=True
)
@pytest.mark.parametrize(("name", "restarts"), [("loop_1s_android_recovery", 5), ("loop_6s_reset_then_disconnect", 2)])
def test_a_loop_told_by_usb_alone_under_one_identity(reference, name, restarts):
    _, seen = watch_usb(reference / "data" / "usb" / f"{name}.csv", {})
    assert len(seen) == restarts
