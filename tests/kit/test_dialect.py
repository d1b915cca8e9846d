"""Dialect files: what is refused and how, variables, and exchanges run over a wire."""

from __future__ import annotations

import itertools
import struct
from pathlib import Path

import pytest

from wakerail_kit.dialect import find_dialect, load_dialect
from wakerail_kit.dialect_talk import Talk
from wakerail_kit.errors import ConfigInvalid, DeviceRefused, OutOfSync
from wakerail_kit.yamldoc import parse_yaml

SHIPPED = [
    file
    for file in sorted((Path(__file__).parents[2] / "config" / "dialects").glob("*.yaml"))
    if "kind: power-source\n" in file.read_text(encoding="utf-8")
]

PLAIN = """\
dialect: plain
kind: power-source
identify: {send: "ID?", answer: "{model}"}
commands:
  set_voltage: "V {voltage}"
  set_current_limit: "I {current}"
  output_on: "OUT 1"
  output_off: "OUT 0"
reads:
  - {send: "V?", answer: "{voltage}"}
  - {send: "I?", answer: "{current}"}
"""


PLATE = """\
dialect: plain
kind: heat-source
identify: {send: "ID?", answer: "{model}"}
commands:
  set_temperature: "SP {setpoint}"
  heater_on: "H 1"
  heater_off: "H 0"
reads:
  - {send: "T?", answer: "{temperature}"}
  - {send: "S?", answer: "{setpoint} {heater}"}
"""

TESTER = """\
dialect: plain
kind: port-tester
identify: {send: "ID?", answer: "{model}"}
commands:
  test_port: {send: "TEST", each: "{line} {passed}", answer: "RESULT {passed}"}
"""

METER = """\
dialect: plain
kind: multimeter
identify: {send: "ID?", answer: "{model}"}
commands:
  measure_voltage: {send: "V?", answer: "{voltage}"}
  measure_resistance: {send: "R?", answer: "{resistance|OL=none}"}
"""


class ScriptedWire:
    """Answers from a script of (bytes expected, bytes answered); what is not asked in order fails the test."""

    def __init__(self, *script: tuple[bytes, bytes]) -> None:
        self.script = list(script)
        self.came = b""
        self.pauses: list[float] = []

    def write(self, data: bytes) -> None:
        expected, answer = self.script.pop(0)
        assert data == expected
        self.came += answer

    def read_until(self, end: bytes) -> bytes:
        at = self.came.find(end)
        if at < 0:
            raise OutOfSync("no answer")
        return self.read_exactly(at + len(end))

    def read_exactly(self, count: int) -> bytes:
        if len(self.came) < count:
            raise OutOfSync("no answer")
        taken, self.came = self.came[:count], self.came[count:]
        return taken

    def pause(self, delay_s: float) -> None:
        self.pauses.append(delay_s)


@pytest.fixture
def load(tmp_path):
    def load(text: str, name: str = "plain", kind: str = "power-source"):
        file = tmp_path / f"{name}.yaml"
        file.write_text(text, encoding="utf-8")
        return load_dialect(file, kind)

    return load


@pytest.fixture
def refused(load, tmp_path):
    """Return a function giving the lines a dialect is refused with, without the folder."""

    def refused(text: str, kind: str = "power-source") -> list[str]:
        with pytest.raises(ConfigInvalid) as wrong:
            load(text, kind=kind)
        return [line.replace(f"{tmp_path}/", "") for line in wrong.value.problems]

    return refused


def section(text: str):
    return parse_yaml(text, "bench.yaml").top


# --- the shipped files ---


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_every_shipped_dialect_is_sound(file):
    assert load_dialect(file, "power-source").says


# --- what is refused ---


