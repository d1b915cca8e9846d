from __future__ import annotations

import re
import struct
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail_sim.scpi import ERRORS, block
from wakerail_sim.scpi_status import QUEUE_LENGTH, standard_event_bit


@pytest.mark.parametrize(
    "header",
    ["VOLT", "volt", "VOLTage", "VOLTAGE", ":VOLT", "SOUR:VOLT", "SOURce:VOLTage:LEVel:IMMediate:AMPLitude",
     "sour:volt:ampl", "VOLT:LEV", "SOUR1:VOLT1"],
)  # fmt: skip
def test_short_long_and_optional_forms_are_one_command(lab: Any, header: str) -> None:
    bench = lab()
    bench.tell(f"{header} 4.2")
    assert float(bench.ask(f"{header}?")) == 4.2
    assert bench.ask("SYST:ERR?") == '0,"No error"'


# numbers and texts: SCPI-1999 volume 2, 21.8, as listed in the project's check values, section 4
@pytest.mark.parametrize(
    ("message", "error"),
    [
        ("VOLTA 1", '-113,"Undefined header"'),
        ("VOL 1", '-113,"Undefined header"'),
        ("FOO?", '-113,"Undefined header"'),
        ("*FOO", '-113,"Undefined header"'),
        ("MEAS:CURR", '-113,"Undefined header"'),
        ("OUTP:PROT:CLE?", '-113,"Undefined header"'),
        ("VOLT2 1", '-114,"Header suffix out of range"'),
        ("ABCDEFGHIJKLM 1", '-112,"Program mnemonic too long"'),
        ("VOLT", '-109,"Missing parameter"'),
        ("OUTP", '-109,"Missing parameter"'),
        ("VOLT 1,2", '-108,"Parameter not allowed"'),
        ("*CLS 1", '-108,"Parameter not allowed"'),
        ("MEAS:CURR? 5", '-108,"Parameter not allowed"'),
        ("VOLT 20.1", '-222,"Data out of range"'),
        ("VOLT -0.1", '-222,"Data out of range"'),
        ("CURR 6.1", '-222,"Data out of range"'),
        ("SWE:TINT 2", '-222,"Data out of range"'),
        ("VOLT abc", '-104,"Data type error"'),
        ("VOLT 1.2.3", '-120,"Numeric data error"'),
        ("VOLT 1 A", '-131,"Invalid suffix"'),
        ("OUTP 1 V", '-138,"Suffix not allowed"'),
        ("OUTP PERHAPS", '-224,"Illegal parameter value"'),
        ("FORM REAL,64", '-224,"Illegal parameter value"'),
        ("VOLT,1", '-103,"Invalid separator"'),
        ("VOLT??", '-102,"Syntax error"'),
        ("VOLT 1,", '-102,"Syntax error"'),
        ("5VOLT", '-102,"Syntax error"'),
        ("VOLT \x071", '-101,"Invalid character"'),
    ],
)
def test_a_wrong_message_puts_its_error_into_the_queue_and_changes_nothing(lab: Any, message: str, error: str) -> None:
    bench = lab()
    bench.tell("VOLT 3;CURR 1")
    bench.tell(message)
    assert bench.ask("SYST:ERR?") == error
    assert bench.ask("SYST:ERR:NEXT?") == '0,"No error"'
    assert bench.ask("VOLT?;CURR?;OUTP?") == "3.0000;1.0000;0"


def test_every_error_text_is_the_standards(reference: Path) -> None:
    # SCPI-1999 volume 2, 21.8, as listed in ../shared/check-values.md, section 4
    listed: dict[int, str] = {}
    for line in (reference / "check-values.md").read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.split("|")[1:3]]
        if len(cells) == 2 and re.fullmatch(r"(−\d{3}( / )?)+", cells[0]):
            codes = [-int(code.strip()[1:]) for code in cells[0].split("/")]
            listed |= dict(zip(codes, (text.strip() for text in cells[1].split("/")), strict=False))
    assert len(listed) > 30
    for code, text in ERRORS.items():
        if code != -112:  # not in the list; its text is that of SCPI-1999 21.8.9, its rule is IEEE 488.2 7.6.1.4
            assert listed[code] == text


