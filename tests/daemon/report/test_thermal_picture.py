"""The picture of a heat."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.image import imread

from wakerail.analysis.thermal.board import Between, Board, BoardEstimator, estimate_board
from wakerail.analysis.thermal.figures import read_figures
from wakerail.analysis.thermal.profile import Level, Limit, ThermalLimits
from wakerail.report.thermal_picture import BoardTrace, _apart, draw_heat

LIMITS = ThermalLimits(
    Level(220.0, "an alloy table"),
    peak_c=Limit(None, 245.0, "a standard"),
    ramp_up_k_per_s=Limit(None, 1.5, "another standard"),
    above_liquidus_s=Limit(30.0, 240.0, "common practice, no source"),
    overshoot_k=Limit(None, 8.0, "a rule of the shop"),
    touch=Level(48.0, "a standard"),
    ceiling=Level(250.0, "the profile"),
)
T_S = np.arange(0.0, 700.0, 0.5)
PLATE_C = np.interp(T_S, [0, 100, 220, 700], [22.0, 230.0, 231.0, 40.0])
BLUE = np.array([0x00, 0x72, 0xB2]) / 255


def drawn(out, plate_c=PLATE_C, **given):
    setpoint_c = given.pop("setpoint_c", np.where(T_S < 220, 230.0, 0.0))
    figures = read_figures(T_S, plate_c, LIMITS, setpoint_c=setpoint_c, believed=given.get("believed"))
    words = {"title": "separate: Failed, profile-missed", "subtitle": "The heat left its profile: ramp up 2.08 K/s."}
    draw_heat(T_S, plate_c, LIMITS, figures, setpoint_c=setpoint_c, **{**words, **given}, out=out)
    return out


def texts(svg):
    return re.findall(r"<text[^>]*>([^<]+)</text>", svg.read_text(encoding="utf-8"))


def test_it_says_what_it_shows(tmp_path):
    said = set(texts(drawn(tmp_path / "heat.svg")))
    assert {"separate: Failed, profile-missed", "The heat left its profile: ramp up 2.08 K/s."} <= said
    assert {"plate, measured", "set point", "above liquidus", "peak 231.0 °C"} <= said
    assert {"liquidus 220 °C", "ceiling 250 °C", "touch limit 48 °C", "peak at most 245 °C"} <= said
    assert {"temperature (°C)", "time (min)"} <= said


def test_each_figure_has_its_value_its_limit_whether_it_was_kept_and_who_says_so(tmp_path):
    said = texts(drawn(tmp_path / "heat.svg"))
    ramp = said.index("ramp up")
    assert said[ramp : ramp + 5] == ["ramp up", "2.08 K/s", "at most 1.5 K/s", "✘ NOT KEPT", "another standard"]
    above = said.index("time above liquidus")
    assert said[above + 2 : above + 5] == ["30 to 240 s", "✔ kept", "common practice, no source"]


def test_a_figure_that_could_not_be_read_says_why(tmp_path):
    said = texts(drawn(tmp_path / "heat.svg", setpoint_c=None))
    overshoot = said.index("overshoot")
    assert said[overshoot + 1 : overshoot + 5] == [
        "–",
        "at most 8 K",
        "? open",
        "no set point recorded; a rule of the shop",
    ]
    assert "set point" not in said


def test_the_board_is_drawn_with_its_range(tmp_path):
    estimator = BoardEstimator(Board(Between(9, 16), Between(0.3, 1.2), Between(0.02, 0.08), "measured"), room_c=22.0)
    board = BoardTrace(*estimate_board(T_S, PLATE_C, estimator))
    assert {"board, by the model", "board, its range"} <= set(texts(drawn(tmp_path / "heat.svg", board=board)))
    assert not {"board, by the model", "board, its range"} & set(texts(drawn(tmp_path / "without.svg")))


def test_a_false_reading_is_marked_and_widens_nothing(tmp_path):
    spoilt, believed = PLATE_C.copy(), np.ones(T_S.size, dtype=bool)
    spoilt[300], believed[300] = 1023.75, False
    said = texts(drawn(tmp_path / "heat.svg", spoilt, believed=believed))
    assert "not believed" in said
    assert "peak 231.0 °C" in said
    assert "300" not in said  # no tick of an axis that would reach to it


def test_time_above_liquidus_is_shaded_if_there_was_any(tmp_path):
    assert "above liquidus" in texts(drawn(tmp_path / "hot.svg"))
    assert "above liquidus" not in texts(drawn(tmp_path / "cool.svg", PLATE_C - 30.0))


def test_the_plate_stands_out_in_the_picture(tmp_path):
    near = np.abs(imread(drawn(tmp_path / "heat.png"))[:, :, :3] - BLUE).max(axis=2) < 0.02
    assert near.sum() > 1000


@pytest.mark.parametrize("plate_c", [np.full(T_S.size, np.nan), np.full(T_S.size, 22.0)])
def test_a_heat_that_was_none_is_drawn_too(tmp_path, plate_c):
    assert "liquidus 220 °C" in texts(drawn(tmp_path / "heat.svg", plate_c))


def test_the_same_data_give_the_same_file_and_another_suffix_is_refused(tmp_path):
    one, other = (drawn(tmp_path / f"{name}.svg").read_bytes() for name in ("one", "other"))
    assert one == other
    with pytest.raises(ValueError, match=r"\.svg or \.png"):
        drawn(tmp_path / "heat.gif")


@given(st.lists(st.floats(0.0, 300.0), max_size=8), st.floats(1.0, 40.0))
def test_names_are_apart_in_the_order_of_their_lines(levels, apart):
    places = _apart(sorted(levels), apart)
    assert len(places) == len(levels)
    assert (np.diff(places) >= apart - 1e-6).all()
    if not levels or (np.diff(sorted(levels)) >= apart).all():
        assert places == pytest.approx(sorted(levels))
