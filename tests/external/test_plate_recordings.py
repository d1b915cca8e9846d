"""The plate model on other people's ovens: fitted to one run it foretells others, within the errors stated here.

Recordings, sources and truths: ../shared/data/thermal/README.md and ../shared/data/thermal_control/README.md. The
errors were measured first and are stated rounded up. An oven is no plate: its element glows, its walls soak, and the
runs are a week to five months apart.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from wakerail.analysis.thermal.cells import Cells
from wakerail.analysis.thermal.identification import Form, Identified, Stretch, fit, identify
from wakerail.analysis.thermal.plate_model import Commands
from wakerail.analysis.thermal.plate_watch import Misbehaviour, PlateWatch
from wakerail.analysis.thermal.prediction import Prediction, predict
from wakerail.analysis.thermal.sensor import believed_of
from wakerail.analysis.thermal.trace import Floats, Trace

LOGS = {
    "30": "2024-07-27_step_30_percent.log",
    "50": "2024-07-27_step_50_percent.log",
    "100": "2024-08-03_step_100_percent_until_100_degC_cooling_down_door_closed.log",
    "loop": "2024-12-21_controlled_adjusted_profile3.log",
}
Run = tuple[Floats, Floats, Floats]


def text_of(file: Path) -> list[str]:
    if not file.exists():
        pytest.skip(f"the recording {file.name} is not here")
    return file.read_text(encoding="utf-8").splitlines()


def logged(reference: Path, name: str) -> Run:
    """Time, temperature and command, without the false first row; the closed loop until its peak only."""
    lines = text_of(reference / "data" / "thermal_control" / LOGS[name])
    rows = np.array([[float(cell) for cell in line.split(",")] for line in lines if line[:1].isdigit()])
    command = rows[:, 4 if name == "loop" else 3] / 100
    keep = rows[:, 1] <= 590_500 if name == "loop" else rows[:, 1] > 0
    return rows[keep, 1] / 1000, rows[keep, 2], command[keep]


def kiln(reference: Path) -> Run:
    rows = list(csv.DictReader(text_of(reference / "data" / "thermal" / "kiln_open_loop_step.csv")))
    t_s = np.array([float(row["t_s"]) for row in rows])
    return t_s, np.array([float(row["temp_c"]) for row in rows]), np.ones_like(t_s)


@pytest.fixture(scope="module", name="plates")
def _plates(reference: Path) -> Callable[[str], Identified]:
    """The oven identified from one of its runs, each run fitted once."""
    return cache(lambda name: identify(*logged(reference, name)))


def stretch_of(run: Run) -> Stretch:
    t_s, temperature_c, command = run
    return Stretch(Cells.of(Trace.of(t_s, temperature_c), most=1500), Commands(t_s, command))


def foretell(plate: Identified, run: Run) -> tuple[Prediction, Floats]:
    """Foretell a run from its first temperature, the room's, and all that was sent to the heater; and the errors."""
    _, temperature_c, command = run
    room_c = float(np.median(temperature_c[: max(int(np.argmax(command > 0)), 1)]))
    here = replace(plate, form=replace(plate.form, room_c=room_c), parameters=np.append(plate.parameters[:-1], room_c))
    stretch = stretch_of(run)
    foretold = predict(here, stretch)
    return foretold, foretold.temperature_c - stretch.cells.temperature_c


# fitted to, foretold, greatest error as a share of the rise, share of the samples within the interval (k = 2)
STATED = [
    ("30", "50", 0.08, 0.95),
    ("30", "100", 0.17, 0.95),
    ("30", "loop", 0.10, 0.90),
    ("50", "30", 0.12, 0.70),
    ("50", "100", 0.14, 0.90),
    ("50", "loop", 0.19, 0.55),
    ("100", "30", 0.08, 0.95),
    ("100", "50", 0.04, 0.90),
    ("100", "loop", 0.15, 0.70),
]


@pytest.mark.parametrize(("fitted", "foretold", "error", "inside"), STATED)
def test_a_model_fitted_to_one_run_foretells_the_others(reference, plates, fitted, foretold, error, inside):
    run = logged(reference, foretold)
    prediction, off_k = foretell(plates(fitted), run)
    rise_k = run[1].max() - run[1][0]
    assert np.abs(off_k).max() < error * rise_k
    assert np.mean(np.abs(off_k) < 2 * prediction.uncertainty_k + 1) > inside


# on 30.5 s; off 128.5 s at 99.5 degC; goes on rising 39.0 K for 70.5 s to 138.5 degC
@pytest.mark.parametrize(("fitted", "off_k", "off_s"), [("30", 6.0, 13.0), ("50", 6.0, 5.0), ("100", 4.0, 3.0)])
def test_how_far_and_how_long_it_coasts_on_after_the_heater_is_off(reference, plates, fitted, off_k, off_s):
    prediction, _ = foretell(plates(fitted), logged(reference, "100"))
    peak = int(prediction.temperature_c.argmax())
    at_switch_off_c = float(np.interp(128.5, prediction.t_s, prediction.temperature_c))
    assert prediction.temperature_c[peak] - at_switch_off_c == pytest.approx(39.0, abs=off_k)
    assert prediction.t_s[peak] - 128.5 == pytest.approx(70.5, abs=off_s)
    assert prediction.low_c[peak] < 138.5 < prediction.high_c[peak]


