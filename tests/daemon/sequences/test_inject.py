"""The injection on a bench in memory: refusals, the output off whatever happens, and the comparison afterwards."""

from __future__ import annotations

from pathlib import Path

import pytest

from wakerail.analysis.injection import Injected
from wakerail.config import shipped
from wakerail_kit.errors import ConfigInvalid, DeviceRefused, OutOfSync
from wakerail_kit.families import load_families
from wakerail_kit.outcome import Finding, Outcome

FAMILY = next(family for family in load_families(shipped("devices")) if family.name == "fenmoor-t3")
TEXT = (Path(__file__).parents[3] / "config" / "sequences" / "inject.yaml").read_text()
LOOK = "Look for warmth"


@pytest.fixture
def board(make_bench):
    """Return a function giving a bench with a short on the main rail, probes that follow the prompts."""

    def board(*faults: str, short_ohm: float = 0.4):
        bench = make_bench({"psu": "power-source", "dmm": "multimeter"})
        meter, psu = bench.instruments["dmm"], bench.instruments["psu"]
        meter.put_a_board(FAMILY, *faults)
        psu.limits = {"volts": 5.0, "limit": 5.0}

        def load(_: float) -> tuple[float, float, float]:
            volts, limit = float(psu.settings["volts"]), float(psu.settings["limit"])
            if volts / short_ohm <= limit:
                return volts, volts / short_ohm, 0.0
            return limit * short_ohm, limit, 1.0

        psu.load = load
        bench.hands = meter.follow
        return bench

    return board


def short(ohm: float = 0.4) -> str:
    return f"dead-short:{ohm}Ohm"


def start(bench, inputs=None):
    return bench.start(TEXT, inputs or {}, FAMILY.name)[0]


async def look(bench, run):
    """Wait until somebody is asked to look for warmth."""
    await bench.until(lambda: any(LOOK in prompt.text for prompt in bench.prompts()) or run.done.done())
    return next(prompt for prompt in bench.prompts() if LOOK in prompt.text)


def answer_all_but_the_look(bench):
    """From now on prompts are answered, the one for the look apart."""
    answered = bench.hands

    def hands(prompt):
        answered(prompt)
        bench.confirm = None if LOOK in prompt.text else True

    bench.hands = hands


async def test_a_short_that_stays_fails_with_what_flowed_and_where_it_was_warm(board):
    bench = board(short())
    answer_all_but_the_look(bench)
    run = start(bench)
    prompt = await look(bench, run)
    await bench.until(lambda: bench.instruments["psu"].on)
    began_s = bench.clock.monotonic_s()
    await bench.until(lambda: bench.clock.monotonic_s() > began_s + 5.0)
    run.answer(prompt.id, True, "Ilse", note="the small capacitor beside J1")
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.SHORT_STAYS), verdict.reason
    assert "The main rail is still shorted: " in verdict.reason
    assert "warm spot: the small capacitor beside J1" in verdict.reason
    measured = {one.name: one for one in verdict.measurements}
    assert measured["injected.current mean"].value == pytest.approx(1.0)
    assert measured["injected.voltage mean"].value == pytest.approx(0.4)
    assert measured["injected.power max"].value == pytest.approx(0.4)
    assert measured["injected.time"].value == pytest.approx(5.0, abs=0.3)
    for when in ("before", "after"):
        assert measured[f"main.resistance {when}"].value == pytest.approx(0.4, abs=0.03)
        assert measured[f"main.resistance {when}"].outcome == Outcome.FAILED
    assert not bench.anything_on()
    psu = bench.instruments["psu"].settings
    assert (psu["volts"], psu["limit"]) == (0.5, 1.0)
    (over_voltage_v, over_current_a) = (
        [float(point.split()[-1]) for point in bench.points if point.startswith(f"apply psu {trip} ")]
        for trip in ("over-voltage", "over-current")
    )
    assert 0.5 < over_voltage_v[0] < 0.7
    assert 1.0 < over_current_a[0] < 1.3
    assert (psu["over-voltage"], psu["over-current"]) == (6.0, 6.0)  # or the next boot would be cut
    assert bench.instruments["psu"].allowed == (Injected(0.5, 1.0), 1.0)
    cautions = " ".join(bench.prompts()[0].cautions)
    for word in ("battery", "hot enough to burn", "No flammable cleaner", "Eye protection", "smoke"):
        assert word in cautions


async def test_the_output_goes_off_after_its_time_though_nobody_answers(board):
    bench = board(short())
    answer_all_but_the_look(bench)
    run = start(bench, {"time": "10 s"})
    prompt = await look(bench, run)
    await bench.until(lambda: bench.instruments["psu"].on)
    began_s = bench.clock.monotonic_s()
    await bench.until(lambda: not bench.anything_on())
    assert bench.clock.monotonic_s() - began_s == pytest.approx(10.0, abs=0.3)
    await bench.until(lambda: bench.clock.monotonic_s() > began_s + 60.0)
    assert not run.done.done()  # what they saw is still asked for
    run.answer(prompt.id, True, "Ilse")
    assert (await bench.verdict(run)).reason.endswith("Nothing was noted of a warm spot.")


