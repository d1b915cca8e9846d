"""The supply's driver against a simulator that is not ours: pyvisa-sim, through PyVISA as a whole.

pyvisa-sim plays an instrument from a YAML description, with its own parsing of queries and its own terminators, over
simulated TCP, serial, USB and GPIB resources; only the description below is written here.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from wakerail_kit.clock import RealClock
from wakerail_kit.errors import DeviceRefused, DeviceUnavailable, OutOfSync
from wakerail_kit.hooks import BuildContext
from wakerail_kit.yamldoc import parse_yaml
from wakerail_plugins.power_supply import build

pytest.importorskip("pyvisa_sim")

DIALECTS = Path(__file__).parents[2] / "config" / "dialects"
SIMULATED = r"""
spec: "1.0"
devices:
  scpi supply:
    eom:
      TCPIP SOCKET: {q: "\n", r: "\n"}
      TCPIP INSTR: {q: "\n", r: "\n"}
      USB INSTR: {q: "\n", r: "\n"}
      GPIB INSTR: {q: "\n", r: "\n"}
      ASRL INSTR: {q: "\n", r: "\n"}
    dialogues:
      - {q: "*IDN?", r: "Saltmarsh Instruments,SI-30,7,2.1"}
      - {q: "*CLS"}
      - {q: "MEAS:VOLT?", r: "+3.8500E+00"}
      - {q: "MEAS:CURR?", r: "+9.91E+37"}
      - {q: "STAT:QUES:COND?", r: "+1"}
      - {q: "STAT:QUES?", r: "+0"}
    properties:
      voltage:
        default: 0.0
        getter: {q: "VOLT?", r: "{:.3f}"}
        setter: {q: "VOLT {:f}"}
        specs: {min: 0, max: 6, type: float}
      current:
        default: 0.1
        getter: {q: "CURR?", r: "{:.3f}"}
        setter: {q: "CURR {:f}"}
        specs: {min: 0, max: 3, type: float}
      output:
        default: "0"
        getter: {q: "OUTP?", r: "{}"}
        setter: {q: "OUTP {}"}
        specs: {valid: ["0", "1", "ON", "OFF"], type: str}
    error: {status_register: [{q: "*ESR?", command_error: 32, query_error: 4}],
            error_queue: [{q: "SYST:ERR?", default: '0,"No error"', command_error: '-113,"Undefined header"',
                           query_error: '-400,"Query error"'}]}
  plain supply:
    eom:
      ASRL INSTR: {q: "\r\n", r: "\r\n"}
    dialogues:
      - {q: "ID", r: "SI-5 1.0"}
      - {q: "REMOTE 1", r: "OK"}
      - {q: "REMOTE 0", r: "OK"}
      - {q: "V 0330", r: "OK"}
      - {q: "V 9999", r: "ERR 2"}
      - {q: "OUT 0", r: "OK"}
      - {q: "OUT 1", r: "OK"}
      - {q: "SET", r: "0330,0100"}
      - {q: "READ", r: "0.00V,0.000A,OFF"}
resources:
  TCPIP::192.0.2.7::5025::SOCKET: {device: scpi supply}
  TCPIP::192.0.2.7::inst0::INSTR: {device: scpi supply}
  USB::0x1209::0x0001::7::INSTR: {device: scpi supply}
  GPIB::5::INSTR: {device: scpi supply}
  ASRL1::INSTR: {device: scpi supply}
  ASRL2::INSTR: {device: plain supply}
"""
SCPI_ADDRESSES = (
    "TCPIP::192.0.2.7::5025::SOCKET",
    "TCPIP::192.0.2.7::inst0::INSTR",
    "USB::0x1209::0x0001::7::INSTR",
    "GPIB::5::INSTR",
    "ASRL1::INSTR",
)


@pytest.fixture
def supply(tmp_path):
    """Return a maker of drivers on the simulated resource at an address."""
    library = tmp_path / "supplies.yaml"
    library.write_text(SIMULATED, encoding="utf-8")
    drivers = []

    def supply(address: str, dialect: str = "scpi-1999"):
        text = f'address: "{address}"\ndialect: {dialect}\nvisa_library: "{library}@sim"\ntimeout: 300 ms\n'
        doc = parse_yaml(text, "bench.yaml")
        driver = build(doc.top, BuildContext(RealClock(), "bench-1", "supply", DIALECTS, ()))
        doc.finish()
        drivers.append(driver)
        return driver

    yield supply
    for driver in drivers:
        driver.close()


@pytest.mark.parametrize("address", SCPI_ADDRESSES)
def test_a_scpi_supply_over_any_transport(supply, address):
    driver = supply(address)
    identity = driver.open()
    assert (identity.maker, identity.serial) == ("Saltmarsh Instruments", "7")
    driver.set_voltage_v(3.85)
    driver.set_current_limit_a(1.5)
    assert driver.settings["voltage"] == 3.85
    assert driver.settings["current"] == 1.5
    driver.set_output(True)
    reading = driver.read()
    assert reading.signals == {"voltage": [3.85], "current": [None], "limiting": [1.0], "output": [1.0]}
    assert driver.faults() == []
    driver.make_safe()
    assert driver.settings["output"] == 0.0


def test_a_value_that_the_supply_refuses_is_refused_here(supply):
    driver = supply(SCPI_ADDRESSES[0])
    driver.open()
    with pytest.raises(DeviceRefused, match=r"voltage was to be 9 V, but reads back as 0 V; it says -113"):
        driver.set_voltage_v(9.0)


def test_a_command_the_supply_does_not_know_is_in_its_queue(supply):
    driver = supply(SCPI_ADDRESSES[0])
    driver.open()
    with pytest.raises((DeviceRefused, OutOfSync)):
        driver.set_over_voltage_v(5.0)


def test_a_supply_with_a_plain_serial_port(supply):
    driver = supply("ASRL2::INSTR", "ascii-serial-supply")
    assert driver.open().model == "SI-5"
    driver.set_voltage_v(3.3)
    assert driver.read().signals == {"voltage": [0.0], "current": [0.0], "limiting": [0.0], "output": [0.0]}
    with pytest.raises(DeviceRefused, match=r"answered 'ERR 2' to 'V 9999'"):
        driver.set_voltage_v(99.99)
    driver.make_safe()


def test_an_address_that_is_not_there(supply):
    with pytest.raises(DeviceUnavailable, match=r"^TCPIP::192.0.2.8::5025::SOCKET cannot be reached: "):
        supply("TCPIP::192.0.2.8::5025::SOCKET").open()
