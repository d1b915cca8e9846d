"""The board's lines as the simulated multimeter finds them."""

from __future__ import annotations

import pathlib
from typing import Any

import pytest

from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.families import load_family
from wakerail_sim.multimeter_scpi import OVERLOAD, MultimeterScpi

FAMILY = load_family(pathlib.Path(__file__).parents[2] / "config" / "devices" / "fenmoor-t3.yaml")
DIODE, OHMS, VOLTS = "MEAS:DIOD?", "MEAS:RES?", "MEAS:VOLT:DC?"


@pytest.fixture
def probe(lab: Any):
    """Return a function giving what the meter reads with its leads on two places, after a while."""

    def probe(function: str, red: str, black: str, *faults: str, after_s: float = 2.0) -> float:
        bench = lab(*faults, family=FAMILY)
        with bench.world.present():
            bench.world.put_leads(red, black)
        bench.run(after_s)
        answer = MultimeterScpi(bench.world).execute(function.encode())
        assert answer is not None
        return float(answer)

    return probe


@pytest.mark.parametrize("pin", ["2", "3", "4", "6"])
def test_a_sound_junction_reads_as_the_family_says(probe: Any, pin: str) -> None:
    known = {each.name: each for each in FAMILY.connectors["display"].pins}[pin]
    assert probe(DIODE, "ground", f"display.{pin}") == pytest.approx(known.value, rel=0.01)


def test_a_reading_takes_time_to_settle(probe: Any) -> None:
    readings = [probe(DIODE, "ground", "display.3", after_s=after_s) for after_s in (0.05, 0.2, 2.0)]
    assert readings == sorted(readings)
    assert readings[0] < 0.5 * readings[2]


@pytest.mark.parametrize(
    ("fault", "low", "high"),
    [
        ("line-shorted:display.3", -0.002, 0.005),
        ("line-leaks:display.3", 0.1, 0.3),
        ("line-open:display.3", OVERLOAD, OVERLOAD),
        ("line-open:display.4", 0.44, 0.46),  # another line: nothing to see here
        ("meter-lead-open", OVERLOAD, OVERLOAD),
    ],
)
def test_a_fault_shows_at_its_line(probe: Any, fault: str, low: float, high: float) -> None:
    assert low <= probe(DIODE, "ground", "display.3", fault) <= high


def test_bridged_lines_read_alike_a_little_below_the_lower_one(probe: Any) -> None:
    bridged = [probe(DIODE, "ground", f"display.{pin}", "lines-bridged:display.3+display.6") for pin in "36"]
    assert bridged[0] == pytest.approx(bridged[1], abs=0.002)
    assert 0.44 < bridged[0] < 0.453
    assert probe(OHMS, "display.3", "display.6", "lines-bridged:display.3+display.6") < 2.0
    assert probe(OHMS, "display.3", "display.6") > 1e5


def test_resistances_leads_and_the_air(probe: Any) -> None:
    assert probe(OHMS, "ground", "display.5") == pytest.approx(10e3, rel=0.01)
    assert probe(OHMS, "together", "together") < 0.5
    assert probe(OHMS, "ground", "display.7") == OVERLOAD
    assert probe(OHMS, "", "") == OVERLOAD
    assert probe(DIODE, "display.3", "ground") == OVERLOAD  # the wrong way round a junction blocks


def test_a_board_with_power_shows_its_voltage_and_no_other_reading(probe: Any, lab: Any) -> None:
    assert abs(probe(VOLTS, "ground", "display.3")) < 0.005
    assert probe(VOLTS, "ground", "display.3", "cell-connected") == pytest.approx(-1.8, abs=0.01)
    assert probe(DIODE, "ground", "display.3", "cell-connected") == OVERLOAD
    bench = lab(family=FAMILY)
    bench.power()
    with bench.world.present():
        bench.world.put_leads("ground", "display.3")
        assert abs(bench.world.meter_voltage_v()) > 1.0


@pytest.mark.parametrize("place", ["display.99", "keel.1", "display", "display.3.4"])
def test_a_pin_that_there_is_not_is_refused_in_one_line(lab: Any, place: str) -> None:
    bench = lab(family=FAMILY)
    with bench.world.present(), pytest.raises(ConfigInvalid) as refused:
        bench.world.put_leads("ground", place)
    assert "\n" not in str(refused.value)
    with pytest.raises(ConfigInvalid):
        lab("line-shorted:display.99", family=FAMILY)


def test_the_dead_short_of_the_battery_rail_is_on_the_familys_first_rail_until_it_burns_away(lab: Any) -> None:
    bench = lab("dead-short:0.4Ohm", "short-clears-at:0.9A", family=FAMILY)

    def resistance_ohm() -> float:
        with bench.world.present():
            bench.world.put_leads("battery.1", "ground")
        bench.run(2.0)
        with bench.world.present():
            return float(bench.world.meter_resistance_ohm())

    assert resistance_ohm() == pytest.approx(0.55, abs=0.01)
    bench.power(0.5, 0.8)
    bench.run(5.0)
    assert float(bench.ask("MEAS:CURR?")) == pytest.approx(0.8, abs=0.002)
    with bench.world.present():
        assert bench.world.hot_spot_c() > 35.0
    bench.tell("OUTP OFF")
    assert resistance_ohm() == pytest.approx(0.55, abs=0.01)
    bench.power(0.5, 1.0)
    bench.run(1.5)
    bench.tell("OUTP OFF")
    assert resistance_ohm() > 1e5
