"""What a followed run leaves in a folder."""

from __future__ import annotations

import numpy as np
import pytest

from wakerail.report.run_trace import RunTrace
from wakerail_kit.clock import RealClock
from wakerail_kit.events import (
    HeatEstimated,
    HeatLimit,
    HeatStage,
    HeatStageStarted,
    HeatStarted,
    RestartRevised,
    RestartSeen,
    RunStarted,
    StageLevel,
    StagesRead,
    StepStarted,
    make_event,
)
from wakerail_kit.messages import Frame, SequenceRef, Verdict
from wakerail_kit.outcome import Finding, Outcome

VERDICT = Verdict(
    id="v",
    bench="b",
    run="r",
    sequence=SequenceRef(name="boot-watch", sha256="0" * 64),
    inputs={},
    started="2026-01-01T00:00:00Z",
    ended="2026-01-01T00:00:10Z",
    outcome=Outcome.FAILED,
    finding=Finding.RESTARTING,
    reason="It restarted.",
    steps=[],
    measurements=[],
    evidence=[],
    instruments=[],
    operator="",
    software_version="1",
)


@pytest.fixture(name="drawn")
def _drawn(monkeypatch):
    """What the picture was asked to show, one call for each file."""
    calls = []
    monkeypatch.setattr("wakerail.report.picture.draw_trace", lambda *_, **given: calls.append(given))
    return calls


def test_the_picture_shows_stages_and_what_still_counts_of_the_restarts(tmp_path, drawn):
    kept = RunTrace()

    def tell(data):
        kept.take(make_event(data, clock=RealClock(), bench="b", owner="sequence", run="r"))

    tell(StepStarted(run="r", number=1, verb="watch", title="Watch", at_s=100.0))
    kept.take(
        Frame(
            bench="b",
            instrument="psu",
            number=1,
            start="2026-01-01T00:00:00Z",
            t_s=[100.0, 101.0],
            half_width_s=[0.0, 0.0],
            signals={"current": [0.0, 0.3]},
            units={"current": "A"},
        )
    )
    for number, at_s in ((1, 103.0), (2, 105.0), (3, 101.5)):
        again_s = at_s + 0.4
        tell(RestartSeen(run="r", at_s=at_s, again_s=again_s, number=number, evidence=[], says="", probability=0.9))
    tell(RestartRevised(run="r", number=1, at_s=103.0, probability=0.2, counts=False, says="none"))
    tell(RestartRevised(run="r", number=2, at_s=105.0, probability=0.3, counts=False, says="a sleep"))
    tell(RestartRevised(run="r", number=2, at_s=105.0, probability=0.99, counts=True, says="USB, too"))
    stage = StageLevel(start_s=101.0, end_s=103.0, mean_a=0.3, spread_a=0.01, peak_a=0.4, charge_ma_s=600.0)
    tell(StagesRead(run="r", count=1, stages=[stage]))
    kept.write(VERDICT, tmp_path)
    for given in drawn:
        assert np.array(given["restarts"]) == pytest.approx(np.array([[1.5, 1.9], [5.0, 5.4]]))
        assert given["probabilities"] == [0.9, 0.99]
        assert given["stages"] == [(1.0, 3.0, 0.3)]
    assert len(drawn) == 2


@pytest.fixture(name="heats")
def _heats(monkeypatch):
    """What the picture of a heat was asked to show, one call for each file."""
    calls = []
    monkeypatch.setattr("wakerail.report.thermal_picture.draw_heat", lambda *seen, **given: calls.append((seen, given)))
    return calls


def heat_of(kept):
    """A plate that goes from 25 to 61 degC in 18 s, half a minute at 60, and some cooling; and a supply beside it."""

    def tell(data):
        kept.take(make_event(data, clock=RealClock(), bench="b", owner="sequence", run="r"))

    stages = [HeatStage(kind="ramp", temperature_c=60, time_s=60), HeatStage(kind="cool", temperature_c=48)]
    tell(RunStarted(run="r", sequence="separate", inputs={}, roles={"plate": "hot-1"}, cautions=[], at_s=99.0))
    tell(
        HeatStarted(
            run="r",
            instrument="hot-1",
            at_s=100.0,
            family="f",
            profile="separate",
            alloy="X",
            liquidus_c=55.0,
            liquidus_source="a table",
            ceiling_c=70.0,
            touch_c=48.0,
            touch_source="a standard",
            present_left_s=180.0,
            stages=stages,
            limits=[HeatLimit(figure="peak", unit="Cel", high=65.0, source="a standard")],
        )
    )
    tell(HeatStageStarted(run="r", number=1, kind="ramp", at_s=100.0, temperature_c=60.0))
    for at_s in range(90, 170):
        warm = min(61.0, 25.0 + 2 * max(at_s - 100, 0)) if at_s < 150 else 61.0 - 0.2 * (at_s - 150)
        kept.take(sample("hot-1", float(at_s), {"temperature": [warm], "heater": [1.0]}))
        kept.take(sample("psu", float(at_s), {"current": [0.1]}))
    for at_s in (110.0, 120.0):
        tell(
            HeatEstimated(
                run="r", at_s=at_s, plate_c=50.0, board_c=at_s - 70, board_low_c=at_s - 75, board_high_c=at_s - 65
            )
        )
    tell(HeatStageStarted(run="r", number=2, kind="cool", at_s=150.0, temperature_c=48.0))


def sample(instrument, at_s, signals):
    return Frame(
        bench="b",
        instrument=instrument,
        number=1,
        start="2026-01-01T00:00:00Z",
        t_s=[at_s],
        half_width_s=[0.0],
        signals=signals,
        units=dict.fromkeys(signals, "1"),
    )


def test_a_heat_is_drawn_with_its_limits_its_set_points_and_the_board_and_nothing_else(tmp_path, heats, drawn):
    kept = RunTrace()
    heat_of(kept)
    written = kept.write(VERDICT, tmp_path)
    assert [file.name for file in written] == ["verdict.json", "heat.svg", "heat.png"]
    assert drawn == []  # the supply on the same bench was not this run's
    (t_s, temperature_c, limits, figures), given = heats[0]
    assert (t_s[0], t_s[-1]) == (100.0, 169.0)
    assert max(temperature_c) == 61.0
    assert (limits.liquidus.at_c, limits.liquidus.source) == (55.0, "a table")
    assert (limits.peak_c.high, limits.peak_c.source) == (65.0, "a standard")
    assert figures.peak.value == 61.0
    asked = dict(zip(t_s, given["setpoint_c"], strict=True))
    assert (asked[149.0], asked[150.0]) == (60.0, None)
    board = given["board"]
    at = t_s.index(115.0)
    assert (board.low_c[at], board.likely_c[at], board.high_c[at]) == (40.0, 45.0, 50.0)
    assert np.isnan(board.likely_c[0])


def test_a_run_that_heated_nothing_has_no_picture_of_a_heat(tmp_path, heats):
    assert [file.name for file in RunTrace().write(VERDICT, tmp_path)] == ["verdict.json"]
    assert heats == []