async def test_a_short_that_burns_away_is_told_and_is_no_all_clear(board):
    bench = board(short())
    follow = bench.hands

    def hands(prompt):
        if LOOK in prompt.text:
            bench.instruments["dmm"].board.device.clear_short()
        follow(prompt)

    bench.hands = hands
    verdict = await bench.verdict(start(bench))
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.SHORT_CLEARED)
    assert "find it before the rail gets its full voltage" in verdict.reason


async def test_a_rail_without_a_short_gets_nothing(board):
    bench = board()
    verdict = await bench.verdict(start(bench))
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.NO_SHORT)
    assert not any(point.startswith("apply psu output True") for point in bench.points)


@pytest.mark.parametrize(
    ("inputs", "says"),
    [
        ({"volts": "1.2 V"}, "fenmoor-t3 allows 1 V at most on the main rail, not 1.2 V"),
        ({"volts": "1 V", "limit": "2 A"}, "take a limit of 1 A"),
        ({"limit": "3 A"}, "fenmoor-t3 allows 2 A at most on the main rail, not 3 A"),
        ({"rail": "panel", "volts": "0.6 V"}, "fenmoor-t3 allows 500 mV at most on the panel's rail"),
        ({"rail": "mian"}, "fenmoor-t3 has no rail 'mian'; did you mean 'main'?"),
        ({"time": "10 min"}, "input time: 600 s is too high; at most 300 s"),
    ],
)
async def test_too_much_is_refused_before_anything_begins(board, inputs, says):
    bench = board(short())
    with pytest.raises(ConfigInvalid) as refused:
        start(bench, inputs)
    assert says in "; ".join(refused.value.problems)
    assert bench.points == []


@pytest.mark.parametrize(
    ("load", "says"),
    [
        ((1.5, 0.1, 0.0), "1.5 V at the output, above the 500 mV that was set"),
        ((0.4, 1.4, 0.0), "1.4 A at the output, above the limit of 1 A"),
    ],
)
async def test_a_supply_that_gives_more_than_was_set_is_cut_at_the_first_reading(board, load, says):
    bench = board(short())
    answer_all_but_the_look(bench)
    bench.instruments["psu"].load = lambda _: load
    verdict = await bench.verdict(start(bench))
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.INTERLOCK)
    assert says in verdict.reason
    assert not bench.anything_on()


@pytest.mark.parametrize("how", ["no", "abort", "lost meter", "lost supply", "off by itself"])
async def test_whatever_happens_while_it_is_on_it_goes_off(board, how):
    bench = board(short())
    answer_all_but_the_look(bench)
    run = start(bench)
    prompt = await look(bench, run)
    psu = bench.instruments["psu"]
    await bench.until(lambda: psu.on)
    match how:
        case "no":
            run.answer(prompt.id, False, "Ilse")
        case "abort":
            run.abort()
        case "lost meter":
            await bench.instruments["dmm"].lose()
        case "lost supply":
            await psu.lose()
        case _:
            psu.settings["output"] = False
    verdict = await bench.verdict(run)
    assert verdict.outcome in {Outcome.ABORTED, Outcome.INCONCLUSIVE}
    assert not bench.anything_on()
    assert psu.made_safe
    assert psu.settings["over-voltage"] == 6.0


@pytest.mark.parametrize("wrong", [OutOfSync("psu: no answer"), DeviceRefused("psu: no")])
async def test_a_supply_that_cannot_be_switched_on_makes_no_finding(board, troubles, wrong):
    bench = board(short())
    bench.instruments["psu"].trouble["limit"] = troubles.raising(wrong)
    verdict = await bench.verdict(start(bench))
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert not bench.anything_on()


async def test_a_supply_without_trips_of_its_own_will_do(board, troubles):
    bench = board(short())
    for setting in ("over-voltage", "over-current"):
        refused = DeviceRefused(f"psu: this supply has no {setting} setting")
        bench.instruments["psu"].trouble[setting] = troubles.raising(refused)
    assert (await bench.verdict(start(bench))).finding == Finding.SHORT_STAYS


async def test_trips_that_cannot_be_put_back_are_told(board):
    bench = board(short())
    psu = bench.instruments["psu"]

    async def refuse_the_second() -> None:
        if sum(point.startswith("apply psu over-voltage") for point in bench.points) > 1:
            raise DeviceRefused("psu: over-voltage 6 V is out of its range")

    psu.trouble["over-voltage"] = refuse_the_second
    verdict = await bench.verdict(start(bench))
    assert verdict.finding == Finding.SHORT_STAYS
    assert (
        "Set the over-voltage of psu back to 6 V by hand: psu: over-voltage 6 V is out of its range." in verdict.reason
    )


async def test_nothing_is_injected_where_nobody_stands(board):
    bench = board(short())
    bench.person = False
    verdict = await bench.verdict(start(bench))
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert "nobody is there to look" in verdict.reason.lower()
    assert not any(point.startswith("apply psu output True") for point in bench.points)
