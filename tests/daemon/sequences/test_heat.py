"""Separating and rejoining a stacked board: the shipped sequences on the simulated plate, on a simulated clock."""

from __future__ import annotations

from pathlib import Path

import pytest

from wakerail.sequences import exit_code_of, make_plan, parse_sequence
from wakerail_kit.alloys import load_alloys
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import CoolingAsked, HeatEstimated, HeatStageStarted, HeatStarted
from wakerail_kit.families import load_families
from wakerail_kit.outcome import Finding, Outcome

CONFIG = Path(__file__).parents[3] / "config"
FAMILIES = {family.name: family for family in load_families(CONFIG / "devices", load_alloys(CONFIG / "alloys.yaml"))}
FAMILY = "fenmoor-t3"
#: Heating, holding and cooling down take about a quarter of an hour.
A_WHILE_S = 1800.0


def text(name: str) -> str:
    return (CONFIG / "sequences" / f"{name}.yaml").read_text()


@pytest.fixture
async def hot(make_bench):
    """A bench with a plate that knows the shipped families."""
    return make_bench({"hot-1": "heat-source"}, families=FAMILIES)


def stages(bench):
    return [each for each in bench.events() if isinstance(each, HeatStageStarted)]


def begun(bench, kind):
    return any(stage.kind == kind for stage in stages(bench))


async def test_a_board_is_separated_within_its_profile(hot):
    run, _ = hot.start(text("separate"), family=FAMILY, operator="Ilse")
    verdict = await hot.verdict(run, A_WHILE_S)
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.PROFILE_KEPT), verdict.reason
    assert exit_code_of(verdict) == 0
    assert not hot.anything_on()
    assert verdict.inputs == {"family": FAMILY}
    assert "lithium" in " ".join(verdict.cautions)
    started = next(each for each in hot.events() if isinstance(each, HeatStarted))
    assert (started.alloy, started.liquidus_c, started.instrument) == ("SAC305", 220.0, "hot-1")
    assert [stage.kind for stage in stages(hot)] == ["ramp", "hold", "cool"]
    ramp, hold, cool = stages(hot)
    assert 80 < hold.at_s - ramp.at_s < 150  # about 100 s, as this plate does
    assert cool.at_s - hold.at_s == pytest.approx(120, abs=1)
    figures = {one.name: one for one in verdict.measurements}
    assert figures["peak"].value == pytest.approx(230, abs=2)
    assert figures["peak"].source.startswith("IPC/JEDEC J-STD-020D")
    assert figures["peak"].high == 245
    assert 130 < figures["time above liquidus"].value < 170
    # the last prompt came when the plate was cool, and not before
    assert hot.instruments["hot-1"].physics.temperature_c < 48.5
    assert hot.prompts()[-1].text.startswith("Plate and board may be touched")
    assert any(isinstance(each, HeatEstimated) for each in hot.events())


async def test_the_prompts_come_in_order_before_anything_heats(hot):
    hot.confirm = None
    run, _ = hot.start(text("rejoin"), family=FAMILY)
    for words in ("battery", "extraction", "labels and shields", "pads", "flux", "alignment"):
        await hot.until(lambda words=words: bool(hot.prompts()) and words in hot.prompts()[-1].text)
        assert hot.instruments["hot-1"].settings == {}
        note = "not reballed, all pads whole" if words == "pads" else ""
        run.answer(hot.prompts()[-1].id, True, note=note)
    await hot.until(lambda: begun(hot, "ramp"))
    run.abort()
    verdict = await hot.verdict(run)
    assert [each.says for each in verdict.evidence if "Noted" in each.says] == ["Noted: not reballed, all pads whole"]


