"""The multimeter's driver, against the simulated one on a real socket."""

from __future__ import annotations

import math

import pytest

from wakerail_kit.conformance import CHECKS, a_test_tells_what_it_found
from wakerail_kit.errors import ConfigInvalid, ContractViolation, DeviceRefused, DeviceUnavailable, OutOfSync
from wakerail_kit.events import MeterRead
from wakerail_plugins.multimeter.driver import Meter

DISPLAY_DATA_0_V = 0.452  # display.3 in config/devices/fenmoor-t3.yaml


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_contract(check, far):
    check(far())


def raw_infinity(driver):
    return MeterRead(instrument="meter", quantity="diode", value=math.inf, unit="V")


@pytest.mark.parametrize(
    ("measure", "says"),
    [(raw_infinity, "told inf for the diode, no finite number"), (lambda _: 0.45, "returned 0.45, not what happened")],
)
def test_a_driver_that_tells_no_reading_is_found(far, monkeypatch, measure, says):
    monkeypatch.setattr(Meter, "measure_diode", measure)
    with pytest.raises(ContractViolation, match=says):
        a_test_tells_what_it_found(far())


@pytest.fixture
def meter(far):
    """A far end, and a driver that is open on it."""
    end = far()
    driver = end.make()
    driver.open()
    return end, driver


def test_it_says_who_it_is(far):
    identity = far().make().open()
    assert (identity.maker, identity.model, identity.serial) == ("Tarnwick", "DM-61", "SN0412")


def test_each_function_gives_its_quantity_in_its_unit(meter):
    end, driver = meter
    end.put("ground", "display.3")
    diode = driver.measure_diode()
    assert (diode.instrument, diode.quantity, diode.unit, diode.overload) == ("meter", "diode", "V", False)
    assert diode.value == pytest.approx(DISPLAY_DATA_0_V, rel=0.01)
    assert float(diode.raw) == diode.value
    end.put("ground", "display.5")
    resistance = driver.measure_resistance()
    assert (resistance.quantity, resistance.unit) == ("resistance", "Ohm")
    assert resistance.value == pytest.approx(10e3, rel=0.01)
    voltage = driver.measure_voltage()
    assert (voltage.quantity, voltage.unit) == ("voltage", "V")
    assert voltage.value == pytest.approx(0.0, abs=0.002)


def test_leads_in_the_air_are_an_overload_and_no_number(meter):
    _, driver = meter
    for reading in (driver.measure_diode(), driver.measure_resistance()):
        assert (reading.value, reading.overload) == (None, True)


@pytest.mark.parametrize(
    ("answer", "value", "overload"),
    [
        ("+9.90000000E+37", None, True),  # infinity, SCPI-1999 volume 1, 7.2.1.4
        ("-9.9E37", None, True),
        ("9.91E37", None, False),  # not a number, 7.2.1.5: no reading at all, and no open line
        ("+4.5E-01", 0.45, False),
    ],
)
def test_scpis_special_numbers_are_no_readings(meter, answer, value, overload):
    end, driver = meter
    end.instead[b"MEAS:DIOD?"] = answer.encode() + b"\n"
    reading = driver.measure_diode()
    assert (reading.value, reading.overload, reading.raw) == (value, overload, answer)


def test_a_meter_that_hangs_is_out_of_step_until_it_is_opened_again(meter):
    end, driver = meter
    end.mishaps.hang(0.5)
    with pytest.raises(OutOfSync, match="no answer within"):
        driver.measure_voltage()
    with pytest.raises(OutOfSync):
        driver.measure_voltage()
    end.mishaps.power_cycle()
    driver.open()
    assert driver.measure_voltage().value == pytest.approx(0.0, abs=0.002)


def test_a_garbled_answer_is_never_a_reading(meter):
    end, driver = meter
    end.garble()
    with pytest.raises(OutOfSync):
        driver.measure_resistance()
    with pytest.raises(OutOfSync):
        driver.read()


def test_a_meter_that_is_unplugged_is_unavailable(meter):
    end, driver = meter
    end.cut()
    with pytest.raises((DeviceUnavailable, OutOfSync)):
        driver.measure_voltage()
    end.restore()
    assert driver.open().model == "DM-61"


def test_another_meter_in_its_place_is_noticed(far):
    end = far()
    driver = end.make()
    driver.open()
    end.instead[b"*IDN?"] = b"Northfen Works,M-1,7,1\n"
    driver.read()  # not asked so soon
    end.clock.skipped_s += 2.0
    with pytest.raises(OutOfSync, match="another meter"):
        driver.read()


def test_its_errors_are_read_until_there_are_none(meter):
    end, driver = meter
    end.instead[b"MEAS:VOLT:DC?"] = b"0.0\n"
    assert list(driver.faults()) == []
    end._scpi.execute(b"FOO")
    (fault,) = driver.faults()
    assert (fault.code, fault.text) == (-113, "Undefined header")


def test_a_dialect_without_a_function_refuses_it_and_words_may_mean_overload(far, tmp_path):
    (tmp_path / "plain.yaml").write_text(
        'dialect: plain\nkind: multimeter\nidentify: {send: "*IDN?", answer: "{model}"}\n'
        'commands:\n  measure_voltage: {send: "MEAS:VOLT?", answer: "{voltage}"}\n'
        '  measure_resistance: {send: "OHMS", answer: "{resistance|OL=none}"}\n'
    )
    end = far()
    end.instead[b"OHMS"] = b"OL\n"
    driver = end.make("dialect: plain", dialects=tmp_path)
    driver.open()
    with pytest.raises(DeviceRefused, match="cannot measure a diode"):
        driver.measure_diode()
    assert driver.measure_resistance().overload


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ("dialect: scpi-1999", "this dialect is for a power-source, not for a multimeter"),
        ("dialect: nowhere", "there are: scpi-1999-meter"),
        ("rang: 5", "unknown key; known here: address, dialect"),
    ],
)
def test_a_wrong_section_is_refused_with_its_line(far, keys, says):
    with pytest.raises(ConfigInvalid) as refused:
        far().make(keys)
    (problem,) = refused.value.problems
    assert problem.startswith("bench.yaml:3: ")
    assert says in problem
