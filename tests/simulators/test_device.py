from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from wakerail_sim.stages import DRAWS, Stage

WHOLE_BOOT = [Stage.OFF, Stage.ROM, Stage.LOADER, Stage.KERNEL, Stage.SYSTEM, Stage.RUNNING]
BOOT_S = 0.35 + 1.2 + 2.5 + 3.0


def pressed(bench: Any, limit: float = 3.0) -> Any:
    bench.power(limit=limit)
    bench.run(0.05)
    bench.press()
    return bench


def collapses(currents: np.ndarray, below_a: float, at_least_s: float) -> int:
    """Count the stretches of samples (2 ms apart) that stay low for so long."""
    low = np.concatenate(([False], currents < below_a, [False]))
    edges = np.flatnonzero(np.diff(low.astype(int)))
    return int(np.sum((edges[1::2] - edges[::2]) * 0.002 >= at_least_s))


def test_a_healthy_device_boots_through_its_stages_and_stays_up(lab: Any) -> None:
    bench = pressed(lab())
    assert bench.stages(30.0) == WHOLE_BOOT[1:]
    with bench.world.present():
        assert bench.world.device.boots == 1


@pytest.mark.parametrize(
    ("begin_s", "end_s", "stage"),
    [(0.05, 0.3, "rom"), (0.4, 1.5, "loader"), (1.6, 4.0, "kernel"), (4.1, 7.0, "system"), (7.1, 20.0, "running")],
)
def test_each_stage_draws_its_mean(lab: Any, begin_s: float, end_s: float, stage: str) -> None:
    currents = lab().boot(20.0)
    mean_a = currents[round(begin_s / 0.002) : round(end_s / 0.002)].mean()
    assert mean_a == pytest.approx(DRAWS[Stage(stage)].mean_a, rel=0.06)


def test_the_button_does_nothing_without_power(lab: Any) -> None:
    bench = lab()
    bench.press()
    bench.power()
    bench.run(1.0)
    assert bench.stage is Stage.OFF
    bench.tell("VOLT 2.5")
    bench.press()
    assert bench.stage is Stage.OFF


def test_standing_current_before_the_button_is_next_to_nothing(lab: Any) -> None:
    bench = lab()
    bench.power()
    bench.run(1.0)
    assert bench.samples()[5:].mean() == pytest.approx(0.0003, abs=0.0001)


@pytest.mark.parametrize("message", ["OUTP OFF", "VOLT 2.0", "VOLT 0", "*RST"])
def test_losing_the_supply_resets_the_device(lab: Any, message: str) -> None:
    bench = pressed(lab())
    bench.run(9.0)
    assert bench.stage is Stage.RUNNING
    bench.tell(message)
    bench.run(0.1)
    assert bench.stage is Stage.OFF
    bench.power()
    bench.run(2.0)
    assert bench.stage is Stage.OFF  # it takes the button again


def test_a_short_dip_is_survived_and_a_long_one_is_not(lab: Any) -> None:
    for dip_s, after in ((0.09, Stage.RUNNING), (0.11, Stage.OFF)):
        bench = pressed(lab())
        bench.run(9.0)
        bench.tell("VOLT 2.9")
        bench.run(dip_s)
        bench.tell("VOLT 3.85")
        bench.run(1.0)
        assert bench.stage is after


def test_a_limit_that_is_too_low_browns_the_device_out(lab: Any) -> None:
    bench = pressed(lab(), limit=0.5)
    assert bench.stages(10.0) == [Stage.ROM, Stage.LOADER, Stage.KERNEL, Stage.OFF]
    currents = bench.samples()
    voltages = np.array([float(value) for value in bench.ask("FETC:ARR:VOLT?").split(",")])
    assert currents.max() == pytest.approx(0.5, abs=0.001)
    assert voltages[50:].min() < 0.8 * 3.85
    assert int(bench.ask("STAT:QUES?")) & 1


def test_a_dead_short_pulls_the_voltage_down(lab: Any) -> None:
    bench = pressed(lab("dead-short"), limit=2.0)
    bench.run(0.1)
    assert bench.stage is Stage.OFF
    assert float(bench.ask("MEAS:VOLT?")) == pytest.approx(0.1, abs=0.002)
    assert float(bench.ask("MEAS:CURR?")) == pytest.approx(2.0, abs=0.001)
    assert bench.ask("STAT:QUES:COND?") == "1"


def test_a_standing_draw_is_there_before_the_button_and_under_the_boot(lab: Any) -> None:
    bench = lab("standing-draw:40mA")
    bench.power()
    bench.run(1.0)
    assert bench.samples()[5:].mean() == pytest.approx(0.0403, abs=0.0005)
    bench.press()
    assert bench.stages(9.0)[-1] is Stage.RUNNING
    bench.samples()
    bench.run(5.0)
    assert bench.samples().mean() == pytest.approx(0.230, abs=0.01)


@pytest.mark.parametrize("stage", ["rom", "loader", "kernel", "system", "running"])
def test_a_restart_at_a_stage_comes_again_and_again(lab: Any, stage: str) -> None:
    bench = lab(f"restart-at-stage:{stage}")
    currents = bench.boot(19.0)
    before_s = sum(DRAWS[each].duration_s or 0 for each in WHOLE_BOOT[1 : WHOLE_BOOT.index(Stage(stage))])
    half_s = (DRAWS[Stage(stage)].duration_s or 8.0) / 2
    period_s = before_s + half_s + 0.4
    with bench.world.present():
        assert bench.world.device.boots == 1 + int(19.0 / period_s)
    # a collapse has been low for 0.3 s when the next boot is 0.1 s away
    assert collapses(currents, 0.02, 0.3) == int(19.1 / period_s)


