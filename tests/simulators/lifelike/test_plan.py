"""A plan knows when its device boots, and draws what was asked for."""

from __future__ import annotations

import numpy as np
import pytest

from wakerail_sim.lifelike.devices import draw_device
from wakerail_sim.lifelike.devices.device import Device
from wakerail_sim.lifelike.plan import Habit, Plan, Restart
from wakerail_sim.lifelike.stage import Stage
from wakerail_sim.noise import Floats

RATE_HZ = 2000.0
WARM, COLD = Restart(warm=True, gap_s=0.2), Restart(warm=False, gap_s=2.0)


def device(seed: int = 1) -> Device:
    return draw_device(np.random.default_rng(seed), "data-terminal")


def plan_of(of: Device, seed: int = 1) -> Plan:
    return Plan(np.random.default_rng(seed), of, rate_hz=RATE_HZ, length_s=60.0, meter_hz=100.0)


def drawn_a(plan: Plan, from_s: float, to_s: float) -> Floats:
    return plan.current_a()[int(from_s * RATE_HZ) : int(to_s * RATE_HZ)]


def test_the_first_boot_is_the_onset_and_the_next_are_restarts() -> None:
    plan = plan_of(device())
    plan.switch_on()
    booted_s = plan.now_s
    assert plan.onset_s is not None
    assert booted_s - plan.onset_s == pytest.approx(device().boot_s, rel=0.2)
    plan.restart(WARM)
    again_s = plan.now_s
    plan.restart(COLD)
    (ended_s, began_s), (cold_ended_s, cold_began_s) = plan.restarts
    assert (ended_s, began_s - ended_s) == (booted_s, pytest.approx(0.2))
    assert (cold_ended_s, cold_began_s - cold_ended_s) == (again_s, pytest.approx(2.0))
    assert plan.now_s + plan.left_s == pytest.approx(60.0)


def test_a_device_that_runs_from_the_begin_has_no_onset() -> None:
    plan = plan_of(device())
    plan.begins_running = True
    plan.run(device().modes.idle, 3.0)
    plan.restart(COLD)
    assert plan.onset_s is None
    assert plan.restarts == [(3.0, 5.0)]


def test_what_ended_before_the_device_went_down_ended_then() -> None:
    plan = plan_of(device())
    plan.run(device().modes.idle, 3.0)
    plan.restart(WARM, ended_s=1.0)
    assert plan.restarts == [(1.0, 3.2)]


def test_cold_nothing_flows_and_warm_what_flows_in_reset() -> None:
    of = device()
    for how, floor_a in ((COLD, of.off_a), (WARM, of.reset_a)):
        plan = plan_of(of)
        plan.run(of.modes.busy, 3.0)
        plan.restart(how)
        ended_s, again_s = plan.restarts[0]
        assert drawn_a(plan, again_s - 0.05, again_s - 0.01) == pytest.approx(floor_a, rel=0.3)
        assert drawn_a(plan, ended_s - 0.5, ended_s).mean() > 2 * floor_a
        assert drawn_a(plan, again_s + 0.01, again_s + 2.0).mean() > 2 * floor_a


def test_the_shorter_the_power_was_gone_the_less_charges_the_capacitors() -> None:
    of = device()
    charges = []
    for gap_s in (0.002, 0.02, 5.0):
        plan = plan_of(of)
        plan.run(of.modes.sleep, 1.0)
        plan.restart(Restart(warm=False, gap_s=gap_s), until=0.5)
        again_s = plan.restarts[0][1]
        charges.append(drawn_a(plan, again_s, again_s + 0.04).sum())
    assert charges == sorted(charges)
    assert charges[-1] > 1.5 * charges[0]


def test_a_boot_breaks_off_where_it_should() -> None:
    lengths_s = [stage.length_s for stage in device().stages]
    plan = plan_of(device())
    plan.boot(until=2.5)
    assert plan.now_s == pytest.approx(sum(lengths_s[:2]) + 0.5 * lengths_s[2], rel=0.2)


def test_a_warm_boot_goes_without_what_only_power_brings_about() -> None:
    of = draw_device(np.random.default_rng(1), "sensor-mcu")
    took_s = []
    for warm in (False, True):
        plan = plan_of(of)
        plan.warm_skips_below = 0.85
        plan.run(of.modes.busy, 2.0)
        plan.boot(warm=warm)
        took_s.append(plan.now_s - 2.0)
    skipped_s = took_s[0] - took_s[1]
    assert skipped_s > 0.9 * of.stages[0].length_s


def test_habits_come_while_the_mode_lasts_and_no_longer() -> None:
    quiet = Stage("quiet", level_a=0.01)
    knock = Stage("knock", length_s=0.05, level_a=1.0)
    for evenly in (True, False):
        plan = plan_of(device())
        plan.run(quiet, 20.0, [Habit(knock, 0.5, evenly)])
        plan.run(quiet, 5.0)
        current_a = plan.current_a()
        busy = np.flatnonzero(np.diff((current_a > 0.5).astype(int)) > 0) / RATE_HZ
        assert 25 <= len(busy) <= 45
        assert busy[-1] < 20.0
        assert evenly == (np.ptp(np.diff(busy)) < 0.1)


def test_an_interruption_leaves_nothing_and_then_charges() -> None:
    plan = plan_of(device())
    plan.run(Stage("even", level_a=0.2), 1.0)
    plan.interrupt(0.01)
    plan.run(Stage("even", level_a=0.2), 1.0)
    assert plan.restarts == []
    assert drawn_a(plan, 1.0, 1.02).min() < 0.05
    assert drawn_a(plan, 1.0, 1.1).max() > 0.21
    assert drawn_a(plan, 1.5, 1.9) == pytest.approx(0.2, rel=0.1)


def test_nothing_has_a_level_before_it_is_drawn() -> None:
    with pytest.raises(ValueError, match="nothing"):
        _ = plan_of(device()).level_a
