"""Real supplies' wordings, each said by a dialect file and none by code.

The exchanges are those of the test tables of pymeasure (github.com/pymeasure/pymeasure, commit 32503b8, MIT, folder
tests/instruments), kept as data beside this project: what is sent must equal the recording, what is read too.
The dialects here are generic and only for these tests.
"""

from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest

from wakerail_kit.dialect import Dialect, load_dialect
from wakerail_kit.dialect_exchange import Exchanges
from wakerail_kit.dialect_talk import Talk
from wakerail_kit.dialect_wording import Values

DATA = Path(__file__).parents[3] / "shared" / "data" / "scpi_pairs" / "power_supplies.json"
PAIRS = json.loads(DATA.read_text(encoding="utf-8")) if DATA.is_file() else []

LETTER_AND_NUMBER = """\
variables: {channel: 2, range: 2}
link: {write-end: "\\n", read-end: "\\r\\n"}
identify: {send: "*IDN?", answer: "{maker},{model},{serial},{firmware}"}
open: ["IRANGE{channel} {range}", {send: "IRANGE{channel}?", answer: "{range}"}]
commands:
  set_voltage: "V{channel}V {voltage}"
  set_current_limit: "I{channel} {current}"
  output_on: "OP{channel} 1"
  output_off: "OP{channel} 0"
reads:
  - {send: "V{channel}O?", answer: "{voltage}V"}
  - {send: "I{channel}O?", answer: "{current}A"}
  - {send: "OP{channel}?", answer: "{output}", every: 1 s}
readback:
  - {send: "V{channel}?", answer: "V{channel} {voltage}"}
  - {send: "I{channel}?", answer: "I{channel} {current}"}
"""
ALL_OUTPUTS = LETTER_AND_NUMBER.replace("OP{channel} 1", "OPALL 1").replace("OP{channel} 0", "OPALL 0")
CHANNEL_LIST = """\
variables: {channel: 1}
identify: {send: "*IDN?", answer: "{maker},{model},{serial},{firmware}"}
commands:
  set_voltage: "VOLT {voltage}, (@{channel})"
  set_current_limit: "CURR {current}, (@{channel})"
  output_on: "OUTPut 1, (@{channel})"
  output_off: "OUTPut 0, (@{channel})"
reads:
  - {send: "MEAS:VOLT? (@{channel})", answer: "{voltage}"}
  - {send: "MEAS:CURR? (@{channel})", answer: "{current}"}
  - {send: "OUTPut? (@{channel})", answer: "{output}"}
readback:
  - {send: "VOLT? (@{channel})", answer: "{voltage}"}
  - {send: "CURR? (@{channel})", answer: "{current}"}
"""
PREFIX = """\
variables: {channel: 1}
identify: {send: "*IDN?", answer: "{maker},{model},{serial},{firmware}"}
open: ["TIME:SET CH{channel},1,5.001,5.000,30"]
commands:
  set_voltage: "CH{channel}:VOLT {voltage}"
  set_current_limit: "CH{channel}:CURR {current}"
  output_on: "OUTP CH{channel},ON"
  output_off: "OUTP CH{channel},OFF"
reads:
  - {send: "MEAS:VOLT? CH{channel}", answer: "{voltage}"}
  - {send: "MEAS:CURR? CH{channel}", answer: "{current}"}
readback:
  - {send: "CH{channel}:VOLT?", answer: "{voltage}"}
  - {send: "CH{channel}:CURR?", answer: "{current}"}
"""
ADDRESSED = """\
variables: {unit: 6}
link: {write-end: "\\r", read-end: "\\r"}
acknowledge: OK
open: ["ADR {unit}"]
close: [{send: "RMT?", answer: "REM"}, "RMT LOC", {send: "RMT?", answer: "LOC"}]
identify: [{send: "IDN?", answer: "{maker},{model}"}, {send: "REV?", answer: "REV:{firmware}"}]
commands:
  set_voltage: "PV {voltage}"
  set_current_limit: "PC {current}"
  output_on: "OUT 1"
  output_off: "OUT 0"
reads: {send: "STT?", answer: "MV({voltage}),PV({_}),MC({current}),PC({_}),SR({_}),FR({_})"}
"""
MULTIDROP = ADDRESSED.replace('open: ["ADR {unit}"]', 'open: ["ADR {unit}", {send: "MDAV?", answer: "1"}]')

