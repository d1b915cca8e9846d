"""A plate's interlocks on other people's ovens: an honest heat trips none of them, with limits written for a slow oven.

Recordings, sources and truths: ../shared/data/thermal/README.md and ../shared/data/thermal_control/README.md.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from wakerail.bench.interlocks import Presence, Samples, Trip, keeper_for
from wakerail_kit.kinds import HEAT_SOURCE

#: As the comment in config/bench.yaml gives them.
SLOW_OVEN = {"temperature": 260.0, "rise-time": 60.0, "coast": 90.0, "overshoot": 45.0, "cool-time": 180.0}
Row = tuple[float, float, float, bool]  # time in s, reading and set point in degC, whether it heats

CONTROLLED = ["oven_two_step_240c", "oven_four_step_240c_slow_cool"]
LOGGED = [
    "2024-07-27_step_30_percent",
    "2024-07-27_step_50_percent",
    "2024-08-03_step_100_percent_until_100_degC_cooling_down_door_closed",
    "2024-12-21_controlled_adjusted_profile3",
]


def between(rows: list[tuple[float, float, float, float]]) -> list[Row]:
    """Return the rows as heated from the first command of any heat to the last."""
    heated = [index for index, row in enumerate(rows) if row[3] > 0]
    return [(*row[:3], heated[0] <= index <= heated[-1]) for index, row in enumerate(rows)]


def controlled(reference: Path, name: str) -> list[Row]:
    file = reference / "data" / "thermal" / f"{name}.csv"
    if not file.exists():
        pytest.skip(f"the recording {file.name} is not here")
    with file.open(encoding="utf-8", newline="") as lines:
        names = ("t_s", "temp_c", "setpoint_c", "heater_on")
        return between([tuple(float(row[name]) for name in names) for row in csv.DictReader(lines)])  # type: ignore[misc]


def logged(reference: Path, name: str) -> list[Row]:
    """An open-loop step has no set point: 250 degC is out of its reach, so it must go on rising."""
    file = reference / "data" / "thermal_control" / f"{name}.log"
    if not file.exists():
        pytest.skip(f"the recording {file.name} is not here")
    lines = file.read_text(encoding="utf-8").splitlines()
    begin = next(index for index, line in enumerate(lines) if line.startswith("Index"))
    rows = [[float(cell) for cell in line.split(",")] for line in lines[begin + 1 :] if line.strip()]
    closed = len(rows[0]) > 4
    return between([(row[1] / 1000, row[2], row[6] if closed else 250.0, row[4 if closed else 3]) for row in rows])


def trips_of(rows: list[Row], limits: dict[str, float]) -> list[Trip]:
    presence = Presence(float("inf"))
    presence.confirm(0.0)
    keeper, heats, setpoint_c = keeper_for(HEAT_SOURCE, limits, presence), None, None
    found = []
    for t_s, at_c, wanted_c, heated in rows:
        if wanted_c != setpoint_c:
            keeper.commanded("temperature", wanted_c, t_s)
        if heated is not heats:
            keeper.commanded("heater", heated, t_s)
        heats, setpoint_c = heated, wanted_c
        seen = Samples([t_s], {"temperature": [at_c], "setpoint": [wanted_c], "heater": [float(heated)]})
        if (trip := keeper.judge(seen) or keeper.check(t_s)) is not None:
            found.append(trip)
            keeper.reset(t_s)
    return found


@pytest.mark.parametrize("name", CONTROLLED + LOGGED)
def test_an_honest_heat_trips_nothing(reference: Path, name: str) -> None:
    rows = controlled(reference, name) if name in CONTROLLED else logged(reference, name)
    assert trips_of(rows, SLOW_OVEN) == []


def test_an_oven_that_coasts_for_a_minute_looks_like_a_stuck_relay_to_the_limits_of_a_plate(reference: Path) -> None:
    # "goes on rising 39.0 K for 70.5 s" after switching off; a plate's element has 15 s for that
    trips = [trip.interlock for trip in trips_of(logged(reference, LOGGED[2]), {"temperature": 260.0})]
    assert trips == ["no-rise", "unheated-rise"]
