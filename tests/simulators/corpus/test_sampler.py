from __future__ import annotations

import pytest

from wakerail_sim.corpus import CONFUSERS, FAULTS, RATES_HZ, draw_faulty, draw_healthy, make_recording


def test_every_fault_and_confuser_is_drawn() -> None:
    faulty = [draw_faulty(seed, 20.0) for seed in range(400)]
    healthy = [draw_healthy(seed, 20.0) for seed in range(400)]
    assert {(case.fault, case.warm) for case in faulty} == {(fault, warm) for fault in FAULTS for warm in (False, True)}
    for cases in (faulty, healthy):
        assert {kind for case in cases for kind in case.confusers} == set(CONFUSERS)
        assert {case.averaged for case in cases} == {case.begins_running for case in cases} == {True, False}
        assert any(not case.confusers for case in cases)
    assert all(case.fault is None and case.length_s >= 900 for case in healthy)


def test_a_seed_stands_for_one_case() -> None:
    assert draw_faulty(7, 20.0) == draw_faulty(7, 20.0)
    assert draw_faulty(7, 20.0) != draw_faulty(8, 20.0)


@pytest.mark.parametrize("rate_hz", [rate_hz for rate_hz in RATES_HZ if rate_hz <= 200])
def test_every_drawn_device_that_should_restart_does_and_no_other(rate_hz: float) -> None:
    for seed in range(20):
        assert make_recording(draw_faulty(seed, rate_hz), seed).truth.restarts
    assert make_recording(draw_healthy(0, rate_hz), 0).truth.restarts == ()
