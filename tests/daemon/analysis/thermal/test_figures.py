"""The figures of a heat, on traces whose answer is known by arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.analysis.thermal.figures import read_figures
from wakerail.analysis.thermal.profile import Level, Limit, ThermalLimits

LIMITS = ThermalLimits(
    liquidus=Level(217.0, "a table"),
    peak_c=Limit(230.0, 245.0, "a table"),
    ramp_up_k_per_s=Limit(None, 3.0, "a table"),
    ramp_down_k_per_s=Limit(None, 6.0, "a table"),
    above_liquidus_s=Limit(60.0, 150.0, "a table"),
    soak_s=Limit(60.0, 120.0, "a table"),
    soak_between_c=(150.0, 200.0),
    to_peak_s=Limit(None, 480.0, "a table"),
    touch=Level(55.0, "a table"),
)


def trapezoid(up: float = 1.0, top_c: float = 240.0, hold_s: float = 60.0, down: float = 2.0, step_s: float = 0.5):
    """A heat from 20 degC in straight lines: up and down in K/s."""
    corners_s = np.cumsum([0.0, (top_c - 20) / up, hold_s, (top_c - 20) / down])
    t_s = np.arange(0.0, corners_s[-1] + step_s / 2, step_s)
    return t_s, np.interp(t_s, corners_s, [20.0, top_c, top_c, 20.0])


def test_figures_of_a_trapezoid_are_those_of_its_lines():
    t_s, temperature_c = trapezoid()
    figures = read_figures(t_s, temperature_c, LIMITS, setpoint_c=236.0)
    assert figures.ramp_up.value == pytest.approx(1.0)
    assert figures.ramp_down.value == pytest.approx(2.0)
    assert figures.peak.value == pytest.approx(240.0)
    assert figures.above_liquidus.value == pytest.approx(23 / 1 + 60 + 23 / 2)
    assert figures.soak.value == pytest.approx(50.0)
    assert figures.to_peak.value == pytest.approx(215.0)
    assert figures.overshoot.value == pytest.approx(4.0)
    assert figures.hold.value == pytest.approx(9 / 1 + 60 + 9 / 2)
    assert figures.hot.value == pytest.approx(185 + 60 + 185 / 2)
    assert [figure.name for figure in figures if figure.passed is False] == ["soak"]
    assert figures.passed is False


@settings(max_examples=30, deadline=None)
@given(
    up=st.floats(0.3, 3.0),
    down=st.floats(0.3, 6.0),
    hold_s=st.floats(0.0, 200.0),
    shift_s=st.floats(-1e4, 1e6),
    step_s=st.sampled_from([0.1, 0.5, 1.0]),
)
def test_figures_hang_neither_on_the_sampling_nor_on_where_time_begins(up, down, hold_s, shift_s, step_s):
    t_s, temperature_c = trapezoid(up, 240.0, hold_s, down, step_s)
    figures = read_figures(t_s + shift_s, temperature_c, LIMITS)
    # the corners fall between samples
    assert figures.above_liquidus.value == pytest.approx(23 / up + hold_s + 23 / down, abs=2 * step_s)
    assert figures.ramp_up.value == pytest.approx(up, rel=0.02)
    assert figures.ramp_down.value == pytest.approx(down, rel=0.02)
    assert figures.soak.value == pytest.approx(50 / up, abs=0.01)


def test_samples_without_data_and_samples_not_believed_are_left_out():
    t_s, temperature_c = trapezoid()
    plain = read_figures(t_s, temperature_c, LIMITS)
    spoilt = temperature_c.tolist()
    believed = [True] * len(spoilt)
    for place in range(7, len(spoilt), 50):
        spoilt[place] = None
    for place, wrong_c in zip(range(30, len(spoilt), 97), [0.0, 1023.75, 256.0] * 9, strict=False):
        spoilt[place], believed[place] = wrong_c, False
    figures = read_figures(t_s, spoilt, LIMITS, believed=believed)
    for figure, other in zip(figures, plain, strict=True):
        assert figure.value == (None if other.value is None else pytest.approx(other.value, abs=0.51))


def test_a_gap_leaves_open_what_may_have_happened_in_it():
    t_s, temperature_c = trapezoid()
    keep = (t_s < 190) | (t_s > 230)  # goes through 217 degC at 197 s
    above = read_figures(t_s[keep], temperature_c[keep], LIMITS).above_liquidus
    assert (above.least, above.value, above.most) == pytest.approx((61.5, 61.5, 102.0), abs=0.6)
    assert above.passed is True
    lower = ThermalLimits(LIMITS.liquidus, above_liquidus_s=Limit(70.0, None, "a table"))
    assert read_figures(t_s[keep], temperature_c[keep], lower).above_liquidus.passed is None


def test_a_heat_that_is_not_over_leaves_its_upper_limit_open():
    t_s, temperature_c = trapezoid(hold_s=100.0)
    going = t_s < 300
    above = read_figures(t_s[going], temperature_c[going], LIMITS).above_liquidus
    assert above.passed is None
    assert "still" in above.says


def test_a_rate_is_not_read_across_a_gap():
    t_s = np.concatenate([np.arange(0, 30, 0.5), np.arange(60, 90, 0.5)])
    temperature_c = np.where(t_s < 45, 30.0, 200.0)
    assert read_figures(t_s, temperature_c, LIMITS).ramp_up.value == pytest.approx(0.0)


def test_overshoot_is_that_of_the_worst_set_point_and_counts_coasting_after_the_heater_is_off():
    t_s = np.arange(0.0, 400.0, 1.0)
    temperature_c = np.interp(t_s, [0, 100, 120, 150, 250, 260, 400], [20, 150, 158, 150, 240, 252, 60])
    setpoint_c = np.where(t_s < 150, 150.0, np.where(t_s < 250, 240.0, 0.0))
    overshoot = read_figures(t_s, temperature_c, LIMITS, setpoint_c=setpoint_c).overshoot
    assert overshoot.value == pytest.approx(12.0)
    assert overshoot.from_s == pytest.approx(260.0)


def test_coming_down_to_a_lower_set_point_is_no_overshoot():
    t_s = np.arange(0.0, 300.0, 1.0)
    temperature_c = np.interp(t_s, [0, 100, 200, 300], [20, 150, 150, 100])
    setpoint_c = np.where(t_s < 200, 150.0, 100.0)
    assert read_figures(t_s, temperature_c, LIMITS, setpoint_c=setpoint_c).overshoot.value == pytest.approx(0.0)


@pytest.mark.parametrize("samples", [[], [20.0], [None, None], [20.0, None]])
def test_a_trace_of_next_to_nothing_has_no_figures_and_says_so(samples):
    figures = read_figures(np.arange(float(len(samples))), samples, LIMITS, setpoint_c=230.0)
    assert figures.passed is not True
    assert all(figure.words for figure in figures)


def test_columns_of_different_lengths_are_refused():
    with pytest.raises(ValueError, match="different lengths"):
        read_figures([0.0, 1.0], [20.0], LIMITS)