# so many seconds after the command of 30.5 s it is 5 K above what it was then (README)
@pytest.mark.parametrize(("name", "was_c", "plus_5_s"), [("30", 27.25, 50.5), ("50", 34.75, 39.5)])
def test_it_begins_to_rise_about_when_it_was_stated_to(reference, plates, name, was_c, plus_5_s):
    prediction, _ = foretell(plates(name), logged(reference, name))
    up = Trace.of(prediction.t_s, prediction.temperature_c).rises_through(was_c + 5.0)
    assert up[0] - 30.5 == pytest.approx(plus_5_s, abs=7.0)


@pytest.mark.parametrize(("until_s", "after_100_s_k"), [(200.0, 3.0), (300.0, 3.0), (450.0, 3.0), (600.0, 4.0)])
def test_a_plate_alone_foretells_the_kiln_for_100_s(reference, until_s, after_100_s_k):
    """Not for longer: behind the chamber are walls that take heat for an hour, and this form has none."""
    t_s, temperature_c, command = kiln(reference)
    seen = t_s < until_s
    plate = identify(t_s[seen], temperature_c[seen], command[seen])
    stretch = stretch_of((t_s, temperature_c, command))
    now = int(np.searchsorted(stretch.cells.t_s, until_s - 1))
    foretold = predict(plate, stretch, (now, float(stretch.cells.temperature_c[now])))
    ahead = (stretch.cells.t_s > until_s) & (stretch.cells.t_s < until_s + 100)
    off_k = (foretold.temperature_c - stretch.cells.temperature_c)[ahead]
    assert np.abs(off_k).max() < after_100_s_k
    assert (np.abs(off_k) < 2 * foretold.uncertainty_k[ahead] + 0.1).mean() > 0.95


@pytest.mark.parametrize(("until_s", "error_k"), [(600.0, 15.0), (1000.0, 10.0)])
def test_a_plate_with_a_load_foretells_the_kiln_to_its_end(reference, until_s, error_k):
    """To 430 degC at 1644 s; the README says that it is flat for about 20 s at first."""
    t_s, temperature_c, command = kiln(reference)
    seen = t_s < until_s
    plate = identify(t_s[seen], temperature_c[seen], command[seen], form=Form(with_load=True))
    prediction, off_k = foretell(plate, (t_s, temperature_c, command))
    rest = prediction.t_s > until_s
    assert np.abs(off_k[rest]).max() < error_k
    assert (np.abs(off_k[rest]) < 2 * prediction.uncertainty_k[rest]).all()
    assert plate.model.dead_time_s == pytest.approx(15.0, abs=2.0)
    assert plate.residual_k < 0.5


def element(reference: Path) -> tuple[Floats, Floats]:
    lines = text_of(reference / "data" / "thermal_control" / "element_cool_down_decimated10.csv")
    rows = [line.split(",") for line in lines]
    begun = datetime.fromisoformat(rows[0][0])
    t_s = np.array([(datetime.fromisoformat(moment) - begun).total_seconds() for moment, _ in rows])
    return t_s, np.array([float(value) for _, value in rows])


@pytest.mark.parametrize(("form", "error_k"), [(Form(26.0, 0.0), 13.0), (Form(26.0), 5.0)])
def test_an_element_that_cools_follows_newtons_law_and_better_with_radiation(reference, form, error_k):
    """Fitted to the first 300 s of its cooling, from 392 to 210 degC; foretold to 33 degC half an hour later.

    Newton's law of cooling (radiation 0) is an exponential; Stefan-Boltzmann adds the fourth power. The room's 26 degC
    are those that the same element's run began at.
    """
    t_s, temperature_c = element(reference)
    off = Commands(np.array([0.0]), np.array([0.0]))
    seen = Trace.of(t_s[t_s < 300], temperature_c[t_s < 300])
    plate = fit([Stretch(Cells.of(seen), off, held=True)], seen.noise_k(), form)
    whole = Stretch(Cells.of(Trace.of(t_s, temperature_c)), off, held=True)
    off_k = predict(plate, whole).temperature_c - whole.cells.temperature_c
    assert np.nanmax(np.abs(off_k)) < error_k


def alarm_in(run: Run) -> Misbehaviour | None:
    watch = PlateWatch()
    believed = believed_of(run[0].tolist(), run[1].tolist())
    for t_s, temperature_c, command, stands in zip(*run, believed, strict=True):
        watch.take(float(t_s), float(temperature_c) if stands else None, float(command))
    assert watch.plate is not None
    return watch.misbehaviour


@pytest.mark.parametrize("name", ["100", "loop"])
def test_an_oven_that_is_what_it_was_raises_no_alarm(reference, name):
    assert alarm_in(logged(reference, name)) is None


def test_an_oven_that_is_switched_on_and_off_and_whose_door_is_opened_to_cool_raises_no_alarm(reference):
    rows = list(csv.DictReader(text_of(reference / "data" / "thermal" / "oven_two_step_240c.csv")))
    assert (
        alarm_in(tuple(np.array([float(row[key]) for row in rows]) for key in ("t_s", "temp_c", "heater_on"))) is None
    )


def test_an_oven_whose_heater_dies_on_the_way_raises_it(reference):
    """The step of 50 %, its later half replaced by the coasting of the other run: as if an element had burnt out."""
    t_s, temperature_c, command = logged(reference, "50")
    dead_s = 230.0
    cooling_c = logged(reference, "100")[1]
    fallen = cooling_c[int(np.argmax(cooling_c)) :]
    at = int(np.searchsorted(t_s, dead_s))
    spoilt = temperature_c.copy()[: at + 300]
    spoilt[at:] = temperature_c[at] + (fallen[:300] - fallen[0])
    alarm = alarm_in((t_s[: at + 300], spoilt, command[: at + 300]))
    assert alarm is not None
    assert alarm.at_s - dead_s < 45.0
