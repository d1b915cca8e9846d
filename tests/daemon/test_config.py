"""What a client and a daemon read from bench.yaml."""

from __future__ import annotations

import pytest

from wakerail.bench import load_plugins
from wakerail.config import default_config_path, load_bench_config, load_place, shipped
from wakerail.heat_limits import HEAT_LIMITS
from wakerail_kit.clock import RealClock
from wakerail_kit.errors import ConfigInvalid


@pytest.fixture
def write(tmp_path):
    def write(text):
        file = tmp_path / "bench.yaml"
        file.write_text(text)
        return file

    return write


def test_the_shipped_configuration_is_right_and_limits_what_can_hurt():
    bench = load_bench_config(shipped("") / "bench.yaml", load_plugins().types, RealClock())
    assert {instrument.type.kind.name for instrument in bench.instruments} == {
        "power-source",
        "heat-source",
        "port-tester",
        "multimeter",
        "usb-watcher",
    }
    for instrument in bench.instruments:
        assert set(instrument.type.kind.must_be_limited) <= set(instrument.limits)


@pytest.mark.parametrize(
    ("broker", "url"),
    [
        ("embedded", "mqtt://127.0.0.1:1883"),
        ("embedded:1999", "mqtt://127.0.0.1:1999"),
        ("mqtt://shop:1884", "mqtt://shop:1884"),
        ("mqtts://shop", "mqtts://shop"),
    ],
)
def test_where_a_client_finds_the_bench(write, broker, url):
    place = load_place(write(f"bench: b\nbroker: {broker}\ninstruments: {{supply: {{whatever: 1}}}}\n"))
    assert (place.name, place.client_url, place.journal) == ("b", url, "var/b.sqlite")
    assert place.broker_key.endswith("bench.yaml:2: broker")
    assert place.sequences == shipped("sequences")


def test_sequences_beside_the_file_or_where_it_says(write, tmp_path):
    (tmp_path / "sequences").mkdir()
    assert load_place(write("bench: b\n")).sequences == tmp_path / "sequences"
    (tmp_path / "ours").mkdir()
    assert load_place(write("bench: b\nsequences: ours\n")).sequences == tmp_path / "ours"
    with pytest.raises(ConfigInvalid, match=r"bench\.yaml:2: sequences: .*theirs is no folder"):
        load_place(write("bench: b\nsequences: theirs\n"))


def test_a_bench_without_instruments_is_none(write):
    with pytest.raises(ConfigInvalid, match=r"bench\.yaml:2: instruments: the bench has none"):
        load_bench_config(write("bench: b\ninstruments: {}\n"), load_plugins().types, RealClock())


def test_a_key_that_the_driver_has_no_use_for_is_unknown(write):
    file = write(
        "bench: b\ninstruments:\n  usb:\n    driver: usb-watcher\n    dialect: scpi-1999\n    address: /dev/bus\n"
    )
    with pytest.raises(ConfigInvalid) as refused:
        load_bench_config(file, load_plugins().types, RealClock())
    assert [line.removeprefix(f"{file}:").partition("; ")[0] for line in refused.value.problems] == [
        "5: instruments.usb.dialect: unknown key",
        "6: instruments.usb.address: unknown key",
    ]


def test_limits_that_a_kind_has_not_are_told_with_those_that_it_has(write):
    plate = "driver: plate, address: COM1, limits: {temperature: 260 degC, power: 5 W}"
    tester = "driver: port-tester, address: COM2, limits: {power: 5 W}"
    file = write(f"bench: b\ninstruments:\n  plate: {{{plate}}}\n  port: {{{tester}}}\n")
    with pytest.raises(ConfigInvalid) as refused:
        load_bench_config(file, load_plugins().types, RealClock())
    known = ", ".join(sorted(["temperature", *HEAT_LIMITS]))
    assert refused.value.problems == (
        f"{file}:3: instruments.plate.limits.power: unknown key; known here: {known}",
        f"{file}:4: instruments.port.limits.power: unknown key; known here: none",
    )


def test_what_the_driver_took_is_known_of_it_afterwards(write):
    file = write(
        "bench: b\ninstruments:\n  port:\n    driver: port-tester\n    dialect: port-tester-ascii\n    address: COM1\n"
    )
    (port,) = load_bench_config(file, load_plugins().types, RealClock()).instruments
    assert (port.dialect, port.address) == ("port-tester-ascii", "COM1")


