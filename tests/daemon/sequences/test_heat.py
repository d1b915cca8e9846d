"""Separating and rejoining a stacked board: the shipped sequences on the simulated plate, on a simulated clock."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.sequences import exit_code_of, make_plan, parse_sequence
from wakerail.sequences.heating.course import EDGES_S, Course
from wakerail_kit.alloys import load_alloys
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import CoolingAsked, HeatEstimated, HeatStageStarted, HeatStarted, PresenceAsked
from wakerail_kit.families import load_families, load_family
from wakerail_kit.outcome import Finding, Outcome

CONFIG = Path(__file__).parents[3] / "config"
FAMILIES = {family.name: family for family in load_families(CONFIG / "devices", load_alloys(CONFIG / "alloys.yaml"))}
FAMILY = "fenmoor-t3"
SMALL = "low-melting"
#: Heating, holding and cooling down take about a quarter of an hour.
A_WHILE_S = 1800.0


def text(name: str) -> str:
    return (CONFIG / "sequences" / f"{name}.yaml").read_text()


#: A family that needs less heat, so that its plate is cool again sooner; limits as wide as the tests need them.
LOW = """\
family: low-melting
nominal: 3.7 V
profiles:
  - profile: separate
    alloy: In52Sn48
    ceiling: 145 degC
    stages:
      - {ramp: 130 degC, within: 3 min}
      - {hold: 30 s}
      - {cool: 60 degC, source: common practice}
    limits:
      hold: {max: 2 min, source: common practice}
      overshoot: {max: 8 K, source: common practice}
      above-liquidus: {min: 30 s, max: 4 min, source: common practice}
  - profile: soaked
    alloy: In52Sn48
    ceiling: 145 degC
    stages:
      - {ramp: 80 degC, within: 2 min}
      - {soak: 20 s}
      - {ramp: 130 degC, within: 2 min}
      - {hold: 30 s}
      - {cool: 60 degC, source: common practice}
    limits:
      soak: {from: 60 degC, to: 90 degC, min: 15 s, max: 50 s, source: common practice}