# classes and bits: SCPI-1999 volume 2, 21.8.9 to 21.8.12, and IEEE 488.2 11.5.1
@pytest.mark.parametrize(("code", "bit"), [(-113, 32), (-222, 16), (-350, 8), (-410, 4)])
def test_the_class_of_an_error_sets_its_event_bit(code: int, bit: int) -> None:
    assert standard_event_bit(code) == bit


def test_event_registers_follow_ieee_488_2(lab: Any) -> None:
    bench = lab()
    assert bench.ask("*ESR?") == "128"  # power on
    assert bench.ask("*ESR?") == "0"
    bench.tell("*ESE 48;*OPC")
    bench.tell("FOO")
    bench.tell("VOLT 99")
    assert bench.ask("*ESE?") == "48"
    assert bench.ask("*STB?") == str(32 | 4)  # event summary, error queue
    bench.tell("*SRE 32")
    assert bench.ask("*SRE?;*STB?") == f"32;{64 | 32 | 16 | 4}"  # with an answer waiting, and service requested
    assert bench.ask("*ESR?") == str(32 | 16 | 1)
    bench.tell("*CLS")
    assert bench.ask("SYST:ERR?") == '0,"No error"'
    assert bench.ask("*STB?") == "0"


def test_the_queue_is_first_in_first_out_and_says_when_it_overflowed(lab: Any) -> None:
    bench = lab()
    bench.tell("FOO")
    for _ in range(QUEUE_LENGTH + 5):
        bench.tell("VOLT 99")
    errors = [bench.ask("SYST:ERR?") for _ in range(QUEUE_LENGTH + 1)]
    assert errors[0] == '-113,"Undefined header"'
    assert errors[1:-2] == ['-222,"Data out of range"'] * (QUEUE_LENGTH - 2)
    assert errors[-2:] == ['-350,"Queue overflow"', '0,"No error"']


@pytest.mark.parametrize(
    ("message", "answer"),
    [
        ("VOLT 4.2;CURR 1;VOLT?;CURR?", "4.2000;1.0000"),
        ("SOUR:VOLT 4.1;CURR 1.5;CURR?", "1.5000"),
        ("VOLT:PROT 5;PROT:TRIP?", "0"),
        ("OUTP:STAT?;*IDN?;STAT?", "0;Tarnwick,PS-206,SN3307,2.1;0"),
        ("VOLT:PROT 6;LEV?;:OUTP?", None),
        ("VOLT 1;;VOLT?;", "1.0000"),
    ],
)
def test_a_compound_message_goes_on_at_its_level(lab: Any, message: str, answer: str | None) -> None:
    bench = lab()
    if answer is None:  # LEV after VOLT:PROT is VOLT:LEV
        assert bench.ask(message) == "0.0000;0"
    else:
        assert bench.ask(message) == answer
    assert bench.ask("SYST:ERR?") == '0,"No error"'


def test_a_compound_message_does_not_fall_back_to_the_root(lab: Any) -> None:
    bench = lab()
    bench.tell("OUTP:PROT:CLE;OUTP 1")  # that is OUTP:PROT:OUTP
    assert bench.ask("SYST:ERR?") == '-113,"Undefined header"'
    assert bench.ask("OUTP?") == "0"


def test_after_a_command_error_the_rest_is_dropped_after_an_execution_error_not(lab: Any) -> None:
    bench = lab()
    bench.tell("FOO;VOLT 5")
    assert float(bench.ask("VOLT?")) == 0.0
    bench.tell("VOLT 99;CURR 2")
    assert float(bench.ask("CURR?")) == 2.0


@pytest.mark.parametrize(
    ("text", "volts"),
    [("3850 MV", 3.85), ("3850mv", 3.85), ("3.85V", 3.85), ("3.85E0", 3.85), ("+.385e1", 3.85), ("MAX", 20.0),
     ("MINIMUM", 0.0), ("0.01 KV", 10.0), ("500000 UV", 0.5)],
)  # fmt: skip
def test_numbers_come_with_and_without_suffixes(lab: Any, text: str, volts: float) -> None:
    bench = lab()
    bench.tell("VOLT 7")
    bench.tell(f"VOLT {text}")
    assert float(bench.ask("VOLT?")) == pytest.approx(volts)


def test_bounds_can_be_asked(lab: Any) -> None:
    bench = lab()
    assert bench.ask("VOLT? MAX;CURR? MAX;VOLT? MIN;VOLT:PROT? MAX") == "20.0000;6.0000;0.0000;22.0000"


