"""Sensors of other people's ovens: an honest one is believed, a false reading is not, wherever it stands.

Recordings, sources and truths: ../shared/data/thermal/README.md and ../shared/data/thermal_control/README.md.
"""

from __future__ import annotations

import csv
import functools
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from wakerail.analysis.thermal.sensor import DoubtSort, SensorWatch, believed_of, doubts_of

Trace = tuple[list[float], list[float | None]]

NAMED = ["oven_two_step_240c", "oven_four_step_240c_slow_cool", "conveyor_oven_board_probe", "kiln_open_loop_step"]
LOGS = [
    "2024-07-27_step_30_percent",
    "2024-07-27_step_50_percent",
    "2024-08-03_step_100_percent_until_100_degC_cooling_down_door_closed",
    "2024-12-21_controlled_adjusted_profile3",
]
ELEMENT = ["element_step_up_400c", "element_cool_down_decimated10"]
#: What converters give when they fail: nothing, powers of two, full scales of 10, 12 and 16 bits.
FALSE_C = [0.0, 64.0, 256.0, 512.0, 1023.75, 1024.0, 2047.75, 3276.7, 4095.0]


@functools.cache
def recording(reference: Path, name: str) -> Trace:
    """Return times in s and readings in degC of a recording by its name."""
    folder = reference / "data" / ("thermal" if name in NAMED else "thermal_control")
    file = folder / f"{name}.{'log' if name in LOGS else 'csv'}"
    if not file.exists():
        pytest.skip(f"the recording {file.name} is not here")
    lines = file.read_text(encoding="utf-8").splitlines()
    if name in NAMED:
        rows = list(csv.DictReader(lines))
        return [float(row["t_s"]) for row in rows], [float(row["temp_c"]) for row in rows]
    if name in LOGS:
        begin = next(index for index, line in enumerate(lines) if line.startswith("Index"))
        cells = [line.split(",") for line in lines[begin + 1 :] if line.strip()]
        return [float(row[1]) / 1000 for row in cells], [float(row[2]) for row in cells]
    cells = [line.split(",") for line in lines if line.strip()][:: 10 if "step_up" in name else 1]
    begun = datetime.fromisoformat(cells[0][0])
    times_s = [(datetime.fromisoformat(row[0]) - begun).total_seconds() for row in cells]
    return times_s, [float(row[1]) for row in cells]


@pytest.mark.parametrize("name", NAMED + LOGS + ELEMENT)
def test_an_honest_run_cuts_nothing(reference: Path, name: str) -> None:
    """As if it had been heated all the time; the first row of the logs is a false one, before any heat."""
    t_s, temperature_c = recording(reference, name)
    cuts = [doubt for doubt in doubts_of(t_s, temperature_c) if doubt.cuts and doubt.at_s > t_s[0]]
    assert cuts == []
    assert np.mean(believed_of(t_s, temperature_c)) > 0.99


@pytest.mark.parametrize(
    ("name", "at_s"),
    [
        ("oven_two_step_240c", 0.0),  # 53.9 degC, then 41.7
        ("oven_four_step_240c_slow_cool", 35.11),  # down by 6.1 K
        ("oven_four_step_240c_slow_cool", 1809.62),  # down by 7.0 K and up again by 7.6 K
        ("2024-07-27_step_30_percent", 0.0),  # 3.75 degC
        ("2024-07-27_step_50_percent", 0.0),  # 3.75 degC
        (LOGS[2], 0.0),  # 0.0 degC
    ],
)
def test_the_glitches_that_the_readmes_tell_are_not_believed(reference: Path, name: str, at_s: float) -> None:
    doubted_s = [doubt.at_s for doubt in doubts_of(*recording(reference, name))]
    assert any(abs(doubted - at_s) < 0.02 for doubted in doubted_s)


@pytest.mark.parametrize("name", NAMED + LOGS + ELEMENT)
@pytest.mark.parametrize("value_c", FALSE_C)
def test_a_single_false_reading_cuts_at_once(reference: Path, name: str, value_c: float) -> None:
    """Anywhere, as long as it is further off than a plate of this noise could be."""
    t_s, temperature_c = recording(reference, name)
    for place in np.random.default_rng(11).integers(150, len(t_s) - 10, 3):
        begin, truth_c = place - 150, temperature_c[place]
        if truth_c is None or abs(value_c - truth_c) < 20.0:
            continue
        spoilt = [*temperature_c[begin:place], value_c, *temperature_c[place + 1 : place + 6]]
        doubts = doubts_of(t_s[begin : place + 6], spoilt)
        assert any(doubt.cuts and doubt.at_s == t_s[place] for doubt in doubts), (t_s[place], truth_c)


@pytest.mark.parametrize("name", NAMED + LOGS)
@pytest.mark.parametrize("share", [0.0, 0.5])
def test_a_sensor_is_not_believed_while_its_value_is_wrong_after_the_open_flag_cleared(
    reference: Path, name: str, share: float
) -> None:
    """The converter comes back from ``share`` of the truth in three seconds."""
    t_s, temperature_c = recording(reference, name)
    for place in np.random.default_rng(7).integers(150, len(t_s) - 60, 3):
        watch = SensorWatch()
        for index in range(place - 150, place + 2):
            watch.add(t_s[index], temperature_c[index], heating=True)
        (doubt,) = watch.add(t_s[place + 2], None, heating=True)
        assert doubt.sort is DoubtSort.OPEN
        assert doubt.cuts
        for index in range(place + 3, place + 40):
            truth_c = temperature_c[index] or 0.0
            grown = share + (1 - share) * min(1.0, (t_s[index] - t_s[place + 3]) / 3.0)
            watch.add(t_s[index], truth_c * grown, heating=True)
            assert watch.believed_c is None or abs(watch.believed_c - truth_c) < 12.0