@pytest.mark.parametrize(
    ("inputs", "family", "says"),
    [
        ({}, "", "separate heats by the profile of a device family: name it with --family, one of fenmoor-t3"),
        ({}, "fenmor-t3", "no device family 'fenmor-t3'; did you mean 'fenmoor-t3'?"),
        (
            {"temperature": "210 degC"},
            FAMILY,
            "fenmoor-t3, profile 'separate': 210 °C cannot melt SAC305: its liquidus is 220 °C",
        ),
        (
            {"temperature": "250 degC"},
            FAMILY,
            "fenmoor-t3, profile 'separate': 250 °C is above the ceiling of profile 'separate', 245 °C",
        ),
        (
            {"hold": "10 min"},
            FAMILY,
            "fenmoor-t3, profile 'separate': a hold of 600 s is longer than the 180 s of the profile's limit",
        ),
        ({"temperature": "230"}, FAMILY, "input temperature: '230' has no unit; write it like '230 degC'"),
    ],
)
async def test_what_must_not_be_heated_is_refused_before_anything_heats(hot, inputs, family, says):
    with pytest.raises(ConfigInvalid) as refused:
        make_plan(parse_sequence(text("separate"), "test.yaml"), inputs, hot, family)
    assert refused.value.problems == (says,)


async def test_the_benchs_own_limit_is_kept_too(hot):
    hot.instruments["hot-1"].limits = {"temperature": 225.0}
    with pytest.raises(ConfigInvalid, match="230 °C is above this bench's limit for the plate, 225 °C"):
        make_plan(parse_sequence(text("separate"), "test.yaml"), {}, hot, FAMILY)


async def test_a_bench_whose_families_have_no_such_profile_cannot_run_it(make_bench):
    bench = make_bench({"hot-1": "heat-source"})
    with pytest.raises(ConfigInvalid, match="needs a device family with a profile 'separate'; this bench knows none"):
        make_plan(parse_sequence(text("separate"), "test.yaml"), {}, bench, FAMILY)


async def test_what_this_run_asked_for_stands_in_place_of_the_profiles(hot):
    run, _ = hot.start(text("separate"), {"temperature": "238 degC", "hold": "30 s"}, family=FAMILY)
    verdict = await hot.verdict(run, A_WHILE_S)
    assert verdict.outcome is Outcome.PASSED, verdict.reason
    ramp, hold, cool = stages(hot)
    assert ramp.temperature_c == hold.temperature_c == 238.0
    assert cool.at_s - hold.at_s == pytest.approx(30, abs=1)
    assert verdict.inputs == {"family": FAMILY, "temperature": "238 °C", "hold": "30 s"}


async def test_cooled_early_in_the_hold_it_is_done_when_it_is_done(hot):
    run, _ = hot.start(text("separate"), family=FAMILY, operator="Ilse")
    with pytest.raises(ConfigInvalid, match="does not heat"):
        run.cool()
    await hot.until(lambda: begun(hot, "hold"))
    held_s = stages(hot)[-1].at_s
    await hot.until(lambda: hot.clock.monotonic_s() > held_s + 10)
    run.cool("Bram")
    await hot.until(lambda: begun(hot, "cool"))
    assert not hot.anything_on()
    with pytest.raises(ConfigInvalid, match="does not heat"):
        run.cool()
    verdict = await hot.verdict(run, A_WHILE_S)
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.PROFILE_KEPT), verdict.reason
    assert "cooled early by Bram, during the hold" in verdict.reason
    (asked,) = [each for each in hot.events() if isinstance(each, CoolingAsked)]
    assert asked.operator == "Bram"
    assert any("Cooling was asked for by Bram" in each.says for each in verdict.evidence)
    # still hot until it is not, cooled early or not
    assert hot.instruments["hot-1"].physics.temperature_c < 48.5


async def test_cooled_before_the_solder_was_liquid_it_is_stopped(hot):
    run, _ = hot.start(text("separate"), family=FAMILY)
    await hot.until(lambda: hot.instruments["hot-1"].physics.temperature_c > 120)
    run.cool("Ilse")
    verdict = await hot.verdict(run, A_WHILE_S)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.STOPPED)
    assert "SAC305 was not liquid yet: the plate came to 12" in verdict.reason
    assert hot.instruments["hot-1"].physics.temperature_c < 48.5


