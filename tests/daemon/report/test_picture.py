"""The picture of a trace."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.image import imread

from wakerail.report.picture import draw_trace, trace_sheet
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


@pytest.mark.parametrize("size_in", [(7.0, 3.2), (10.0, 5.0), (7.0, 2.6)])
@pytest.mark.parametrize("factor", [1.0, 3.0])
def test_the_labels_of_two_axes_do_not_touch(size_in, factor):
    times_s, current_a, restarts = loop()
    given = {"voltage_v": 3.85 - 0.05 * current_a, "restarts": restarts, "onset_s": 2.0, "size_in": size_in}
    sheet = trace_sheet(times_s, factor * current_a, **given)
    FigureCanvasAgg(sheet).draw()
    one, other = (axes.yaxis.label.get_window_extent() for axes in sheet.axes[1:3])
    assert one.y0 - other.y1 > 2.0  # pixels; the first is above
    assert min(one.x0, other.x0) >= 0.0


def within(axes, label):
    low, high = axes.get_ylim()
    return low <= label.get_position()[1] <= high


@pytest.mark.parametrize("size_in", [(7.0, 3.2), (10.0, 5.0), (7.0, 2.6)])
@pytest.mark.parametrize("voltage_v", [0.9, 3.3, 3.85, 4.2, 5.0, 9.0])
def test_the_figures_of_two_axes_do_not_touch(size_in, voltage_v):
    times_s, current_a, restarts = loop()
    sheet = trace_sheet(times_s, current_a, voltage_v=voltage_v - 0.05 * current_a, restarts=restarts, size_in=size_in)
    FigureCanvasAgg(sheet).draw()
    above, below = (
        [label.get_window_extent() for label in axes.get_yticklabels() if within(axes, label)]
        for axes in sheet.axes[1:3]
    )
    assert min(box.y0 for box in above) >= max(box.y1 for box in below)
    assert len(below) >= 2


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


STAGES = [(0.0, 2.0, 0.0003), (2.0, 2.35, 0.09), (2.35, 3.55, 0.26), (3.55, 6.05, 0.65), (6.05, 19.8, 0.3)]


def test_stages_are_numbered_and_their_means_drawn(tmp_path):
    said = texts(drawn(tmp_path / "with.svg", stages=STAGES))
    assert {"stages", "mean of each stage", "1", "3", "4", "5"} <= set(said)
    assert not {"stages", "mean of each stage", "5"} & set(texts(drawn(tmp_path / "without.svg")))


def test_narrow_stages_share_their_numbers(tmp_path):
    narrow = [(number / 5, (number + 1) / 5, 0.1) for number in range(10)]
    said = set(texts(drawn(tmp_path / "trace.svg", stages=[*narrow, (2.0, 19.8, 0.3)])))
    assert {"1-10", "11"} <= said
    assert not {"2", "10"} & said


def test_stages_too_many_to_read_are_counted_and_not_drawn(tmp_path):
    many = [(number / 5, (number + 1) / 5, 0.1) for number in range(90)]
    said = texts(drawn(tmp_path / "trace.svg", stages=many))
    assert "(90 stages not drawn)" in said
    assert not {"stages", "mean of each stage"} & set(said)


def test_a_restart_that_is_not_sure_says_how_sure_it_is(tmp_path):
    said = set(texts(drawn(tmp_path / "some.svg", probabilities=[0.999, 0.874, 0.995])))
    assert {"restart 1", "restart 2 (87 %)", "restart 3", "restart", "restart, less than 90 % sure"} <= said
    assert "restart, less than 90 % sure" not in texts(drawn(tmp_path / "all.svg", probabilities=[0.999, 0.998, 1.0]))
    assert "restart" not in texts(drawn(tmp_path / "none.svg", probabilities=[0.7, 0.8, 0.899]))


def test_the_last_restart_is_labelled_within_the_picture(tmp_path):
    """Near the right edge its label goes to the other side of its mark."""
    times_s = np.arange(400) / 20
    out = tmp_path / "trace.svg"
    draw_trace(times_s, np.ones(400), restarts=[(5.0, 5.4), (19.5, 19.9)], title="t", subtitle="s", out=out)
    svg = out.read_text(encoding="utf-8")
    (label,) = re.findall(r"<text style=\"([^\"]*)\"[^>]*>restart 2</text>", svg)
    assert "text-anchor: end" in label


def test_the_legend_names_what_is_drawn_and_nothing_else(tmp_path):
    assert {"current", "between two boots"} <= set(texts(drawn(tmp_path / "all.svg")))
    said = set(texts(drawn(tmp_path / "few.svg", restarts=(), onset_s=None, prompt_s=None)))
    assert "current" in said
    assert not {"between two boots", "restart", "onset", "prompt"} & said


@pytest.mark.parametrize(("factor", "label"), [(1.0, "power (mW)"), (20.0, "power (W)")])
def test_power_is_drawn_as_power(tmp_path, factor, label):
    times_s, current_a, _ = loop()
    out = tmp_path / "trace.svg"
    draw_trace(times_s, current_a * factor, unit="W", stages=[(0, 2, 0.3)], title="t", subtitle="s", out=out)
    assert {label, "power"} <= set(texts(out))


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
