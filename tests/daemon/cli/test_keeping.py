"""What a followed run leaves in a folder."""

from __future__ import annotations

import numpy as np
import pytest

from wakerail.cli.keeping import RunTrace
from wakerail_kit.clock import RealClock
from wakerail_kit.events import RestartRevised, RestartSeen, StageLevel, StagesRead, StepStarted, make_event
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
