"""The picture of a trace."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.image import imread

from wakerail.report.picture import draw_trace
from wakerail.report.traces import drawable

VERMILION = np.array([0xD5, 0x5E, 0x00]) / 255


def loop(rate_hz=20.0, boots=4):
    stages = [(0.0003, 2.0)]
    for _ in range(boots):
        stages += [(0.09, 0.35), (0.26, 1.2), (0.65, 2.5), (0.0003, 0.4)]
    current_a = np.concatenate([np.full(round(for_s * rate_hz), level_a) for level_a, for_s in stages])
    falls_s = [2.0 + 4.05 + 4.45 * number for number in range(boots - 1)]
    return np.arange(current_a.size) / rate_hz, current_a, [(fell_s, fell_s + 0.4) for fell_s in falls_s]


def drawn(out, **given):
    times_s, current_a, restarts = loop()
    words = {"title": "boot-watch: Failed, restarting", "subtitle": "It restarted 3 times."}
    draw_trace(times_s, current_a, **{"restarts": restarts, "onset_s": 2.0, "prompt_s": 1.2, **words, **given}, out=out)
    return out


def texts(svg):
    return re.findall(r"<text[^>]*>([^<]+)</text>", svg.read_text(encoding="utf-8"))


def test_it_says_what_it_shows(tmp_path):
    said = texts(drawn(tmp_path / "trace.svg"))
    assert {"restart 1", "restart 2", "restart 3", "onset", "prompt"} <= set(said)
    assert {"boot-watch: Failed, restarting", "It restarted 3 times.", "current (mA)", "time (s)"} <= set(said)


def test_voltage_has_axes_of_its_own(tmp_path):
    voltage_v = 3.85 - 0.05 * loop()[1]
    assert "voltage (V)" in texts(drawn(tmp_path / "trace.svg", voltage_v=voltage_v))


def test_the_same_data_give_the_same_file(tmp_path):
    for suffix in ("svg", "png"):
        one, other = (drawn(tmp_path / f"{name}.{suffix}").read_bytes() for name in ("one", "other"))
        assert one == other
    assert "<dc:date>" not in (tmp_path / "one.svg").read_text(encoding="utf-8")


def test_restarts_stand_out_in_the_picture(tmp_path):
    def vermilion(file):
        return int((np.abs(imread(file)[:, :, :3] - VERMILION).max(axis=2) < 0.02).sum())

    assert vermilion(drawn(tmp_path / "with.png")) > 500
    assert vermilion(drawn(tmp_path / "without.png", restarts=())) == 0


@pytest.mark.parametrize(("count", "label"), [(20, "20"), (400, None)])
def test_many_restarts_are_numbered_as_far_as_there_is_room(tmp_path, count, label):
    times_s, current_a, restarts = loop(boots=count + 1)
    out = tmp_path / "trace.svg"
    draw_trace(times_s, current_a, restarts=restarts, title="t", subtitle="s", out=out)
    said = texts(out)
    assert "restarts" in said
    assert (label in said) if label else not any(re.fullmatch(r"\d{3}", one) and one in "123 399" for one in said)


@pytest.mark.parametrize(
    ("length_s", "label"), [(0.3, "time (ms)"), (30.0, "time (s)"), (1800.0, "time (min)"), (36000.0, "time (h)")]
)
def test_the_time_axis_has_a_unit_that_suits_its_length(tmp_path, length_s, label):
    out = tmp_path / "trace.svg"
    draw_trace(np.linspace(0, length_s, 50), np.full(50, 2.0), title="t", subtitle="s", out=out)
    assert {label, "current (A)"} <= set(texts(out))


@pytest.mark.parametrize("current_a", [[], [0.1], [math.nan] * 5, [0.0] * 5])
def test_next_to_nothing_can_be_drawn_too(tmp_path, current_a):
    out = tmp_path / "trace.png"
    draw_trace(np.arange(len(current_a)), current_a, voltage_v=current_a, title="t", subtitle="s", out=out)
    assert imread(out).shape[:2] == (840, 1500)


def test_another_suffix_is_refused(tmp_path):
    with pytest.raises(ValueError, match=r"trace\.gif: a picture is drawn as \.svg or \.png"):
        drawn(tmp_path / "trace.gif")


@given(
    values=st.lists(st.floats(-5, 5), min_size=2, max_size=400),
    columns=st.integers(5, 100),
    hole=st.tuples(st.integers(0, 400), st.integers(0, 30)),
)
def test_a_long_trace_keeps_its_highest_and_lowest_values(values, columns, hole):
    levels = np.array(values)
    levels[hole[0] : hole[0] + hole[1]] = np.nan
    times, drawn_levels = drawable(np.arange(levels.size) * 0.05, levels, columns)
    finite = drawn_levels[np.isfinite(drawn_levels)]
    if np.isfinite(levels).any():
        assert finite.max() == np.nanmax(levels)
        assert finite.min() == np.nanmin(levels)
    assert finite.size <= max(2 * (columns + 1), 2 * columns)
    assert (np.diff(times) >= 0).all()


@pytest.mark.parametrize("count", [200, 100_000])
def test_a_gap_breaks_the_line(count):
    times_s = np.arange(count) / 20
    levels = np.ones(count)
    levels[count // 2 : count // 2 + count // 10] = np.nan
    _, drawn_levels = drawable(times_s, levels, 200)
    assert np.isnan(drawn_levels).sum() == 1


def test_a_trace_of_an_hour_at_a_thousand_samples_a_second_is_drawn_from_few_points():
    times_s = np.arange(3_600_000) / 1000
    assert drawable(times_s, np.sin(times_s), 1400)[0].size <= 2 * 1401