async def test_a_run_that_ends_hot_says_so_and_keeps_what_was_measured(hot):
    run, _ = hot.start(text("separate"), family=FAMILY)
    await hot.until(lambda: begun(hot, "hold"))
    run.abort()
    verdict = await hot.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.STOPPED)
    assert not hot.anything_on()
    assert "touch nothing above 48 °C" in verdict.reason
    assert {one.name for one in verdict.measurements} >= {"peak", "ramp up"}


async def test_a_plate_lost_in_the_middle_is_the_benchs_fault(hot):
    run, _ = hot.start(text("separate"), family=FAMILY)
    plate = hot.instruments["hot-1"]
    await hot.until(lambda: plate.physics.temperature_c > 150)
    await plate.lose("the serial port was unplugged")
    verdict = await hot.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert exit_code_of(verdict) == 5
    assert "the serial port was unplugged" in verdict.reason
    assert "Still hot: hot-1 was at 1" in verdict.reason


async def test_an_interlock_aborts_it_and_is_no_finding_about_the_board(hot):
    run, _ = hot.start(text("separate"), family=FAMILY)
    plate = hot.instruments["hot-1"]
    await hot.until(lambda: begun(hot, "hold"))
    await plate.trip("plate at 262 °C, above the limit of 260 °C")
    verdict = await hot.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.INTERLOCK)
    assert "above the limit of 260 °C" in verdict.reason


async def test_a_plate_that_is_too_slow_is_the_benchs_fault_and_still_cools(hot, monkeypatch):
    plate = hot.instruments["hot-1"]
    monkeypatch.setattr("wakerail_sim.plate.HEATER_W", 180.0)  # of 800 W: it settles far below its set point
    run, _ = hot.start(text("separate"), family=FAMILY)
    await hot.until(lambda: begun(hot, "cool"), A_WHILE_S)
    assert not hot.anything_on()
    assert "not at 230 °C within 360 s" in stages(hot)[-1].says
    verdict = await hot.verdict(run, A_WHILE_S)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert "hot-1 was not at 230 °C within 360 s: it came to " in verdict.reason
    assert plate.physics.temperature_c < 48.5


async def test_a_glitch_of_the_sensor_ends_no_stage_and_is_no_peak(hot):
    """A single sample at the set point while the plate is far below it, and one far above while it is held."""
    plate = hot.instruments["hot-1"]
    glitches = iter([(60.0, 231.0), (160.0, 252.0)])
    due = [next(glitches)]

    def show(t_s, shown_c):
        if due and t_s >= due[0][0]:
            (_, false_c) = due.pop()
            due.extend([each for each in [next(glitches, None)] if each])
            return false_c
        return shown_c

    plate.show = show
    run, _ = hot.start(text("separate"), family=FAMILY)
    verdict = await hot.verdict(run, A_WHILE_S)
    assert not due
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.PROFILE_KEPT), verdict.reason
    assert stages(hot)[1].at_s - stages(hot)[0].at_s > 80
    (peak,) = [one.value for one in verdict.measurements if one.name == "peak"]
    assert peak == pytest.approx(230, abs=2)


async def test_nothing_heats_while_the_sensor_gives_nothing(hot):
    hot.instruments["hot-1"].show = lambda _, shown_c: None
    run, _ = hot.start(text("separate"), family=FAMILY)
    verdict = await hot.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert "gives no temperature that can be believed" in verdict.reason
    assert "heater" not in {point.split()[2] for point in hot.points if point.startswith("apply") and "True" in point}


async def test_a_heat_outside_its_profile_fails_with_the_limit_and_its_source(hot):
    """Somebody turns the plate's own knob while it is held."""
    plate = hot.instruments["hot-1"]
    run, _ = hot.start(text("separate"), family=FAMILY)
    await hot.until(lambda: begun(hot, "hold"))
    plate.settings["temperature"] = 244.0
    verdict = await hot.verdict(run, A_WHILE_S)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.PROFILE_MISSED), verdict.reason
    assert "overshoot 14" in verdict.reason
    assert "at most 8 K" in verdict.reason
    (overshoot,) = [one for one in verdict.measurements if one.name == "overshoot"]
    assert (overshoot.outcome, overshoot.source) == (Outcome.FAILED, "common practice, no source")