def test_a_dialect_that_is_right_is_taken(load):
    assert load(PLAIN).name == "plain"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (('  output_off: "OUT 0"\n', ""), "plain.yaml:5: commands.output_off: is missing; a power-source needs it"),
        (
            ("  output_on:", "  output_onn:"),
            "plain.yaml:7: commands.output_onn: unknown key; did you mean 'output_on'?",
        ),
        (("V {voltage}", "V 3"), "plain.yaml:5: commands.set_voltage: never says its {voltage}"),
        (
            ("V {voltage}", "V {volts}"),
            "plain.yaml:5: commands.set_voltage: 'V {volts}' has an unknown field {volts}; known here: voltage",
        ),
        (("  - {send: \"I?\", answer: \"{current}\"}\n", ""),
         "plain.yaml:9: reads: nothing reads the current; a power-source needs it"),
        (("dialect: plain", "dialect: other"),
         "plain.yaml:1: dialect: the file is called plain.yaml, the dialect 'other'; they must be the same"),
        (("kind: power-source", "kind: power-sauce"),
         "plain.yaml:2: kind: 'power-sauce' is not known; did you mean 'power-source'?"),
        (("kind: power-source\n", "kind: power-source\nbaud: 9600\n"), "plain.yaml:3: baud: unknown key; "),
        (("kind: power-source\n", "kind: power-source\nlink: {parity: evn}\n"),
         "plain.yaml:3: link.parity: 'evn' is not known; did you mean 'even'?"),
        (("kind: power-source\n", "kind: power-source\nvariables: {address: 3}\n"),
         "plain.yaml:3: variables.address: 'address' has a meaning of its own; choose another name"),
        (("kind: power-source\n", "kind: power-source\nvariables: {channel: 3}\n"),
         "plain.yaml:3: variables: nothing in this dialect uses 'channel'"),
        (('{send: "ID?", answer: "{model}"}', '"ID?"'),
         "plain.yaml:3: identify: needs an answer, for only an answer shows that the instrument is there"),
        (('"V?", answer: "{voltage}"', '"V?", answr: "{voltage}"'),
         "plain.yaml:10: reads[0].answr: unknown key; did you mean 'answer'?"),
        (('"V?", answer: "{voltage}"', '"V?", answer: "{voltage}", every: 2 min'),
         "plain.yaml:10: reads[0].every: 120 s is too high; at most 1 s"),
        (('"V?", answer: "{voltage}"', '"V?", block: voltage, number: float16, order: big'),
         "plain.yaml:10: reads[0].number: 'float16' is not known; did you mean 'float"),
        (('"V?", answer: "{voltage}"', '"V?", block: voltage, number: float32, order: big'),
         "plain.yaml:1: spacing: is missing; blocks need the time between their samples, like '1 ms'"),
        (("kind: power-source\n", "kind: power-source\nlink: {read-end: ''}\n"),
         "plain.yaml:4: identify.answer: answers have no terminator here, so give fixed widths or a length"),
        (('"OUT 1"', '{send: "OUT 1", every: 1 s}'),
         "plain.yaml:7: commands.output_on.every: unknown key; known here: answer, each, length, send"),
        (('"{model}"}', '"{model}", length: 4}'),
         "plain.yaml:3: identify.length: only means something where answers have no terminator"),
        (("kind: power-source\n", "kind: power-source\nvariables: {unit: A}\nbefore: 'U{unit:02d}'\n"),
         "plain.yaml:3: variables: 'unit' has a number format, so its default must be a whole number"),
        (("kind: power-source\n", 'kind: power-source\nerrors: {send: "E?", answer: "{text}"}\n'),
         "plain.yaml:3: errors: must be one exchange whose answer has a {code}"),
        (("kind: power-source\n", 'kind: power-source\nerrors: {send: "E?", answer: "[{code}]"}\n'), None),
    ],
)  # fmt: skip
def test_a_mistake_is_one_line_with_file_line_and_key(load, refused, change, says):
    text = PLAIN.replace(*change)
    assert text != PLAIN
    if says is None:
        load(text)
    else:
        assert any(line.startswith(says) for line in refused(text)), refused(text)


def test_every_mistake_is_told_at_once(refused):
    told = refused("dialect: plain\nkind: power-source\ncommands: {set_voltage: 'V {x}', nonsense: 1}\n")
    assert len(told) > 6
    assert told == sorted(told, key=lambda line: int(line.split(":")[1]))


def test_a_mistake_in_a_poll_is_told_once(refused):
    text = PLAIN.replace('"V?", answer: "{voltage}"', '"V?", answer: "{volts}", every: 1 s')
    assert refused(text) == [
        "plain.yaml:9: reads: nothing reads the voltage; a power-source needs it",
        (
            "plain.yaml:10: reads[0].answer: '{volts}' has an unknown field {volts}; "
            "known here: current, limited, limiting, output, voltage"
        ),
    ]


def test_a_dialect_of_another_kind_is_refused(refused):
    (told,) = [line for line in refused(PLAIN, kind="heat-source") if ": kind:" in line]
    assert told == "plain.yaml:2: kind: this dialect is for a power-source, not for a heat-source"


def test_a_missing_dialect_names_those_there_are(load, tmp_path):
    load(PLAIN)
    load(PLAIN.replace("plain", "plain-2"), "plain-2")
    (tmp_path / "plate.yaml").write_text(PLATE)
    (tmp_path / "registers.yaml").write_text("dialect: registers\nkind: power-source\nprotocol: modbus-rtu\n")
    (tmp_path / "broken.yaml").write_text("dialect: [")
    with pytest.raises(ConfigInvalid, match=r"no dialect 'plan' in .*; there are: plain, plain-2$"):
        find_dialect(tmp_path, "plan", "power-source")