PLANS: dict[tuple[str, str], tuple[str, list[tuple[str, ...]]]] = {
    ("PL303QMTP", "test_voltage_setpoint"): (LETTER_AND_NUMBER, [("set", "voltage"), ("read back", "voltage")]),
    ("PL303QMTP", "test_voltage"): (LETTER_AND_NUMBER, [("read", "voltage")]),
    ("PL303QMTP", "test_current_limit"): (LETTER_AND_NUMBER, [("set", "current"), ("read back", "current")]),
    ("PL303QMTP", "test_current"): (LETTER_AND_NUMBER, [("read", "current")]),
    ("PL303QMTP", "test_current_range"): (LETTER_AND_NUMBER, [("open", "range=2"), ("open", "range=1")]),
    ("PL303QMTP", "test_enable"): (LETTER_AND_NUMBER, [("switch",), ("read", "output"), ("switch",)]),
    ("PL303QMTP", "test_triple"): (LETTER_AND_NUMBER, [("use", "channel=3"), ("read", "voltage")]),
    ("KeysightE36312A", "test_voltage_setpoint"): (CHANNEL_LIST, [("set", "voltage"), ("read back", "voltage")]),
    ("KeysightE36312A", "test_current_limit"): (
        CHANNEL_LIST,
        [("use", "channel=3"), ("set", "current"), ("read back", "current")],
    ),
    ("KeysightE36312A", "test_output_enabled"): (CHANNEL_LIST, [("switch",), ("read", "output")]),
    ("SPD1305X", "test_set_current"): (PREFIX, [("set", "current"), ("read back", "current")]),
    # pymeasure itself cuts what is asked at the supply's range before it sends; here the bench's limits do that
    ("SPD1305X", "test_set_current_trunc"): (PREFIX, [("set", "current", "5"), ("read back", "current")]),
    ("SPD1305X", "test_set_voltage"): (PREFIX, [("set", "voltage"), ("read back", "voltage")]),
    ("SPD1305X", "test_set_voltage_trunc"): (PREFIX, [("set", "voltage", "30"), ("read back", "voltage")]),
    ("SPD1305X", "test_configure_timer"): (PREFIX, [("open", "channel=1")]),
    ("TDK_Lambda_Base", "test_init"): (ADDRESSED, [("open", "unit=6")]),
    ("TDK_Lambda_Base", "test_identity"): (ADDRESSED, [("open", "unit=6"), ("identify",)]),
    ("TDK_Lambda_Base", "test_multidrop_capability"): (MULTIDROP, [("open", "unit=6")]),
    ("TDK_Lambda_Base", "test_remote"): (ADDRESSED, [("open", "unit=6"), ("close",)]),
    ("TDK_Gen40_38", "test_init"): (ADDRESSED, [("open", "unit=6")]),
    ("TDK_Gen40_38", "test_invalid_voltage"): (ADDRESSED, [("open", "unit=6"), ("set", "voltage")]),
    ("TDK_Gen40_38", "test_invalid_current_setpoint"): (ADDRESSED, [("open", "unit=6"), ("set", "current")]),
    ("TDK_Gen80_65", "test_init"): (ADDRESSED, [("open", "unit=6")]),
    ("TDK_Gen80_65", "test_invalid_voltage_setpoint"): (ADDRESSED, [("open", "unit=6"), ("set", "voltage")]),
    ("TDK_Gen80_65", "test_invalid_current_setpoint"): (ADDRESSED, [("open", "unit=6"), ("set", "current")]),
}
COMMANDS = {"voltage": "set_voltage", "current": "set_current_limit"}


