from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest

from wakerail_sim.noise import Noise
from wakerail_sim.plate import CAPACITY_J_PER_K, FANNED_K_PER_W, HEATER_W, LOSS_K_PER_W, PLATE_STEPS, ROOM_C, Plate
from wakerail_sim.plate_protocol import PlateProtocol
from wakerail_sim.ticks import STEP_S

TIME_CONSTANT_S = CAPACITY_J_PER_K * LOSS_K_PER_W  # of a lumped capacity that loses heat through one resistance


def run(plate: Plate, seconds: float) -> None:
    plate.pass_by(0, round(seconds / STEP_S))


def heated(setpoint_c: float, seconds: float) -> Plate:
    plate = Plate(Noise(1))
    plate.setpoint_c, plate.heater_on = setpoint_c, True
    run(plate, seconds)
    return plate


def test_it_stays_at_room_temperature_until_the_heater_is_on() -> None:
    plate = Plate(Noise(1))
    plate.setpoint_c = 230.0
    run(plate, 600)
    assert plate.temperature_c == ROOM_C


@pytest.mark.parametrize("setpoint_c", [60.0, 150.0, 230.0, 300.0])
def test_it_settles_on_its_set_point_without_much_overshoot(setpoint_c: float) -> None:
    plate = Plate(Noise(1))
    plate.setpoint_c, plate.heater_on = setpoint_c, True
    highest = ROOM_C
    for _ in range(900):
        run(plate, 1)
        highest = max(highest, plate.temperature_c)
    assert plate.temperature_c == pytest.approx(setpoint_c, abs=0.5)
    assert highest < setpoint_c + 5.0


def test_a_fan_blows_while_the_heater_is_off_and_only_then() -> None:
    fanned = Plate(Noise(1), has_fan=True)
    fanned.setpoint_c, fanned.heater_on = 230.0, True
    run(fanned, 900)
    assert fanned.temperature_c == pytest.approx(heated(230.0, 900).temperature_c)
    fanned.heater_on = False
    run(fanned, 20)
    begin_k = fanned.temperature_c - ROOM_C
    run(fanned, 60)
    assert fanned.temperature_c - ROOM_C == pytest.approx(
        begin_k * math.exp(-60 / (CAPACITY_J_PER_K * FANNED_K_PER_W)), rel=0.01
    )


def test_it_cools_as_a_first_order_system_does() -> None:
    plate = heated(230.0, 900)
    plate.heater_on = False
    run(plate, 20)  # until the element has given off what it held
    begin_k = plate.temperature_c - ROOM_C
    for after_s in (60, 120, 315, 600):
        cooled = heated(230.0, 900)
        cooled.heater_on = False
        run(cooled, 20 + after_s)
        expected_k = begin_k * math.exp(-after_s / TIME_CONSTANT_S)
        assert cooled.temperature_c - ROOM_C == pytest.approx(expected_k, rel=0.01)


def test_at_full_power_it_rises_as_a_first_order_step_response() -> None:
    # the thermostat saturates as long as the set point is far away, so the heater's step is full power
    after_s, lag_s = 60.0, 2.0
    plate = heated(350.0, after_s)
    final_k = HEATER_W * LOSS_K_PER_W
    tau = TIME_CONSTANT_S
    # response of a first-order plant to a step through a first-order lag
    expected_k = final_k * (1 - (tau * math.exp(-after_s / tau) - lag_s * math.exp(-after_s / lag_s)) / (tau - lag_s))
    assert plate.temperature_c - ROOM_C == pytest.approx(expected_k, rel=0.01)


def test_the_sensor_lags_behind_the_plate() -> None:
    plate = heated(230.0, 30)
    shown_c = plate.shown_c(0)
    assert shown_c is not None
    rate_k_per_s = (HEATER_W - (plate.temperature_c - ROOM_C) / LOSS_K_PER_W) / CAPACITY_J_PER_K
    assert plate.temperature_c - shown_c == pytest.approx(0.8 * rate_k_per_s, abs=0.4)


def test_an_open_sensor_stops_the_heating() -> None:
    plate = heated(230.0, 60)
    plate.faults()["sensor-open"]()
    run(plate, 20)
    warm_c = plate.temperature_c
    run(plate, 60)
    assert plate.shown_c(0) is None
    assert plate.heater_on
    assert plate.temperature_c < warm_c - 10


def test_how_the_time_is_cut_changes_nothing() -> None:
    whole, cut = heated(200.0, 10), Plate(Noise(1))
    cut.setpoint_c, cut.heater_on = 200.0, True
    edges = [0, *sorted(np.random.default_rng(3).integers(0, 10_000, 60).tolist()), 10_000]
    for begin, end in itertools.pairwise(edges):
        cut.pass_by(begin, end)
    assert cut.temperature_c == whole.temperature_c
    assert PLATE_STEPS == 50


@pytest.mark.parametrize(
    ("line", "answer"),
    [
        ("ID?", "Tarnwick,HP-3,SN1042,1.3"),
        ("T?", "T=25.0"),
        ("SP?", "SP=25.0"),
        ("SP 230.0", "OK"),
        ("SP 230", "OK"),
        ("SP 351", "ERR 2"),
        ("SP -1", "ERR 2"),
        ("H?", "H=0"),
        ("H 1", "OK"),
        ("H 2", "ERR 2"),
        ("SP", "ERR 1"),
        ("SP abc", "ERR 1"),
        ("t?", "ERR 1"),
        ("", "ERR 1"),
        ("\xff\xfe", "ERR 1"),
    ],
)
def test_the_plates_lines(lab: Any, line: str, answer: str) -> None:
    given = PlateProtocol(lab().world).answer(line.encode("latin-1"))
    assert given.endswith(b"\r\n")
    if answer.startswith("T="):
        assert float(given[2:]) == pytest.approx(25.0, abs=0.3)
    else:
        assert given.decode() == f"{answer}\r\n"


def test_what_is_set_can_be_read_back_and_heats(lab: Any) -> None:
    bench = lab()
    plate = PlateProtocol(bench.world)
    plate.answer(b"SP 120.5")
    plate.answer(b"H 1")
    assert plate.answer(b"SP?") == b"SP=120.5\r\n"
    assert plate.answer(b"H?") == b"H=1\r\n"
    bench.run(300)
    assert float(plate.answer(b"T?")[2:]) == pytest.approx(120.5, abs=1.0)


def test_the_sensor_opens_after_its_time(lab: Any) -> None:
    bench = lab("plate-sensor-open-after:5s")
    plate = PlateProtocol(bench.world)
    bench.run(4.9)
    assert plate.answer(b"T?") != b"T=OPEN\r\n"
    bench.run(0.2)
    assert plate.answer(b"T?") == b"T=OPEN\r\n"
