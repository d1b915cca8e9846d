"""A plate is found again from its own noisy trace, and what is foretold of it holds as often as is claimed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.analysis.thermal.cells import Cells
from wakerail.analysis.thermal.identification import Form, Stretch, identify
from wakerail.analysis.thermal.plate_model import Commands, PlateModel, PlateState
from wakerail.analysis.thermal.prediction import Prediction, predict, time_until
from wakerail.analysis.thermal.trace import Trace

STEP_S = 0.5
LINEAR = Form(radiation=0.0)


def heated(plate: PlateModel, command: np.ndarray, noise_k: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """What a sensor of steps of 0.25 K shows of a plate."""
    t_s = np.arange(command.size) * STEP_S
    arriving = Commands(t_s, command).arriving(t_s, plate.dead_time_s)
    true_c = plate.run(PlateState(plate.room_c), arriving, STEP_S).temperature_c
    noisy_c = true_c + np.random.default_rng(seed).normal(0.0, noise_k, true_c.size)
    return t_s, np.round(noisy_c * 4) / 4


@settings(max_examples=10, deadline=None)
@given(
    loss_time_s=st.floats(60.0, 400.0),
    gain_k=st.floats(150.0, 500.0),
    noise_k=st.floats(0.1, 0.5),
    seed=st.integers(0, 2**32 - 1),
)
def test_time_constant_and_gain_of_a_first_order_step_are_found_within_5_percent(loss_time_s, gain_k, noise_k, seed):
    # T(t) = room + gain (1 - exp(-t / tau)), the step response of a first-order system, written out
    t_s = np.arange(0.0, 4 * loss_time_s, STEP_S)
    true_c = 23.0 + gain_k * (1 - np.exp(-t_s / loss_time_s))
    noisy_c = true_c + np.random.default_rng(seed).normal(0.0, noise_k, t_s.size)
    found = identify(t_s, noisy_c, np.ones_like(t_s), form=Form(room_c=23.0, radiation=0.0)).model
    assert found.loss_time_s == pytest.approx(loss_time_s, rel=0.05)
    assert found.heat_rate_k_per_s * found.loss_time_s == pytest.approx(gain_k, rel=0.05)
    assert found.lag_s + found.dead_time_s < 0.05 * loss_time_s


@settings(max_examples=6, deadline=None)
@given(
    loss_time_s=st.floats(150.0, 600.0),
    lag_s=st.floats(5.0, 40.0),
    dead_time_s=st.floats(0.0, 20.0),
    seed=st.integers(0, 2**32 - 1),
)
def test_lag_and_dead_time_are_found_by_a_pulse(loss_time_s, lag_s, dead_time_s, seed):
    plate = PlateModel(1.5, loss_time_s, lag_s, dead_time_s, 23.0)
    command = np.concatenate([np.zeros(40), np.ones(400), np.zeros(1200)])
    found = identify(*heated(plate, command, 0.2, seed), command)
    assert found.model.loss_time_s == pytest.approx(loss_time_s, rel=0.05)
    assert found.model.lag_s == pytest.approx(lag_s, rel=0.05, abs=0.5)
    assert found.model.dead_time_s == pytest.approx(dead_time_s, abs=0.7)


def test_the_stated_uncertainty_covers_the_truth_about_as_often_as_it_says():
    plate = PlateModel(1.8, 300.0, 15.0, 4.0, 23.0, 0.0)
    command = np.concatenate([np.zeros(20), np.ones(300)])
    truth = {"heat_rate_k_per_s": np.log(1.8), "loss_time_s": np.log(300.0), "lag_s": np.log(15.0)}
    inside = total = 0
    for seed in range(12):
        found = identify(*heated(plate, command, 0.3, seed), command, form=LINEAR)
        for place, name in enumerate(truth):
            total += 1
            inside += abs(found.parameters[place] - truth[name]) < 2 * found.uncertainty(name)
    # k = 2 is 95 % of normal errors; of 36 draws that are inside with 95 %, 29 or more are in 99.9 % of cases
    assert inside >= 29
    assert total == 36


def test_a_short_ramp_says_little_of_the_loss_and_says_so():
    plate = PlateModel(2.0, 300.0, 5.0, 2.0, 23.0)
    command = np.ones(60)
    found = identify(*heated(plate, command, 0.2, 1), command)
    assert found.uncertainty("loss_time_s") > 0.5
    longer = np.ones(400)
    assert identify(*heated(plate, longer, 0.2, 1), longer).uncertainty("loss_time_s") < 0.1


def test_a_prediction_holds_in_its_interval_and_widens_with_the_time():
    plate = PlateModel(2.0, 300.0, 12.0, 4.0, 23.0)
    command = np.ones(400)
    t_s, temperature_c = heated(plate, command, 0.3, 7)
    found = identify(t_s[:120], temperature_c[:120], command[:120])
    stretch = Stretch(Cells.of(Trace.of(t_s, temperature_c)), Commands(t_s, command))
    foretold = predict(found, stretch)
    assert (foretold.low_c - 1 < stretch.cells.temperature_c).all()
    assert (foretold.high_c + 1 > stretch.cells.temperature_c).all()
    assert foretold.uncertainty_k[-1] > foretold.uncertainty_k[130]
    through = predict(found, stretch, (120, 100.0))
    assert through.temperature_c[120] == pytest.approx(100.0)
    assert through.uncertainty_k[120] == pytest.approx(0.0)


def test_time_to_go_is_that_of_the_plate_and_lies_in_its_interval():
    plate = PlateModel(2.0, 300.0, 12.0, 4.0, 23.0)
    command = np.ones(600)
    t_s, temperature_c = heated(plate, command, 0.3, 3)
    found = identify(t_s[:160], temperature_c[:160], command[:160])
    stretch = Stretch(Cells.of(Trace.of(t_s, temperature_c)), Commands(t_s, command))
    now = int(np.searchsorted(stretch.cells.t_s, t_s[160]))
    whole = predict(found, stretch, (now, float(stretch.cells.temperature_c[now])))
    ahead = Prediction(whole.t_s[now:], whole.temperature_c[now:], whole.uncertainty_k[now:])
    true_s = np.interp(180.0, temperature_c, t_s) - stretch.cells.t_s[now]
    to_go = time_until(ahead, 180.0, rising=True)
    assert to_go.likely_s == pytest.approx(true_s, rel=0.1)
    assert to_go.least_s < true_s < to_go.most_s
    assert time_until(ahead, 2000.0, rising=True).likely_s is None
    assert time_until(ahead, 20.0, rising=True).likely_s == 0.0


def test_samples_that_are_not_believed_do_not_count():
    plate = PlateModel(2.0, 300.0, 12.0, 4.0, 23.0)
    command = np.ones(300)
    t_s, temperature_c = heated(plate, command, 0.2, 5)
    spoilt = temperature_c.tolist()
    believed = np.ones(300, dtype=bool)
    for place, wrong in ((3, 0.0), (50, 1023.75), (200, None)):
        spoilt[place], believed[place] = wrong, False
    found, clean = identify(t_s, spoilt, command, believed=believed), identify(t_s, temperature_c, command)
    assert found.model.loss_time_s == pytest.approx(clean.model.loss_time_s, rel=0.02)


@pytest.mark.parametrize(
    ("samples", "command", "says"),
    [(5, 1.0, "too few"), (50, 0.0, "never on")],
)
def test_what_cannot_be_identified_is_refused_in_words(samples, command, says):
    with pytest.raises(ValueError, match=says):
        identify(np.arange(samples) * 1.0, np.full(samples, 20.0), np.full(samples, command))
