"""The plate model beside reference libraries: scipy.signal for responses, scipy's matrix exponential and solver."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from wakerail.analysis.thermal.identification import Form, identify
from wakerail.analysis.thermal.plate_model import Commands, Load, PlateModel, PlateState

ROOM_C = 20.0


def test_a_step_response_is_that_of_scipys_transfer_function():
    # K / ((tau s + 1)(lag s + 1)), K = rate tau, delayed by the dead time
    rate, tau_s, lag_s, dead_s = 2.0, 300.0, 20.0, 7.0
    t_s = np.arange(0.0, 1500.0, 1.0)
    plate = PlateModel(rate, tau_s, lag_s, dead_s, ROOM_C, radiation=0.0)
    sent = Commands(np.array([0.0, 10.0]), np.array([0.0, 1.0]))
    ours_c = plate.run(PlateState(ROOM_C), sent.arriving(t_s, dead_s), 1.0).temperature_c
    system = signal.lti([rate * tau_s], [tau_s * lag_s, tau_s + lag_s, 1.0])
    _, theirs_k = signal.step(system, T=t_s)
    expected_c = ROOM_C + np.concatenate([np.zeros(17), theirs_k])[: t_s.size]
    assert ours_c == pytest.approx(expected_c, abs=1e-6)


@pytest.mark.parametrize("load", [None, Load(0.3, 0.02), Load(5.0, 0.005)])
def test_any_command_gives_what_scipys_lsim_gives(load):
    rate, tau_s, lag_s = 1.3, 250.0, 15.0
    share, coupling = (1.0, 0.0) if load is None else (load.share, load.coupling_per_s)
    system = signal.StateSpace(
        [[-1 / lag_s, 0, 0], [rate, -1 / tau_s - coupling, coupling], [0, coupling / share, -coupling / share]],
        [[1 / lag_s], [0], [0]],
        np.eye(3),
        np.zeros((3, 1)),
    )
    command = np.random.default_rng(4).uniform(0, 1, 400)
    t_s = np.arange(401) * 2.0
    _, _, states = signal.lsim(system, np.append(command, 0.0), t_s, X0=[0.2, 60.0, 40.0], interp=False)
    course = PlateModel(rate, tau_s, lag_s, 0.0, ROOM_C, 0.0, load).run(PlateState(80.0, 0.2, 60.0), command, 2.0)
    assert course.heat == pytest.approx(states[:, 0], abs=1e-9)
    assert course.temperature_c - ROOM_C == pytest.approx(states[:, 1], abs=1e-7)
    assert course.load_c - ROOM_C == pytest.approx(states[:, 2], abs=1e-7)


def test_one_step_is_that_of_scipys_matrix_exponential_also_where_two_time_constants_are_one():
    for tau_s, lag_s in ((300.0, 20.0), (50.0, 50.0)):
        rates = np.zeros((3, 3))
        rates[0, [0, 2]] = -1 / lag_s, 1 / lag_s
        rates[1, [0, 1]] = 2.0, -1 / tau_s
        expected = expm(rates * 3.0) @ [0.4, 30.0, 0.7]
        course = PlateModel(2.0, tau_s, lag_s, 0.0, ROOM_C, 0.0).run(PlateState(50.0, 0.4), np.array([0.7]), 3.0)
        assert (course.heat[1], course.temperature_c[1] - ROOM_C) == pytest.approx(expected[:2], abs=1e-9)


@pytest.mark.parametrize("radiation", [0.5, 1.0])
def test_with_radiation_the_course_is_that_of_scipys_solver(radiation):
    # Stefan-Boltzmann: the loss goes with the fourth power of the absolute temperature
    plate = PlateModel(2.0, 400.0, 10.0, 0.0, ROOM_C, radiation)
    room_k = ROOM_C + 273.15

    def slope(t_s, state):
        heat, level_c = state
        on = 1.0 if t_s < 150 else 0.0
        over_k, fourth_k = level_c - ROOM_C, ((level_c + 273.15) ** 4 - room_k**4) / (4 * room_k**3)
        return [(on - heat) / 10.0, 2.0 * heat - ((1 - radiation) * over_k + radiation * fourth_k) / 400.0]

    t_s = np.arange(0.0, 601.0)
    theirs = solve_ivp(slope, (0, 600), [0.0, ROOM_C], t_eval=t_s, max_step=1.0, rtol=1e-8).y[1]
    ours = plate.run(PlateState(ROOM_C), (t_s[:-1] < 150).astype(float), 1.0).temperature_c
    assert ours == pytest.approx(theirs, abs=0.1)


@pytest.mark.parametrize("seed", range(3))
def test_the_system_that_scipy_stepped_is_identified_within_5_percent(seed):
    rate, tau_s, lag_s = 1.6, 180.0, 12.0
    t_s = np.arange(0.0, 700.0, 0.5)
    _, rise_k = signal.step(signal.lti([rate * tau_s], [tau_s * lag_s, tau_s + lag_s, 1.0]), T=t_s)
    # the noise of the recorded ovens: 0.15 K, in steps of 0.25 K
    noisy_c = np.round(4 * (ROOM_C + rise_k + np.random.default_rng(seed).normal(0, 0.15, t_s.size))) / 4
    found = identify(t_s, noisy_c, np.ones_like(t_s), form=Form(room_c=ROOM_C, radiation=0.0)).model
    assert found.heat_rate_k_per_s == pytest.approx(rate, rel=0.05)
    assert found.loss_time_s == pytest.approx(tau_s, rel=0.05)
    assert found.lag_s + found.dead_time_s == pytest.approx(lag_s, rel=0.05)
