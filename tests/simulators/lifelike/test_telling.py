"""Restarts that nobody could see are left out, or said to be so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wakerail_sim.lifelike.meter import Meter
from wakerail_sim.lifelike.readings import Readings
from wakerail_sim.lifelike.telling import leave_out_unseen, shows_restarts
from wakerail_sim.noise import Floats

METER = Meter(rate_hz=100.0, noise_a=0.005, quantum_a=0.001)
T_S = np.arange(2000) / METER.rate_hz
EVEN_A = np.full(len(T_S), 0.2)


def with_level(from_s: float, to_s: float, level_a: float) -> Floats:
    start, end = np.searchsorted(T_S, [from_s, to_s])
    current_a = EVEN_A.copy()
    current_a[start:end] = level_a
    return current_a


def shown(true_a: Floats, *restarts: tuple[float, float], meter: Meter = METER, boot_s: float = 2.0) -> bool:
    return shows_restarts(Readings(T_S, true_a, true_a), restarts, meter, boot_s)


def test_a_restart_after_which_all_goes_on_as_before_shows_nothing() -> None:
    assert not shown(EVEN_A, (8.0, 8.0))
    assert shown(EVEN_A, boot_s=0.1), "there is none to show"


@pytest.mark.parametrize(
    ("true_a", "restart"),
    [
        (with_level(8.0, 8.5, 0.1), (8.0, 8.0)),
        (with_level(9.2, 9.5, 0.3), (8.0, 8.0)),
        (with_level(8.0, 8.3, 0.0), (8.0, 8.3)),
    ],
)
def test_a_level_of_the_boot_or_a_gap_shows_it(true_a: Floats, restart: tuple[float, float]) -> None:
    assert shown(true_a, restart)
    assert not shown(true_a, restart, (15.0, 15.0)), "each must show"


def test_what_drowns_in_noise_or_is_too_short_for_the_meter_does_not_show() -> None:
    stepped_a = with_level(8.0, 8.5, 0.19)
    assert shown(stepped_a, (8.0, 8.0))
    assert not shown(stepped_a, (8.0, 8.0), meter=replace(METER, noise_a=0.1))
    assert not shown(stepped_a, (8.0, 8.0), meter=replace(METER, held_samples=20))
    assert not shown(stepped_a, (8.0, 8.0), boot_s=0.1)


def test_a_load_before_the_restart_that_varies_as_much_hides_it() -> None:
    stepped_a = with_level(8.0, 8.5, 0.19)
    assert not shown(np.where(T_S < 8.0, stepped_a + 0.05 * (-1.0) ** np.arange(len(T_S)), stepped_a), (8.0, 8.0))


@pytest.mark.parametrize(("boot_s", "kept"), [(1.0, 2), (3.0, 1), (60.0, 1)])
def test_a_recording_ends_before_a_restart_whose_boot_it_does_not_show(boot_s: float, kept: int) -> None:
    restarts = [(5.0, 6.0), (18.0, 19.0)]
    left, current_a = leave_out_unseen(restarts, EVEN_A, METER.rate_hz, boot_s, fewest_samples=60)
    assert left == tuple(restarts[:kept])
    assert len(current_a) == (2000 if kept == 2 else 1799)


def test_some_samples_are_left_in_any_case() -> None:
    left, current_a = leave_out_unseen([(0.1, 19.9)], EVEN_A, METER.rate_hz, 1.0, fewest_samples=60)
    assert (left, len(current_a)) == ((), 60)