"""


@pytest.fixture
async def hot(make_bench):
    """A bench with a plate that knows the shipped families."""
    return make_bench({"hot-1": "heat-source"}, families=FAMILIES)


@pytest.fixture
async def low(make_bench, tmp_path, monkeypatch):
    """A bench whose plate loses its heat three times as fast, with a family that needs little of it."""
    monkeypatch.setattr("wakerail_sim.plate.LOSS_K_PER_W", 0.3)
    (tmp_path / "low.yaml").write_text(LOW)
    family = load_family(tmp_path / "low.yaml", load_alloys(CONFIG / "alloys.yaml"))
    return make_bench({"hot-1": "heat-source"}, families={family.name: family})


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
    told = [each for each in hot.events() if isinstance(each, HeatEstimated)]
    expected_s = [each.at_s + each.left_s for each in told if each.left_s is not None and each.at_s < hold.at_s]
    assert expected_s[-1] == pytest.approx(hold.at_s, abs=8)  # the model knew when it would be there
    assert all(each.board_low_c <= each.board_c <= each.board_high_c for each in told)
    board = figures["board peak, by the model"]
    assert 220 < board.value < 230
    assert board.uncertainty > 0


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
            (
                "fenmoor-t3, profile 'separate': a hold of 600 s, and 20 s on its way there and back, "
                "is over the limit of 180 s"
            ),
        ),
        ({"temperature": "230"}, FAMILY, "input temperature: '230' has no unit; write it like '230 degC'"),
    ],
)
async def test_what_must_not_be_heated_is_refused_before_anything_heats(hot, inputs, family, says):
    with pytest.raises(ConfigInvalid) as refused:
        make_plan(parse_sequence(text("separate"), "test.yaml"), inputs, hot, family)
    assert refused.value.problems == (says,)


@given(
    temperature_c=st.floats(0, 400), ceiling_c=st.floats(60, 400), limit_c=st.floats(60, 400), hold_s=st.floats(1, 1800)
)
def test_a_heat_is_allowed_if_and_only_if_it_melts_and_keeps_to_every_limit(temperature_c, ceiling_c, limit_c, hold_s):
    profile = replace(FAMILIES[FAMILY].profiles["separate"], ceiling_c=ceiling_c)
    problems = Course.of(FAMILY, profile, temperature_c, hold_s).problems(limit_c)
    melts = temperature_c >= profile.alloy.liquidus_c
    allowed = melts and temperature_c <= min(ceiling_c, limit_c) and hold_s + EDGES_S <= profile.limits["hold"].high
    assert (problems == []) == allowed


async def test_the_benchs_own_limit_is_kept_too(hot):
    hot.instruments["hot-1"].limits = {"temperature": 225.0}
    with pytest.raises(ConfigInvalid, match="230 °C is above this bench's limit for the plate, 225 °C"):
        make_plan(parse_sequence(text("separate"), "test.yaml"), {}, hot, FAMILY)


async def test_a_bench_whose_families_have_no_such_profile_cannot_run_it(make_bench):
    bench = make_bench({"hot-1": "heat-source"})
    with pytest.raises(ConfigInvalid, match="needs a device family with a profile 'separate'; this bench knows none"):
        make_plan(parse_sequence(text("separate"), "test.yaml"), {}, bench, FAMILY)


async def test_what_this_run_asked_for_stands_in_place_of_the_profiles(low):
    run, _ = low.start(text("separate"), {"temperature": "138 degC", "hold": "20 s"}, family=SMALL)
    verdict = await low.verdict(run, A_WHILE_S)
    assert verdict.outcome is Outcome.PASSED, verdict.reason
    ramp, hold, cool = stages(low)
    assert ramp.temperature_c == hold.temperature_c == 138.0
    assert cool.at_s - hold.at_s == pytest.approx(20, abs=1)
    assert verdict.inputs == {"family": SMALL, "temperature": "138 °C", "hold": "20 s"}


async def test_a_bench_that_is_more_careful_about_touching_waits_for_longer(low):
    low.instruments["hot-1"].limits = {"temperature": 260.0, "touch": 50.0}
    run, _ = low.start(text("separate"), family=SMALL)
    verdict = await low.verdict(run, A_WHILE_S)
    assert verdict.outcome is Outcome.PASSED, verdict.reason
    assert stages(low)[-1].temperature_c == 50.0
    assert low.instruments["hot-1"].physics.temperature_c < 50.5


async def test_a_soak_stays_where_the_ramp_before_it_led_and_is_a_figure(low):
    run, _ = low.start(text("separate").replace("plate: separate", "plate: soaked"), family=SMALL)
    await low.until(lambda: begun(low, "hold"))
    run.abort()
    verdict = await low.verdict(run)
    first, soak, second, hold = stages(low)
    assert [stage.kind for stage in (first, soak, second, hold)] == ["ramp", "soak", "ramp", "hold"]
    assert (soak.temperature_c, soak.duration_s) == (80.0, 20.0)
    assert second.at_s - soak.at_s == pytest.approx(20, abs=1)
    assert [point for point in low.points if point.startswith("apply hot-1 temperature")] == [
        "apply hot-1 temperature 80.0",
        "apply hot-1 temperature 130.0",
    ]
    (figure,) = [one for one in verdict.measurements if one.name == "soak"]
    assert (figure.low, figure.high, figure.source, figure.outcome) == (15, 50, "common practice", Outcome.PASSED)
    assert 20 < figure.value < 45


async def test_cooled_early_in_the_hold_it_is_done_when_it_is_done(low):
    run, _ = low.start(text("separate"), family=SMALL, operator="Ilse")
    with pytest.raises(ConfigInvalid, match="does not heat"):
        await run.cool()
    await low.until(lambda: begun(low, "hold"))
    held_s = stages(low)[-1].at_s
    await low.until(lambda: low.clock.monotonic_s() > held_s + 10)
    await run.cool("Bram")
    assert not low.anything_on()  # at once, whatever the journal does
    await low.until(lambda: begun(low, "cool"))
    with pytest.raises(ConfigInvalid, match="does not heat"):
        await run.cool()
    verdict = await low.verdict(run, A_WHILE_S)
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.PROFILE_KEPT), verdict.reason
    assert "cooled early by Bram, during the hold" in verdict.reason
    (asked,) = [each for each in low.events() if isinstance(each, CoolingAsked)]
    assert asked.operator == "Bram"
    assert any("Cooling was asked for by Bram" in each.says for each in verdict.evidence)
    # still hot until it is not, cooled early or not
    assert low.instruments["hot-1"].physics.temperature_c < 60.5


async def test_cooled_before_the_solder_was_liquid_it_is_stopped(low):
    run, _ = low.start(text("separate"), family=SMALL)
    await low.until(lambda: low.instruments["hot-1"].physics.temperature_c > 90)
    await run.cool("Ilse")
    verdict = await low.verdict(run, A_WHILE_S)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.STOPPED)
    assert "In52Sn48 was not liquid yet: the plate came to 9" in verdict.reason
    assert low.instruments["hot-1"].physics.temperature_c < 60.5


async def test_a_run_that_ends_hot_says_so_and_keeps_what_was_measured(low):
    run, _ = low.start(text("separate"), family=SMALL)
    await low.until(lambda: begun(low, "hold"))
    run.abort()
    verdict = await low.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.STOPPED)
    assert not low.anything_on()
    assert "touch nothing above 60 °C" in verdict.reason
    assert {one.name for one in verdict.measurements} >= {"peak", "ramp up"}


async def test_a_plate_lost_in_the_middle_is_the_benchs_fault(low):
    run, _ = low.start(text("separate"), family=SMALL)
    plate = low.instruments["hot-1"]
    await low.until(lambda: plate.physics.temperature_c > 105)
    await plate.lose("the serial port was unplugged")
    verdict = await low.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert exit_code_of(verdict) == 5
    assert "the serial port was unplugged" in verdict.reason
    assert "Still hot: hot-1 was at 1" in verdict.reason


async def test_an_interlock_aborts_it_and_is_no_finding_about_the_board(low):
    run, _ = low.start(text("separate"), family=SMALL)
    plate = low.instruments["hot-1"]
    await low.until(lambda: begun(low, "hold"))
    await plate.trip("plate at 262 °C, above the limit of 260 °C")
    verdict = await low.verdict(run)
    told = [each.says.split()[0] for each in verdict.evidence]
    assert told == ["Ramp", "Hold", "Plate", "The"]  # in the order in which it happened, kept though it broke off
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.INTERLOCK)
    assert "above the limit of 260 °C" in verdict.reason


async def test_a_plate_that_is_too_slow_is_the_benchs_fault_and_still_cools(low, monkeypatch):
    plate = low.instruments["hot-1"]
    monkeypatch.setattr("wakerail_sim.plate.HEATER_W", 280.0)  # of 800 W: it settles far below its set point
    run, _ = low.start(text("separate"), family=SMALL)
    await low.until(lambda: begun(low, "cool"), A_WHILE_S)
    assert not low.anything_on()
    assert "not at 130 °C within 180 s" in stages(low)[-1].says
    verdict = await low.verdict(run, A_WHILE_S)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert "hot-1 was not at 130 °C within 180 s: it came to " in verdict.reason
    assert plate.physics.temperature_c < 60.5


async def test_a_plate_that_leaves_what_its_own_model_foretold_is_heated_no_further(hot, monkeypatch):
    """Two thirds of its heater fail on the way up."""
    run, _ = hot.start(text("separate"), family=FAMILY)
    plate = hot.instruments["hot-1"]
    await hot.until(lambda: plate.physics.temperature_c > 130)
    failed_s = hot.clock.monotonic_s()
    monkeypatch.setattr("wakerail_sim.plate.HEATER_W", 270.0)
    await hot.until(lambda: begun(hot, "cool"))
    assert not hot.anything_on()
    assert hot.clock.monotonic_s() - failed_s < 90
    assert "the plate does not behave as it did" in stages(hot)[-1].says
    run.abort()
    await hot.verdict(run)


async def test_a_glitch_of_the_sensor_ends_no_stage_and_is_no_peak(low):
    """A single sample at the set point while the plate is far below it, and one far above while it is held."""
    plate = low.instruments["hot-1"]
    glitches = iter([(30.0, 131.0), (80.0, 152.0)])
    due = [next(glitches)]

    def show(t_s, shown_c):
        if due and t_s >= due[0][0]:
            (_, false_c) = due.pop()
            due.extend([each for each in [next(glitches, None)] if each])
            return false_c
        return shown_c

    plate.show = show
    run, _ = low.start(text("separate"), family=SMALL)
    verdict = await low.verdict(run, A_WHILE_S)
    assert not due
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.PROFILE_KEPT), verdict.reason
    assert stages(low)[1].at_s - stages(low)[0].at_s > 40
    (peak,) = [one.value for one in verdict.measurements if one.name == "peak"]
    assert peak == pytest.approx(130, abs=2)


async def test_nobody_is_asked_to_put_hands_on_a_plate_that_is_hot(low):
    plate = low.instruments["hot-1"]
    plate.show = lambda _, shown_c: 90.0 + (shown_c or 0.0) / 100  # from the run before
    run, _ = low.start(text("separate"), family=SMALL)
    verdict = await low.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.INTERLOCK)
    assert "hot-1 is still hot, 90" in verdict.reason
    assert "wait until it is below 60 °C" in verdict.reason
    assert low.prompts() == []


async def test_nothing_heats_while_the_sensor_gives_nothing(low):
    low.instruments["hot-1"].show = lambda _, shown_c: None
    run, _ = low.start(text("separate"), family=SMALL)
    verdict = await low.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert "gives no temperature that can be believed" in verdict.reason
    assert low.prompts() == []


async def test_a_heat_outside_its_profile_fails_with_the_limit_and_its_source(low):
    """Somebody turns the plate's own knob while it is held."""
    plate = low.instruments["hot-1"]
    run, _ = low.start(text("separate"), family=SMALL)
    await low.until(lambda: begun(low, "hold"))
    plate.settings["temperature"] = 144.0
    verdict = await low.verdict(run, A_WHILE_S)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.PROFILE_MISSED), verdict.reason
    assert "overshoot 14" in verdict.reason
    assert "at most 8 K" in verdict.reason
    (overshoot,) = [one for one in verdict.measurements if one.name == "overshoot"]
    assert (overshoot.outcome, overshoot.source) == (Outcome.FAILED, "common practice")