def test_a_register_map_is_no_dialect_and_that_is_all_there_is_to_say(refused):
    assert refused("dialect: plain\nkind: heat-source\nprotocol: modbus-rtu\nunit: 1\n", kind="heat-source") == [
        "plain.yaml:3: protocol: 'modbus-rtu' is no text dialect"
    ]


def test_a_meter_tells_what_it_measures_and_nothing_else(load, refused):
    assert set(load(METER, kind="multimeter").commands) == {"measure_voltage", "measure_resistance"}
    silent = METER.replace('{send: "V?", answer: "{voltage}"}', '"V?"').replace("{resistance|OL=none}", "{voltage}")
    assert refused(silent, kind="multimeter") == [
        "plain.yaml:5: commands.measure_voltage: never tells the {voltage} in an answer",
        (
            "plain.yaml:6: commands.measure_resistance.answer: '{voltage}' has an unknown field {voltage}; "
            "known here: resistance"
        ),
        "plain.yaml:6: commands.measure_resistance: never tells the {resistance} in an answer",
    ]


# --- what only some kinds have a use for ---

TEXTS = {"power-source": PLAIN, "heat-source": PLATE, "port-tester": TESTER, "multimeter": METER}
ERRORS = 'errors: {send: "E?", answer: "{code}"}'


@pytest.mark.parametrize(
    ("kind", "part"),
    [
        *itertools.product(["heat-source", "port-tester"], [ERRORS, "spacing: 1 ms"]),
        *itertools.product(["heat-source", "power-source", "multimeter"], ["lines: {A: a}"]),
        *itertools.product(["port-tester", "multimeter"], ["reads: x", "readback: x"]),
    ],
)
def test_what_a_kind_has_no_use_for_is_refused_in_one_line(load, refused, kind, part):
    load(TEXTS[kind], kind=kind)
    key = part.partition(":")[0]
    told = refused(TEXTS[kind].replace("kind:", f"{part}\nkind:"), kind=kind)
    assert told == [f"plain.yaml:2: {key}: a {kind} has no use for it; leave it out"]


def test_a_plate_does_not_send_blocks_whatever_is_in_them(refused):
    told = refused(PLATE.replace('answer: "{temperature}"', "block: temprature, number: float32"), kind="heat-source")
    assert told == [
        "plain.yaml:8: reads: nothing reads the temperature; a heat-source needs it",
        "plain.yaml:9: reads[0].block: a heat-source has no use for it; leave it out",
    ]


def test_how_a_block_is_written_means_nothing_without_one(refused):
    told = refused(PLAIN.replace('"V?", ', '"V?", order: big, '))
    assert told == ["plain.yaml:10: reads[0].order: has a meaning only beside 'block'"]


# --- variables ---

VARIABLE = PLAIN.replace("kind: power-source\n", "kind: power-source\nvariables: {channel: 1, unit: }\n").replace(
    '"OUT 1"', '"OUT{channel} {unit:02d}"'
)


def test_the_bench_overrides_a_variable(load):
    bench = section("channel: B\nunit: 6\n")
    dialect = load(VARIABLE).for_instrument(bench)
    bench.doc.finish()
    assert dialect.commands["output_on"][0].send.render({}) == "OUTB 06"


@pytest.mark.parametrize(
    ("bench", "says"),
    [
        ("channel: 1\n", "bench.yaml:1: unit: is missing"),
        ("unit: six\n", "bench.yaml:1: unit: 'six' is not a whole number"),
        ('unit: 6\nchannel: "1\\nOUT 1"\n', "bench.yaml:2: channel: '1\\nOUT 1' cannot be sent to an instrument"),
        ("unit: 6\nchanel: 2\n", "bench.yaml:2: chanel: unknown key; did you mean 'channel'?"),
    ],
)
def test_a_wrong_variable_is_told_at_its_line_in_bench_yaml(load, bench, says):
    top = section(bench)
    load(VARIABLE).for_instrument(top)
    with pytest.raises(ConfigInvalid) as wrong:
        top.doc.finish()
    assert wrong.value.problems == (says,)


# --- exchanges over a wire ---