def test_the_default_is_the_working_folders_own_and_else_the_shipped_one(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert default_config_path() == shipped("") / "bench.yaml"
    (tmp_path / "config").mkdir()
    (tmp_path / "config" / "bench.yaml").touch()
    assert default_config_path().resolve() == tmp_path / "config" / "bench.yaml"


def test_limits_of_a_plate_have_defaults_bounds_and_units(write):
    def bench(plate: str, attended: str = "3 min"):
        text = f"bench: b\nattended: {attended}\ninstruments:\n  plate: {{driver: plate, address: COM1, {plate}}}\n"
        return load_bench_config(write(text), load_plugins().types, RealClock())

    config = bench("limits: {temperature: 260 degC, coast: 30 s}")
    defaults = {key: limit.default for key, limit in HEAT_LIMITS.items()}
    assert config.instruments[0].limits == defaults | {"temperature": 260.0, "coast": 30.0}
    assert config.attended_s == 180.0
    with pytest.raises(ConfigInvalid) as refused:
        bench("rate: 0.5 Hz, limits: {temperature: 260 degC, touch: 90 degC, coast: 5 K}", "2 h")
    assert [problem.split(":", 1)[1] for problem in refused.value.problems] == [
        "2: attended: 7200 s is too high; at most 3600 s",
        "4: instruments.plate.limits.coast: '5 K' is not a time; write it like '60 s'",
        "4: instruments.plate.limits.touch: 90 °C is too high; at most 60 °C",
        "4: instruments.plate.rate: 0.5 Hz is too slow for a plate; at least twice within `silence`",
    ]


def test_a_supply_names_the_plate_that_carries_its_board(write):
    def bench(plate: str):
        text = f"""bench: b
instruments:
  supply: {{driver: supply, address: ASRL/dev/x::INSTR, off-while-hot: {plate}, limits: {{volts: 5 V, limit: 3 A}}}}
  plate: {{driver: plate, address: COM1, limits: {{temperature: 260 degC}}}}
"""
        return load_bench_config(write(text), load_plugins().types, RealClock())

    assert bench("plate").instruments[0].off_while_hot == "plate"
    with pytest.raises(ConfigInvalid, match=r"yaml:3: instruments.supply.off-while-hot: 'oven' is no heating plate"):
        bench("oven")


def test_the_date_of_a_calibration_is_a_date(write):
    supply = "supply: {driver: supply, address: 'ASRL/dev/null::INSTR', limits: {volts: 5 V, limit: 5 A}"
    types = load_plugins().types
    for given, known in ((", calibrated: 2026-03-01}", "2026-03-01"), ("}", "")):
        file = write(f"bench: b\ninstruments:\n  {supply}{given}\n")
        (built,) = load_bench_config(file, types, RealClock()).instruments
        assert built.calibrated == known
    with pytest.raises(ConfigInvalid, match=r"bench.yaml:3: instruments.supply.calibrated: 'in March' is no date"):
        load_bench_config(write(f"bench: b\ninstruments:\n  {supply}, calibrated: in March}}\n"), types, RealClock())


def test_no_real_instrument_is_on_a_simulated_bench(write, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    simulated = {"TCPIP::127.0.0.1::5025::SOCKET", str(tmp_path / "sim" / "plate"), str(tmp_path / "sim" / "usb")}

    def load(supply: str, plate: str, usb: str):
        text = f"""bench: b
instruments:
  supply: {{driver: supply, address: '{supply}', limits: {{volts: 5 V, limit: 3 A}}}}
  plate: {{driver: plate, address: {plate}, limits: {{temperature: 260 degC}}}}
  usb: {{driver: usb-watcher, {usb}}}
"""
        return load_bench_config(write(text), load_plugins().types, RealClock(), simulated)

    uevents = "source: uevents, socket: sim/usb, sysfs: sim/sysfs"
    assert len(load("TCPIP::127.0.0.1::5025::SOCKET", "sim/plate", uevents).instruments) == 3
    with pytest.raises(ConfigInvalid) as refused:
        load("TCPIP::192.0.2.7::5025::SOCKET", "/dev/ttyUSB0", "source: auto")
    says = "is none of the simulated bench's instruments; serve it without --simulated"
    assert [problem.split(":", 1)[1] for problem in refused.value.problems] == [
        f"3: instruments.supply: {says}",
        f"4: instruments.plate: {says}",
        f"5: instruments.usb: {says}",
    ]
