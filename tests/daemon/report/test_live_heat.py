"""The live view of a heat: what a person at the plate sees from the first warmth to the last."""

from __future__ import annotations

import pytest

from wakerail.report.live import LiveRun
from wakerail_kit.events import (
    HeatEstimated,
    HeatStage,
    HeatStageStarted,
    HeatStarted,
    PresenceConfirmed,
    RunStarted,
    StepFinished,
    StepStarted,
)
from wakerail_kit.messages import Frame
from wakerail_kit.outcome import Outcome

LIFT = "Lift the upper board with tweezers as soon as it moves freely, never by force."
STAGES = [
    HeatStage(kind="ramp", temperature_c=230, time_s=360),
    HeatStage(kind="hold", temperature_c=230, time_s=120),
    HeatStage(kind="cool", temperature_c=48),
]


@pytest.fixture(name="live")
def _live(event):
    live = LiveRun()
    started = HeatStarted(
        run="r",
        instrument="plate-1",
        at_s=100,
        family="fenmoor-t3",
        profile="separate",
        alloy="SAC305",
        liquidus_c=220,
        liquidus_source="",
        ceiling_c=245,
        touch_c=48,
        touch_source="",
        present_left_s=175,
        stages=STAGES,
        limits=[],
    )
    for data in (
        RunStarted(run="r", sequence="separate", inputs={}, roles={"plate": "plate-1"}, cautions=[], at_s=99.8),
        StepStarted(run="r", number=5, verb="heat", title="Heat, hold and cool", at_s=100),
        started,
        HeatStageStarted(run="r", number=1, kind="ramp", at_s=100, temperature_c=230),
    ):
        live.take("", event(data))
    return live


def warm(live, at_s, temperature_c, *, heater=1.0, instrument="plate-1"):
    signals = {"temperature": [temperature_c], "setpoint": [230.0], "heater": [heater]}
    frame = Frame(
        bench="bench-1",
        instrument=instrument,
        number=1,
        start="2026-11-25T10:15:00.000000Z",
        t_s=[at_s],
        half_width_s=[0.001],
        signals=signals,
        units={"temperature": "Cel", "setpoint": "Cel", "heater": "1"},
    )
    live.take("", frame)


def said(show, live, **size):
    return "\n".join(show(live, **size))


def test_a_ramp_shows_temperature_target_board_and_about_how_long_it_takes(live, show, event):
    warm(live, 130, 101.3)
    live.take(
        "",
        event(
            HeatEstimated(run="r", at_s=130, plate_c=101, board_c=93.2, board_low_c=89.1, board_high_c=97.4, left_s=62)
        ),
    )
    warm(live, 132, 105.1)
    shown = said(show, live)
    assert "105.1 °C" in shown
    assert "target 230 °C" in shown
    assert "board 89 to 97 °C" in shown
    assert "heater on" in shown
    assert "ramp, 1 of 3   about 1:00 left" in shown


def test_it_shows_for_how_long_somebody_is_there_and_asks_in_time(live, show, event):
    warm(live, 130, 101.3)
    assert "you are there for 2:25" in said(show, live)
    warm(live, 230, 230.0)
    assert "are you there? confirm within 0:45" in said(show, live)
    live.take("", event(PresenceConfirmed(instrument="plate-1", operator="ina", left_s=180), "plate-1"))
    assert "you are there for 3:00" in said(show, live)
    live.take("", event(HeatStageStarted(run="r", number=3, kind="cool", at_s=231, temperature_c=48)))
    assert "you are there" not in said(show, live)  # what cools needs nobody


def test_the_keys_that_do_something_are_shown_while_it_heats(live, show):
    keyed = LiveRun("c: cool now")
    keyed._seen = live._seen
    assert "c: cool now" in said(show, keyed)
    assert "c: cool now" not in said(show, live)


def test_a_hold_is_counted_down_and_says_what_to_do(live, show, event):
    hold = HeatStageStarted(run="r", number=2, kind="hold", at_s=200, temperature_c=230, duration_s=120, says=LIFT)
    live.take("", event(hold))
    warm(live, 235, 230.1)
    shown = said(show, live)
    assert "hold, 2 of 3   1:25 left" in shown
    assert "☞ Lift the upper board" in shown


def test_it_is_still_hot_until_it_is_not(live, show, event):
    cool = HeatStageStarted(run="r", number=3, kind="cool", at_s=320, temperature_c=48, says="Still hot: wait.")
    live.take("", event(cool))
    warm(live, 330, 214.0, heater=0.0)
    shown = said(show, live)
    assert "target below 48 °C" in shown
    assert "heater off" in shown
    assert "Still hot" in shown
    finished = StepFinished(run="r", number=5, verb="heat", title="Heat, hold and cool", outcome=Outcome.PASSED)
    live.take("", event(finished))
    assert "Still hot" not in said(show, live)


def test_another_plate_is_not_mixed_in_and_a_lost_sensor_is_told(live, show):
    warm(live, 130, 101.3)
    warm(live, 131, 250.0, instrument="plate-2")
    assert "101.3 °C" in said(show, live)
    warm(live, 132, None)
    assert "no reading" in said(show, live)


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 40)])
def test_it_never_outgrows_the_terminal(live, show, event, width, height):
    for number in range(6, 20):
        live.take("", event(StepStarted(run="r", number=number, verb="x", title="A step " * 20, at_s=110)))
    hold = HeatStageStarted(
        run="r", number=2, kind="hold", at_s=200, temperature_c=230, duration_s=120, says=f"{LIFT} {LIFT}"
    )
    live.take("", event(hold))
    for at_s in range(200, 300):
        warm(live, at_s, 230.0)
    lines = show(live, width=width, height=height)
    assert len(lines) < height
    assert max(map(len, lines)) <= width
    assert any("☞ Lift" in line for line in lines)