def test_a_reset_makes_safe_and_keeps_the_errors(lab: Any) -> None:
    bench = lab()
    bench.power()
    bench.tell("FORM REAL,32;:VOLT:PROT 9;:SWE:TINT 0.01;:FOO")
    bench.tell("*RST")
    assert bench.ask("OUTP?;VOLT?;CURR?;VOLT:PROT?") == "0;0.0000;0.1000;22.0000"
    assert bench.ask("FORM?;SWE:TINT?") == "ASC;0.0020"
    assert bench.ask("SYST:ERR?") == '-113,"Undefined header"'


def test_the_mandatory_commands_are_there(lab: Any) -> None:
    # SCPI-1999 volume 1, 4.1.1 and 4.2.1; the identity's four fields: IEEE 488.2 10.14
    bench = lab()
    identity = bench.ask("*IDN?")
    assert identity.split(",")[:2] == ["Tarnwick", "PS-206"]
    assert len(identity.split(",")) == 4
    assert len(identity) <= 72
    for message in ("*CLS", "*ESE 0", "*OPC", "*RST", "*SRE 0", "*WAI", "STAT:PRES"):
        bench.tell(message)
    for query in ("*OPC?", "STAT:OPER?", "STAT:OPER:COND?", "STAT:OPER:ENAB?", "STAT:QUES?", "STAT:QUES:ENAB?"):
        assert bench.ask(query).isdigit()
    assert bench.ask("*TST?") == "0"
    assert bench.ask("SYST:VERS?") == "1999.0"
    assert bench.ask("SYST:ERR?") == '0,"No error"'


def test_questionable_events_reach_the_status_byte(lab: Any) -> None:
    bench = lab("dead-short")
    bench.tell("STAT:QUES:ENAB 1")
    bench.power()
    bench.run(0.01)
    assert int(bench.ask("*STB?")) & 8
    bench.ask("STAT:QUES?")
    assert not int(bench.ask("*STB?")) & 8
    bench.tell("STAT:PRES")
    assert bench.ask("STAT:QUES:ENAB?") == "0"


@settings(deadline=None)
@given(content=st.binary(max_size=3000))
def test_a_block_says_its_own_length(content: bytes) -> None:
    made = block(content)
    assert made[:1] == b"#"
    digits = int(made[1:2])
    assert int(made[2 : 2 + digits]) == len(content)
    assert made[2 + digits :] == content


def test_blocks_as_ieee_488_2_writes_them() -> None:
    # IEEE 488.2 8.7.9
    assert block(b"HELLO") == b"#15HELLO"
    assert block(b"") == b"#10"
    assert block(bytes(2000))[:6] == b"#42000"


def test_the_same_samples_come_as_a_block_of_big_endian_floats(lab: Any) -> None:
    text, binary = lab(), lab()
    binary.tell("FORM REAL,32")
    for bench in (text, binary):
        bench.power()
        bench.run(0.1)
        bench.press()
        bench.run(1.0)
    raw = binary.scpi.execute(b"FETC:ARR:CURR?")
    assert raw.startswith(b"#4")
    assert raw.endswith(b"\n")
    content = raw[6:-1]
    assert int(raw[2:6]) == len(content)
    assert struct.unpack(f">{len(content) // 4}f", content) == pytest.approx(text.samples().tolist(), abs=1e-6)
    assert len(binary.scpi.execute(b"FETC:ARR:VOLT?")) == len(raw)
    assert binary.scpi.execute(b"FETC:ARR:CURR?") == b"#10\n"


@settings(max_examples=200, deadline=None)
@given(message=st.one_of(st.binary(max_size=60), st.text("VOLTCUROPMEAS?:;,*#\"' 01.EV-", max_size=60).map(str.encode)))
def test_no_message_breaks_the_instrument(lab: Any, message: bytes) -> None:
    bench = lab()
    bench.scpi.execute(message.replace(b"\n", b""))
    bench.tell("*CLS")
    assert bench.ask("*IDN?").startswith("Tarnwick")


def test_an_overlong_message_is_an_overrun(lab: Any) -> None:
    bench = lab()
    bench.tell("VOLT " + "1" * 5000)
    assert bench.ask("SYST:ERR?") == '-363,"Input buffer overrun"'
