"""Other people's recordings, with the truth that their publishers or a careful eye gave.

Sources, licences and truths: ../shared/data/current/README.md and ../shared/data/usb/README.md.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from msgspec import structs

from wakerail.analysis.reading import BootReading
from wakerail.analysis.seen import Onset, Restart, Seen
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail.recordings.usb_log import read_usb_log
from wakerail_kit.events import UsbAttached
from wakerail_kit.outcome import Finding, Outcome


def read(file: Path) -> list[dict[str, str]]:
    if not file.exists():
        pytest.skip(f"the recording {file.name} is not here")
    with file.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def watch_current(file: Path, size: int, column: str = "current_a") -> tuple[BootReader, list[Seen], float]:
    """Read a recording with the default settings: nothing is known of the device beforehand."""
    rows = read(file)
    t_s = np.array([float(row["t_s"]) for row in rows])
    level = np.array([float(row[column]) for row in rows])
    reader, seen = BootReader(ReaderSettings()), []
    for at in range(0, len(rows), size):
        seen += reader.take(t_s[at : at + size], level[at : at + size])
    return reader, seen, float(t_s[-1])


@pytest.fixture(name="current")
def _current(reference: Path) -> Path:
    return reference / "data" / "current"


@pytest.mark.parametrize("size", [1, 512])
def test_reset_of_a_sensor_board_is_one_restart(current, size):
    # srijith1996/zolertia-remote-power-profile, alloff-waveform-after-reset: falls at 0.03 s, boots at 0.20 s
    reader, _, end_s = watch_current(current / "mcu_reset_once_a.csv", size)
    (restart,) = reader.finish(end_s).restarts
    assert restart.at_s == pytest.approx(0.03, abs=0.01)
    assert restart.again_s == pytest.approx(0.20, abs=0.01)


def test_radio_wake_bursts_are_neither_boots_nor_restarts(current):
    # the same source, cmac-on-waveform: 7 bursts of 2 to 5 ms
    reader, seen, end_s = watch_current(current / "mcu_radio_duty_cycle_no_restart.csv", 256)
    assert seen == []
    assert reader.finish(end_s).restarts == ()


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


@pytest.mark.parametrize("name", ["router_load_phases_no_restart", "phone_5g_download_no_restart"])
def test_load_and_coverage_are_no_restarts(current, name):
    # MrCodeEU/jku-master-project-network-devices-power-consumption-analysis (0.2 Hz), SIGCOMM21-5G/artifact (1 Hz)
    reader, seen, end_s = watch_current(current / f"{name}.csv", 64, "power_w")
    reading = reader.finish(end_s)
    assert [one for one in seen if isinstance(one, Restart)] == []
    assert reading.restarts == ()
    assert reading.outcome is Outcome.INCONCLUSIVE
    assert "5 samples a second" in reading.says


def test_power_cycles_of_a_heater_over_a_day_are_an_onset_and_eight_restarts(current):
    # lucianoinso/smartplug-monitor, logs/sample.csv: about 1 Hz over 24 h, on and off by a threshold of 700 W
    reader, seen, end_s = watch_current(current / "heater_thermostat_cycles.csv", 512, "power_w")
    reading = reader.finish(end_s)
    assert isinstance(seen[0], Onset)
    assert seen[0].at_s == pytest.approx(7225, abs=2)
    on_s = [16092, 25347, 27515, 29199, 52616, 60215, 77753, 81820]
    off_s = [8009, 16909, 26125, 28652, 42390, 53419, 69666, 78489]
    assert [one.again_s for one in reading.restarts] == pytest.approx(on_s, abs=2)
    assert [one.at_s for one in reading.restarts] == pytest.approx(off_s, abs=2)


def watch_usb(file: Path, modes: Sequence[str] = ()) -> tuple[BootReading, list[Seen]]:
    """Play a kernel's log; ``modes`` are the product ids in the order of a boot, where that is known."""
    read(file)
    reader, seen, end_s = BootReader(ReaderSettings()), [], 0.0
    for told in read_usb_log(file).events:
        event = told
        if isinstance(event, UsbAttached) and (mode := f"{event.product_id:04x}") in modes:
            event = structs.replace(event, mode=mode, mode_order=modes.index(mode), last_order=len(modes) - 1)
        seen += reader.take_usb(event)
        end_s = event.at_s
    return reader.finish(end_s), seen


@pytest.mark.parametrize(
    ("name", "modes", "restarts"),
    [
        # raspberrypi/usbboot pull 9: one wanted boot in three stages
        ("staged_boot_three_ids_not_a_loop", ("2763", "2764", "0001"), 0),
        ("staged_boot_three_ids_not_a_loop", (), 0),
        # Proxmark/proxmark3 issue 785: connects every 17 s, never enumerates; not a proven restart
        ("connect_only_never_found_17s", (), 0),
        # M0Rf30/android-udev-rules issue 194: one wanted reboot into the bootloader, under a new identity
        ("phone_normal_then_fastboot", ("d00d", "4ee7"), 1),
        ("phone_normal_then_fastboot", (), 0),
        # omnirom/android_bootable_recovery issue 194 and wilbowes/EchoMuse issue 79: loops under one identity
        ("loop_1s_android_recovery", (), 5),
        ("loop_6s_reset_then_disconnect", (), 2),
    ],
)
def test_usb_logs(reference, name, modes, restarts):
    reading, seen = watch_usb(reference / "data" / "usb" / f"{name}.csv", modes)
    assert len([one for one in seen if isinstance(one, Restart)]) == restarts
    assert len(reading.restarts) == restarts
    assert reading.finding is (Finding.RESTARTING if restarts else Finding.TOO_LITTLE_DATA)


@pytest.mark.parametrize(
    ("name", "every_s", "sure"),
    [("loop_1s_android_recovery", 1.14, 0.98), ("loop_6s_reset_then_disconnect", 6.05, 0.85)],
)
def test_a_loop_told_by_usb_alone_is_the_surer_the_longer_it_goes_on(reference, name, every_s, sure):
    reading, seen = watch_usb(reference / "data" / "usb" / f"{name}.csv")
    assert 0.5 < seen[0].probability < 0.8
    assert min(restart.probability for restart in reading.restarts) > sure
    assert reading.cadence.median_s == pytest.approx(every_s, rel=0.01)