class Recording:
    """A wire that demands the recorded texts in their order and gives the recorded answers."""

    def __init__(self, exchange: list[dict[str, str | None]], dialect: Dialect) -> None:
        self.due = list(exchange)
        self.link = dialect.link
        self.came = ""

    def write(self, data: bytes) -> None:
        recorded = self.due.pop(0)
        assert data.decode() == f"{recorded['send']}{self.link.write_end}"
        if recorded["answer"] is not None:
            self.came += recorded["answer"] + self.link.read_end

    def read_until(self, end: bytes) -> bytes:
        line, _, self.came = self.came.partition(end.decode())
        return line.encode() + end

    def read_exactly(self, count: int) -> bytes:
        raise AssertionError(f"no exchange here has {count} bytes of fixed length")

    def pause(self, delay_s: float) -> None:
        raise AssertionError(f"no dialect here rests for {delay_s} s")


class Performance:
    """Does what a plan says with a dialect, on a recording."""

    def __init__(self, entry, dialect: Dialect) -> None:
        self.source = dialect
        self.dialect = dialect.bind({})
        self.wire = Recording(entry["exchange"], dialect)
        self.meaning = list(entry["meaning"])

    def do(self, what: str, *how: str) -> None:
        getattr(self, what.replace(" ", "_"))(*how)

    def use(self, variable: str) -> None:
        name, _, value = variable.partition("=")
        self.dialect = self.source.bind({name: value})

    def open(self, variable: str) -> None:
        self.use(variable)
        self._run(self.dialect.open)

    def close(self) -> None:
        self._run(self.dialect.close)

    def identify(self) -> None:
        assert self._run(self.dialect.identify) == {"maker": "LAMBDA", "model": "GENX-Y", "firmware": "1U:4.3"}

    def set(self, quantity: str, sent: str | None = None) -> None:
        value = float(sent or self._next("set"))
        self._run(self.dialect.commands[COMMANDS[quantity]], {quantity: value})

    def switch(self) -> None:
        on = self._next("set") == "True"
        self._run(self.dialect.commands["output_on" if on else "output_off"])

    def read(self, quantity: str) -> None:
        self._compare(self.dialect.reads, quantity)

    def read_back(self, quantity: str) -> None:
        self._compare(self.dialect.readback, quantity)

    def _compare(self, exchanges: Exchanges, quantity: str) -> None:
        (exchange,) = [exchange for exchange in exchanges if quantity in exchange.gives]
        assert self._run((exchange,))[quantity] == float(ast.literal_eval(self._next("read")))

    def _run(self, exchanges: Exchanges, values: Values | None = None) -> Values:
        talk = Talk(self.dialect, self.wire)
        found: Values = {}
        for exchange in exchanges:
            found = {**found, **talk.run(exchange, values).values}
        return found

    def _next(self, kind: str) -> str:
        meaning = next(each for each in self.meaning if kind in each)
        del self.meaning[: self.meaning.index(meaning) + 1]
        return str(meaning["value" if kind == "set" else "expect"])


@pytest.mark.skipif(not PAIRS, reason=f"the recordings are not here: {DATA.name}")
def test_every_recorded_case_has_a_dialect_and_a_plan():
    assert {(entry["instrument"], entry["case"]) for entry in PAIRS} == set(PLANS)


@pytest.mark.skipif(not PAIRS, reason=f"the recordings are not here: {DATA.name}")
@pytest.mark.parametrize("entry", PAIRS, ids=lambda entry: f"{entry['instrument']}-{entry['case']}")
def test_a_dialect_says_what_was_recorded(entry, tmp_path):
    text, plan = PLANS[entry["instrument"], entry["case"]]
    performance = Performance(entry, _dialect(text, tmp_path))
    for step in plan:
        performance.do(*step)
    if entry["case"] == "test_enable":  # the rest of this one switches all outputs at once, by a dialect of its own
        rest = Performance(
            {"exchange": performance.wire.due, "meaning": performance.meaning}, _dialect(ALL_OUTPUTS, tmp_path)
        )
        rest.do("switch")
        rest.do("switch")
        performance = rest
    assert performance.wire.due == []
    assert performance.wire.came == ""


def _dialect(text: str, folder: Path) -> Dialect:
    file = folder / "recorded.yaml"
    file.write_text(f"dialect: recorded\nkind: power-source\n{text}", encoding="utf-8")
    return load_dialect(file, "power-source")
