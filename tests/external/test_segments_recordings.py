"""Stages of other people's recordings, beside the times that their publishers or a careful eye gave.

Sources, licences and truths: ../shared/data/current/README.md.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wakerail.analysis.stages import Stage, stages_of
from wakerail.analysis.ticks import Condenser, join


@pytest.fixture(name="stages")
def _stages(reference: Path) -> Callable[..., tuple[Stage, ...]]:
    def stages(name: str, *breaks_s: float) -> tuple[Stage, ...]:
        file = reference / "data" / "current" / f"{name}.csv"
        if not file.exists():
            pytest.skip(f"the recording {file.name} is not here")
        with file.open(encoding="utf-8", newline="") as lines:
            rows = list(csv.DictReader(lines))
        signal = "current_a" if "current_a" in rows[0] else "power_w"
        condenser = Condenser()
        taken = condenser.take(*(np.array([float(row[column]) for row in rows]) for column in ("t_s", signal)))
        return stages_of(join([taken, condenser.finish()]), breaks_s)

    return stages


def starts(stages: tuple[Stage, ...]) -> list[float]:
    return [stage.start_s for stage in stages]


def test_a_sensor_boards_reset(stages):
    # falls at 0.03 s, boots at 0.20 s, 12.5 mA from 1.04 s, running again at 1.13 s; ticks are 20 ms
    found = stages("mcu_reset_once_a")
    assert starts(found) == pytest.approx([0, 0.03, 0.20, 1.04, 1.13], abs=0.021)
    assert found[3].mean_a == pytest.approx(0.0125, rel=0.03)
    assert found[4].mean_a == pytest.approx(0.0295, rel=0.03)


def test_radio_bursts_are_one_stage(stages):
    assert len(stages("mcu_radio_duty_cycle_no_restart")) == 1


def test_a_software_radios_cold_boot(stages):
    # supply on at 0.030 s, 81 mA while loading, ready with 142 mA at 0.289 s; ticks are 1.8 ms
    found = stages("sdr_cold_boot_quarter_second")
    assert starts(found) == pytest.approx([0, 0.030, 0.289], abs=0.002)
    assert found[1].mean_a == pytest.approx(0.081, rel=0.02)
    assert found[1].peak_a == pytest.approx(0.115, abs=0.001)


@pytest.mark.parametrize(("name", "onset_s", "low_power_s"), [("", 2.75, 37.1), ("_b", 1.1, 29.65)])
def test_a_modem_goes_to_low_power_and_bursts_do_not_clutter(stages, name, onset_s, low_power_s):
    found = stages(f"modem_power_on_once{name}", onset_s)
    assert min(abs(start_s - onset_s) for start_s in starts(found)) < 0.051
    assert found[-1].start_s == pytest.approx(low_power_s, abs=0.11)
    assert len(found) <= 10


def test_every_cycle_of_a_thermostat_is_two_stages(stages):
    on_s = [7225, 16092, 25347, 27515, 29199, 52616, 60215, 77753, 81820]
    off_s = [8009, 16909, 26125, 28652, 42390, 53419, 69666, 78489, 82620]
    assert starts(stages("heater_thermostat_cycles")) == pytest.approx(sorted([0, *on_s, *off_s]), abs=2)


def test_a_routers_load(stages):
    # by eye: up at 610 s, a bump from 2810 to 2985 s, down at 5410 s, up again at 6400 s; samples are 5 s apart
    found = starts(stages("router_load_phases_no_restart"))
    for at_s in (610, 2810, 2985, 5410, 6400):
        assert min(abs(start_s - at_s) for start_s in found) <= 10
    assert len(found) <= 9