async def test_a_person_who_leaves_is_asked_in_good_time_and_then_the_heat_is_cut(low):
    low.attended = False
    run, _ = low.start(text("separate"), {"hold": "1 min"}, family=SMALL)
    await low.until(lambda: begun(low, "ramp"))
    low.present_until_s = low.clock.monotonic_s() + 90.0  # their last word, before the hold is over
    await low.until(lambda: any(isinstance(each, PresenceAsked) for each in low.events()))
    assert low.anything_on()
    verdict = await low.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.INTERLOCK)
    assert "nobody has confirmed" in verdict.reason
    assert "Still hot" in verdict.reason
    (asked,) = [each for each in low.events() if isinstance(each, PresenceAsked)]
    assert 55 < asked.left_s <= 60


async def test_a_person_who_stays_is_asked_once_for_each_confirmation(low):
    run, _ = low.start(text("separate"), {"hold": "1 min"}, family=SMALL)
    await low.until(lambda: begun(low, "ramp"))
    low.present_until_s = low.clock.monotonic_s() + 70.0
    verdict = await low.verdict(run, A_WHILE_S)
    assert verdict.outcome is Outcome.PASSED, verdict.reason
    assert sum(isinstance(each, PresenceAsked) for each in low.events()) == 1


async def test_a_script_that_confirms_every_prompt_is_no_person_and_heats_nothing(low):
    low.confirm = None
    run, _ = low.start(text("separate"), family=SMALL)
    for count in range(1, 5):
        await low.until(lambda count=count: len(low.prompts()) == count)
        run.answer(low.prompts()[-1].id, True, "jig", person=False)
    verdict = await low.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.INTERLOCK)
    assert "nobody has confirmed to be there" in verdict.reason
    assert low.instruments["hot-1"].settings == {"heater": False}