def test_a_setting_is_acknowledged(load):
    dialect = load(PLAIN + "acknowledge: OK\n").bind({})
    (exchange,) = dialect.commands["set_voltage"]
    assert Talk(dialect, ScriptedWire((b"V 3.3\n", b"OK\n"))).run(exchange, {"voltage": 3.3}).text == "OK"
    with pytest.raises(OutOfSync, match=r"asked 'V 3.3', got '3.3', expected 'OK'"):
        Talk(dialect, ScriptedWire((b"V 3.3\n", b"3.3\n"))).run(exchange, {"voltage": 3.3})


def test_a_refusal_in_band_is_told_as_one(load):
    dialect = load(PLAIN + 'refused: ["ERR {code}"]\nacknowledge: OK\n').bind({})
    with pytest.raises(DeviceRefused, match="answered 'ERR 2' to 'V 99'"):
        Talk(dialect, ScriptedWire((b"V 99\n", b"ERR 2\n"))).run(dialect.commands["set_voltage"][0], {"voltage": 99.0})


def test_a_channel_is_selected_before_each_exchange(load):
    dialect = load(PLAIN.replace("commands:", 'before: "SEL 2"\ncommands:')).bind({})
    wire = ScriptedWire((b"SEL 2\n", b""), (b"V?\n", b"3.3\n"), (b"SEL 2\n", b""), (b"I?\n", b"0.1\n"))
    talk = Talk(dialect, wire)
    assert [talk.run(read).values for read in dialect.reads] == [{"voltage": 3.3}, {"current": 0.1}]


def test_echo_terminators_and_rest(load):
    link = 'link: {write-end: "\\r", read-end: "\\r\\n", echo: on, delay: 50 ms}\n'
    dialect = load(PLAIN + link).bind({})
    wire = ScriptedWire((b"V?\r", b"V?\r3.3\r\n"))
    assert Talk(dialect, wire).run(dialect.reads[0]).values == {"voltage": 3.3}
    assert wire.pauses == [0.05]
    with pytest.raises(OutOfSync, match=r"sent 'V\?', but 'V!\\r' was echoed"):
        Talk(dialect, ScriptedWire((b"V?\r", b"V!\r3.3\r\n"))).run(dialect.reads[0])


def test_answers_without_terminator_have_a_fixed_length(load):
    text = PLAIN.replace('"{voltage}"', '"{voltage:05.2f}"').replace('"{current}"', '"{current:05.3f}"')
    text = text.replace('"{model}"}', '"{model}", length: 4}')
    dialect = load(text + 'link: {write-end: "", read-end: ""}\n').bind({})
    wire = ScriptedWire((b"ID?", b"PS-3"), (b"V?", b"12.34"), (b"I?", b"0.123"))
    talk = Talk(dialect, wire)
    exchanges = (*dialect.identify, *dialect.reads)
    assert [talk.run(each).values for each in exchanges] == [{"model": "PS-3"}, {"voltage": 12.34}, {"current": 0.123}]


def test_an_answer_may_have_several_lines(load):
    text = PLAIN.replace('"{voltage}"', '["{voltage|0.01 V:04.0f}", OK]')
    dialect = load(text).bind({})
    wire = ScriptedWire((b"V?\n", b"0330\nOK\n"))
    assert Talk(dialect, wire).run(dialect.reads[0]).values == {"voltage": 3.3}
    assert wire.came == b""


def test_a_command_may_take_several_exchanges(load):
    dialect = load(PLAIN.replace('"OUT 1"', '["ARM", {send: "OUT 1", answer: "ON"}]')).bind({})
    wire = ScriptedWire((b"ARM\n", b""), (b"OUT 1\n", b"ON\n"))
    for exchange in dialect.commands["output_on"]:
        Talk(dialect, wire).run(exchange)
    assert wire.script == []


DIGITS = """\
dialect: plain
kind: power-source
link: {write-end: "\\r", read-end: "\\r"}
acknowledge: OK
identify: {send: "GMAX", answer: ["{maker:3}{model:3}", OK]}
commands:
  set_voltage: "VOLT{voltage|0.1 V:03.0f}"
  set_current_limit: "CURR{current|0.1 A:03.0f}"
  output_on: SOUT0
  output_off: SOUT1
reads: {send: "GETD", answer: ["{voltage|0.01 V:04.0f}{current|0.01 A:04.0f}{limiting|0=0 1=1}", OK]}
readback: {send: "GETS", answer: ["{voltage|0.1 V:03.0f}{current|0.1 A:03.0f}000", OK]}
"""
BYTES = """\
dialect: plain
kind: power-source
link: {write-end: "", read-end: "", delay: 50 ms}
identify: {send: "ID?", answer: "{model}", length: 6}
commands:
  set_voltage: "VSET1:{voltage:05.2f}"
  set_current_limit: "ISET1:{current:05.3f}"
  output_on: OUT1
  output_off: OUT0
reads:
  - {send: "VOUT1?", answer: "{voltage:05.2f}"}
  - {send: "IOUT1?", answer: "{current:05.3f}"}
  - {send: "STATUS?", answer: "{limiting|byte not bit 0; output|byte bit 6}"}
"""