def test_a_restarting_device_never_gets_beyond_its_stage(lab: Any) -> None:
    bench = pressed(lab("restart-at-stage:kernel"))
    seen = bench.stages(12.0)
    assert set(seen) == {Stage.ROM, Stage.LOADER, Stage.KERNEL, Stage.RESTARTING}
    assert seen[:5] == [Stage.ROM, Stage.LOADER, Stage.KERNEL, Stage.RESTARTING, Stage.ROM]


def test_the_watchdog_restarts_near_three_minutes(lab: Any) -> None:
    bench = pressed(lab("watchdog-restart"))
    bench.run(179.9)
    assert bench.stage is Stage.RUNNING
    bench.run(0.2)
    assert bench.stage is Stage.RESTARTING
    bench.run(180.2)
    assert bench.stage is Stage.RUNNING
    bench.run(0.2)
    assert bench.stage is Stage.RESTARTING  # counted from its second boot


def test_a_device_restarts_for_want_of_a_part_while_it_is_unplugged(lab: Any) -> None:
    bench = lab("missing-part-restart:front-sensor")
    bench.world.device.unplugged.add("front-sensor")
    pressed(bench)
    bench.run(179.9)
    assert bench.stage is Stage.RUNNING
    bench.run(0.2)
    assert bench.stage is Stage.RESTARTING
    with bench.world.present():
        bench.world.device.unplugged.discard("front-sensor")
    bench.run(20.0)
    assert bench.stages(200.0, every=0.2) == [Stage.RUNNING]


def test_a_part_makes_it_restart_until_that_part_is_unplugged(lab: Any) -> None:
    bench = pressed(lab("part-restart:scanner"))
    seen = bench.stages(15.0)
    assert Stage.RESTARTING in seen
    assert Stage.RUNNING not in seen
    with bench.world.present():
        bench.world.device.unplugged.add("display")
    assert Stage.RUNNING not in bench.stages(15.0)
    with bench.world.present():
        bench.world.device.unplugged.add("scanner")
    assert bench.stages(20.0)[-1] is Stage.RUNNING


def test_a_sound_part_in_its_place_lets_the_device_run(lab: Any) -> None:
    bench = lab("part-restart:scanner")
    bench.world.device.replaced.add("scanner")
    pressed(bench)
    assert Stage.RESTARTING not in bench.stages(40.0)


@pytest.mark.parametrize(("chance", "low", "high"), [("0", 0, 0), ("1", 100, 100), ("0.3", 15, 45)])
def test_an_intermittent_restart_comes_with_its_probability(lab: Any, chance: str, low: int, high: int) -> None:
    bench = lab(f"intermittent-restart:{chance}")
    bench.power()
    restarted = 0
    for _ in range(100):
        bench.press()
        bench.run(BOOT_S + 0.01)
        restarted += bench.stage is not Stage.RUNNING
        bench.tell("OUTP OFF")
        bench.tell("OUTP ON")
    assert low <= restarted <= high


def test_sleep_and_wake_look_like_a_restart_and_are_none(lab: Any) -> None:
    bench = pressed(lab("sleep-wake"))
    bench.run(8.0)
    bench.samples()
    bench.run(9.0)
    currents = bench.samples()
    assert bench.stage is Stage.RUNNING
    assert collapses(currents, 0.02, 2.9) == 1
    assert currents.min() > 0.009  # it sleeps at 12 mA: far above what a device that is off draws
    with bench.world.present():
        assert bench.world.device.boots == 1
    assert len(bench.usb) == 3  # loader came and went, running came and stayed


def test_a_stalled_device_stays_in_its_stage(lab: Any) -> None:
    bench = pressed(lab("stalls-at-stage:loader"))
    assert bench.stages(60.0) == [Stage.ROM, Stage.LOADER]
    bench.samples()
    bench.run(5.0)
    assert bench.samples().mean() == pytest.approx(DRAWS[Stage.LOADER].mean_a, rel=0.03)


def test_no_draw_means_that_the_button_does_nothing(lab: Any) -> None:
    currents = lab("no-draw").boot(10.0)
    assert currents.max() < 0.002


def test_bridged_layers_draw_more_as_they_heat(lab: Any) -> None:
    bench = lab("bridged-layers")
    with bench.world.present():
        cold_c = bench.world.hot_spot_c()
    bench.power()
    bench.run(1.0)
    early = bench.samples()[5:].mean()
    bench.run(60.0)
    late = bench.samples()[-100:].mean()
    with bench.world.present():
        hot_c = bench.world.hot_spot_c()
    assert 0.1 < early < late < 0.25
    assert cold_c == 25.0
    assert 55 < hot_c < 80


def test_faults_can_be_combined(lab: Any) -> None:
    bench = lab("standing-draw:40mA", "restart-at-stage:system", "stalls-at-stage:kernel")
    bench.power()
    bench.press()
    assert bench.stages(20.0) == [Stage.ROM, Stage.LOADER, Stage.KERNEL]
