from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from wakerail_kit.clock import SimulatedClock
from wakerail_kit.errors import ConfigInvalid, DeviceUnavailable
from wakerail_kit.families import DeviceFamily
from wakerail_sim.bench import SimSettings, SimulatedBench
from wakerail_sim.hands import tell


@pytest.fixture
def folder(tmp_path: Path, family: DeviceFamily) -> Iterator[Path]:
    with SimulatedBench(SimSettings(tmp_path / "bench", family), SimulatedClock()):
        yield tmp_path / "bench"


@pytest.mark.parametrize(
    "line",
    [
        "press power-button",
        "clean port",
        "unplug scanner",
        "unplug plate",
        "unplug usb",
        "replace scanner",
        "switch-off supply",
        "switch-on supply",
        "switch-off plate",
        "hang supply 5 s",
        "hang supply 500ms",
        "garble supply 3",
        "garble meter 3",
        "clip port",
        "clip battery",
        "probe together",
        "probe off",
        "probe ground ground",
        "slow supply 300 ms",
        "  press   power-button  ",
    ],
)
def test_a_line_that_can_be_done_is_answered_ok(folder: Path, line: str) -> None:
    assert tell(folder, line) == "ok"


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("", "known: press"),
        ("pres power-button", "did you mean 'press'?"),
        ("press", "write it like 'press power-button'"),
        ("press enter", "write 'power-button'"),
        ("clean keypad", "write 'port'"),
        ("clean boards", "no stacked boards"),
        ("clip cell", "known here: battery, port"),
        ("probe display.3", "no connector 'display'"),
        ("probe", "write it like 'probe display.3'"),
        ("probe a b c", "write it like 'probe display.3'"),
        ("unplug", "unplug <part or instrument>"),
        ("unplug The Scanner", "unplug <part or instrument>"),
        ("unplug Scanner", "lower-case"),
        ("replug scanner", "not unplugged"),
        ("replace plate", "no part of the device"),
        ("switch-off suply", "did you mean 'supply'?"),
        ("hang supply", "hang supply 5 s"),
        ("hang supply 5", "no unit"),
        ("hang supply 5 V", "not a time"),
        ("hang supply -1 s", "negative"),
        ("garble supply many", "garble supply 3"),
        ("state now", "write it like 'state'"),
    ],
)
def test_a_line_that_cannot_be_done_is_answered_with_one_that_could(folder: Path, line: str, says: str) -> None:
    answer = tell(folder, line)
    assert answer.startswith("error: ")
    assert says in answer


def test_what_is_unplugged_can_be_plugged_in_again_once(folder: Path) -> None:
    assert tell(folder, "unplug scanner") == "ok"
    assert tell(folder, "unplug scanner") == "error: 'scanner' is already unplugged"
    assert tell(folder, "unplug usb") == "ok"
    assert tell(folder, "state").endswith("unplugged=scanner,usb")
    assert tell(folder, "replug scanner") == "ok"
    assert tell(folder, "replug usb") == "ok"
    assert tell(folder, "state").endswith("unplugged=-")


def test_a_part_that_is_replaced_is_plugged_in(folder: Path) -> None:
    assert tell(folder, "unplug scanner") == "ok"
    assert tell(folder, "replace scanner") == "ok"
    assert tell(folder, "state").endswith("unplugged=-")


def test_the_state_is_one_line(folder: Path) -> None:
    state = tell(folder, "state")
    assert state.startswith("ok stage=off ")
    assert "output=off" in state
    assert "port=clean" in state


def test_without_a_bench_the_hands_say_so(tmp_path: Path) -> None:
    with pytest.raises(DeviceUnavailable, match="no simulated bench answers"):
        tell(tmp_path, "state")


def test_a_path_that_is_too_long_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ConfigInvalid, match="too long"):
        tell(tmp_path / ("x" * 120), "state")
