"""Stacked boards: the solder holds them until the plate has melted it, and joins them again when it is solid."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from wakerail_kit.alloys import load_alloys
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.families import DeviceFamily, load_families
from wakerail_sim.bench import parse_fault
from wakerail_sim.hands import Hands
from wakerail_sim.stages import Stage
from wakerail_sim.world import World


@pytest.fixture(scope="module")
def stacked(project: Path) -> DeviceFamily:
    """The shipped family, its heat profiles read."""
    config = project / "config"
    return load_families(config / "devices", load_alloys(config / "alloys.yaml"))[0]


class Bench:
    """A world of the shipped family and the hands on it, on a clock that is moved."""

    def __init__(self, family, *faults: str) -> None:
        self.clock = SimulatedClock()
        self.world = World(family, self.clock, faults=tuple(parse_fault(fault) for fault in faults), plate_has_fan=True)
        self.hands = Hands(self.world, {})

    def run(self, seconds: float) -> None:
        self.clock.advance(seconds)
        with self.world.present():
            pass

    def heat(self, to_c: float, seconds: float) -> None:
        with self.world.present():
            self.world.plate.setpoint_c, self.world.plate.heater_on = to_c, True
        self.run(seconds)

    def cool(self) -> None:
        with self.world.present():
            self.world.plate.heater_on = False
        self.run(400.0)

    def boots_for(self, seconds: float) -> tuple[int, Stage]:
        """Power it, press its button, and return how often it booted within a time and where it is then."""
        before = self.world.device.boots
        with self.world.present():
            self.world.supply.voltage_v, self.world.supply.current_limit_a = 3.85, 3.0
            self.world.set_output(True)
        self.run(0.1)
        self.hands.press()
        self.run(seconds)
        found = self.world.device.boots - before, self.world.device.stage
        with self.world.present():
            self.world.set_output(False)
        return found

    def says(self, line: str) -> str:
        return self.hands.obey(line.encode()).decode().strip()


def test_corrosion_between_the_boards_stays_until_they_are_apart_clean_and_rejoined(stacked):
    bench = Bench(stacked, "corroded-joint")
    boots, _ = bench.boots_for(15.0)
    assert boots >= 4
    assert "as long as they are together" in bench.says("clean boards")
    bench.hands.clamp()
    assert "the solder holds" in bench.says("lift upper-board")
    bench.heat(200.0, 300.0)  # below the solidus
    assert "the solder holds" in bench.says("lift upper-board")
    bench.heat(230.0, 120.0)
    bench.hands.lift()
    assert "still hot" in bench.says("clean boards")
    assert "still hot" in bench.says("take-off boards")
    bench.cool()
    bench.hands.take_off()
    assert bench.boots_for(15.0) == (0, Stage.OFF)  # half a device
    bench.hands.clean("boards")
    bench.hands.clamp()
    bench.hands.set_on()
    assert bench.boots_for(15.0) == (0, Stage.OFF)  # it lies there loose
    bench.heat(230.0, 300.0)
    bench.cool()
    bench.hands.take_off()
    assert bench.boots_for(15.0) == (1, Stage.RUNNING)


def test_what_was_not_cleaned_is_still_there(stacked):
    bench = Bench(stacked, "corroded-joint")
    bench.hands.clamp()
    bench.heat(230.0, 300.0)
    bench.hands.lift()
    bench.hands.set_on()  # into the liquid solder
    bench.cool()
    boots, _ = bench.boots_for(15.0)
    assert boots >= 4


def test_solder_bridges_draw_no_more_once_they_are_cleaned_away(stacked):
    bench = Bench(stacked, "bridged-layers")
    with bench.world.present():
        bench.world.supply.voltage_v, bench.world.supply.current_limit_a = 3.85, 3.0
        bench.world.set_output(True)
    bench.run(60.0)
    assert bench.world.flow_now().current_a[0] > 0.1
    with bench.world.present():
        bench.world.set_output(False)
    bench.hands.clamp()
    bench.heat(230.0, 300.0)
    bench.hands.lift()
    bench.cool()
    bench.hands.clean("boards")
    with bench.world.present():
        bench.world.set_output(True)
    bench.run(60.0)
    assert bench.world.flow_now().current_a[0] < 0.001


@pytest.mark.parametrize(
    ("before", "line", "says"),
    [
        ([], "take-off boards", "not on the plate"),
        (["clamp boards"], "clamp boards", "on the plate already"),
        ([], "set upper-board", "on the lower one already"),
        ([], "lift board", "write 'upper-board'"),
        ([], "clamp scanner", "write 'boards'"),
    ],
)
def test_what_cannot_be_done_is_told_in_one_line(stacked, before, line, says):
    bench = Bench(stacked)
    for each in before:
        assert bench.says(each) == "ok"
    answer = bench.says(line)
    assert answer.startswith("error: ")
    assert says in answer


def test_boards_with_power_do_not_go_on_the_plate(stacked):
    bench = Bench(stacked)
    with bench.world.present():
        bench.world.set_output(True)
    assert "boards with power do not go on the plate" in bench.says("clamp boards")


def test_a_device_with_one_board_cannot_be_taken_apart(stacked):
    bench = Bench(dataclasses.replace(stacked, profiles={}))
    with pytest.raises(ConfigInvalid, match="no stacked boards"):
        bench.hands.clamp()


def test_the_state_tells_how_the_boards_are(stacked):
    bench = Bench(stacked)
    assert " boards=joined,25degC " in bench.says("state")
    bench.hands.clamp()
    bench.heat(230.0, 300.0)
    assert " boards=liquid,22" in bench.says("state")
    bench.hands.lift()
    assert " boards=apart,22" in bench.says("state")
