"""The line survey on the simulator's board: prompts, refusals, and what it says of each fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from wakerail.config import shipped
from wakerail_kit.errors import ConfigInvalid, DeviceRefused, OutOfSync
from wakerail_kit.families import load_families
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.units import human

FAMILY = next(family for family in load_families(shipped("devices")) if family.name == "fenmoor-t3")
TEXT = (Path(__file__).parents[3] / "config" / "sequences" / "line-survey.yaml").read_text()


@pytest.fixture
def board(make_bench):
    """Return a function giving a bench whose meter is on a board with faults, the leads put where prompts say."""

    def board(*faults: str):
        bench = make_bench({"psu": "power-source", "dmm": "multimeter"})
        meter = bench.instruments["dmm"]
        meter.put_a_board(FAMILY, *faults)
        bench.hands = meter.follow
        return bench

    return board


async def surveyed(bench, connector="display"):
    run, _ = bench.start(TEXT, {"connector": connector}, FAMILY.name)
    return await bench.verdict(run)


async def test_a_sound_board_reads_like_known_good(board):
    bench = board()
    verdict = await surveyed(bench)
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.LINES_GOOD), verdict.reason
    assert verdict.reason == "All 7 lines of J3, the display's connector read like known-good."
    assert [one.name for one in verdict.measurements] == [
        "display.1 ground", "display.2 panel-supply", "display.3 data-0", "display.4 data-1",
        "display.5 touch-reset", "display.6 backlight", "display.7 spare",
    ]  # fmt: skip
    assert {one.outcome for one in verdict.measurements} == {Outcome.PASSED}
    assert verdict.measurements[2].low == pytest.approx(0.9 * 0.452)
    assert "invented" in verdict.measurements[2].source
    assert verdict.inputs == {"family": "fenmoor-t3", "connector": "display"}
    texts = [prompt.text for prompt in bench.prompts()]
    assert len(texts) == 2 + 7  # no power, leads together, then pin by pin
    said = "Red lead on ground, black lead on pin 3 of J3, the display's connector (data-0), then confirm."
    assert texts[4] == f"panel-supply reads {human(verdict.measurements[1].value, 'V')}, like known-good. {said}"
    assert "lithium" in bench.prompts()[0].cautions[0]


@pytest.mark.parametrize(
    ("faults", "finding", "says"),
    [
        (["line-shorted:display.3"], Finding.LINE_SHORTED, "data-0 (pin 3) is shorted to ground, "),
        (["line-shorted:display.5"], Finding.LINE_SHORTED, "touch-reset (pin 5) is shorted to ground, "),
        (["line-leaks:display.4"], Finding.LINE_LOW, "data-1 (pin 4) is low, "),
        (["line-leaks:display.7"], Finding.LINE_LOW, "spare (pin 7) should be open and reads "),
        (["line-open:display.6"], Finding.LINE_OPEN, "backlight (pin 6) is open where 621 mV is known-good"),
        (["line-open:display.1"], Finding.LINE_OPEN, "ground (pin 1) should be ground and reads nothing"),
        (
            ["lines-bridged:display.3+display.6"],
            Finding.LINES_BRIDGED,
            "data-0 (pin 3) is bridged to backlight; backlight (pin 6) is bridged to data-0",
        ),
        (["lines-bridged:display.6+display.7"], Finding.LINES_BRIDGED, "spare (pin 7) is bridged to backlight"),
        (
            ["line-open:display.2", "line-shorted:display.3"],
            Finding.LINE_SHORTED,
            "2 of 7 lines of J3, the display's connector: panel-supply (pin 2) is open",
        ),
    ],
)
async def test_each_fault_is_found_at_its_line_and_nowhere_else(board, faults, finding, says):
    verdict = await surveyed(board(*faults))
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, finding), verdict.reason
    assert says in verdict.reason
    named = {place.split(".")[1] for fault in faults for place in fault.split(":")[1].split("+")}
    failed = {one.name.split()[0].split(".")[1] for one in verdict.measurements if one.outcome == Outcome.FAILED}
    assert failed == named


async def test_a_bridge_is_asked_about_and_two_leaks_that_read_alike_are_none(board):
    bench = board("line-leaks:display.3", "line-leaks:display.4")
    verdict = await surveyed(bench)
    assert verdict.finding == Finding.LINE_LOW
    assert "bridged" not in verdict.reason
    assert bench.prompts()[-1].text == (
        "They read alike and should not: one lead on pin 3 (data-0), the other on pin 4 (data-1), then confirm."
    )


async def test_a_board_with_power_is_refused_at_the_first_pin(board):
    bench = board("cell-connected")
    verdict = await surveyed(bench)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert "There is 1.8 V on pin 2 of J3" in verdict.reason
    assert not any(point == "test dmm diode" for point in bench.points[-3:])


async def test_a_supply_that_is_on_is_refused_before_anything_is_touched(board):
    bench = board()
    bench.instruments["psu"].settings["output"] = True
    verdict = await surveyed(bench)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert "the output of psu is on" in verdict.reason.lower()
    assert not any(point.startswith("test") for point in bench.points)
    assert not bench.anything_on()


async def test_a_broken_lead_is_the_benchs_fault_and_no_open_line(board):
    verdict = await surveyed(board("meter-lead-open"))
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert "leads read nothing when they touch" in verdict.reason


@pytest.mark.parametrize("wrong", [OutOfSync("dmm: no answer within 3 s"), DeviceRefused("dmm: cannot measure")])
async def test_a_meter_that_fails_makes_no_finding(board, troubles, wrong):
    bench = board()
    bench.instruments["dmm"].trouble["diode"] = troubles.raising(wrong)
    verdict = await surveyed(bench)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)


async def test_a_reading_that_never_rests_is_too_little_to_tell(board):
    bench = board()
    world = bench.instruments["dmm"].board
    readings = iter(range(10**6))
    true = world.meter_diode_v
    world.meter_diode_v = lambda: (true() or 0.0) + 0.05 * (next(readings) % 2)
    verdict = await surveyed(bench, "battery")
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.TOO_LITTLE_DATA)
    assert "cell-plus (pin 1) gave no steady reading" in verdict.reason


async def test_a_no_ends_it_and_the_family_and_the_connector_must_be_known(board):
    bench = board()
    with pytest.raises(ConfigInvalid, match="name it with --family; known: fenmoor-t3"):
        bench.start(TEXT)
    with pytest.raises(ConfigInvalid, match="fenmoor-t3 has no connector 'displai'; did you mean 'display'"):
        bench.start(TEXT, {"connector": "displai"}, FAMILY.name)
    bench.confirm = False
    assert (await surveyed(bench)).outcome == Outcome.ABORTED