def test_a_supply_that_speaks_in_bare_digits(load):
    dialect = load(DIGITS).bind({})
    script = [
        (b"VOLT038\r", b"OK\r"),
        (b"GETS\r", b"038005000\rOK\r"),
        (b"GETD\r", b"038000521\rOK\r"),
    ]
    talk = Talk(dialect, ScriptedWire(*script))
    (set_voltage,), (read,), (readback,) = dialect.commands["set_voltage"], dialect.reads, dialect.readback
    talk.run(set_voltage, {"voltage": 3.8})
    assert talk.run(readback).values == {"voltage": 3.8, "current": 0.5}
    assert talk.run(read).values == {"voltage": 3.8, "current": 0.52, "limiting": 1.0}


def test_a_supply_that_ends_nothing_and_tells_its_status_in_a_raw_byte(load):
    dialect = load(BYTES).bind({})
    wire = ScriptedWire(
        (b"VSET1:03.85", b""), (b"VOUT1?", b"03.84"), (b"IOUT1?", b"0.521"), (b"STATUS?", b"\x40"), (b"STATUS?", b"\n")
    )
    talk = Talk(dialect, wire)
    talk.run(dialect.commands["set_voltage"][0], {"voltage": 3.85})
    assert [talk.run(read).values for read in dialect.reads] == [
        {"voltage": 3.84},
        {"current": 0.521},
        {"limiting": 1.0, "output": 1.0},
    ]
    # a status byte that happens to be a line feed (bits 1 and 3) is a status all the same
    assert talk.run(dialect.reads[2]).values == {"limiting": 1.0, "output": 0.0}


TESTER = """\
dialect: plain
kind: port-tester
identify: {send: "ID?", answer: "{model}"}
commands:
  test_port:
    send: TEST
    each: "{line} {passed|PASS=1 FAIL=0}[ {voltage}V][ {says}]"
    answer: "RESULT {passed|PASS=1 FAIL=0}"
"""


def test_a_list_of_lines_ends_with_its_last(load):
    dialect = load(TESTER, kind="port-tester").bind({})
    came = b"VBUS PASS\nCC1 FAIL 0.11V leaks to ground\nRESULT FAIL\n"
    answer = Talk(dialect, ScriptedWire((b"TEST\n", came))).run(dialect.commands["test_port"][0])
    assert answer.values == {"passed": 0.0}
    assert list(answer.rows) == [
        {"line": "VBUS", "passed": 1.0},
        {"line": "CC1", "passed": 0.0, "voltage": 0.11, "says": "leaks to ground"},
    ]
    assert answer.text == came.decode().strip()


@pytest.mark.parametrize("came", [b"VBUS MAYBE\n", b"VBUS PASS\n" * 500])
def test_a_list_of_lines_that_goes_wrong(load, came):
    dialect = load(TESTER, kind="port-tester").bind({})
    with pytest.raises(OutOfSync):
        Talk(dialect, ScriptedWire((b"TEST\n", came))).run(dialect.commands["test_port"][0])


@pytest.mark.parametrize(("number", "code"), [("float32", "f"), ("float64", "d")])
@pytest.mark.parametrize(("order", "sign"), [("big", ">"), ("little", "<")])
def test_a_block_of_samples(load, number, code, order, sign):
    block = f'"V?", block: voltage, number: {number}, order: {order}'
    dialect = load("spacing: 2 ms\n" + PLAIN.replace('"V?", answer: "{voltage}"', block)).bind({})
    assert dialect.spacing_s == 0.002
    data = struct.pack(f"{sign}3{code}", 3.5, 9.91e37, -1.25)
    head = f"#{len(str(len(data)))}{len(data)}".encode()
    answer = Talk(dialect, ScriptedWire((b"V?\n", head + data + b"\n"))).run(dialect.reads[0])
    assert answer.samples == {"voltage": [3.5, None, -1.25]}


def test_a_setting_is_read_back_where_the_dialect_can(load):
    dialect = load(PLAIN + 'readback: {send: "SV?", answer: "{voltage}"}\n').bind({})
    assert dialect.reader_of("voltage").send.text == "SV?"
    # what is measured under the same name is no setting
    assert dialect.reader_of("current") is None
    assert dialect.reader_of("output") is None
