"""How commands and answers are worded: rendering, matching, and that one undoes the other."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from wakerail_kit.dialect_wording import FLAG, TEXT, WordingInvalid, read_wording
from wakerail_kit.errors import DeviceRefused

KNOWN = {
    "voltage": "V",
    "current": "A",
    "temperature": "Cel",
    "limiting": FLAG,
    "output": FLAG,
    "maker": TEXT,
    "model": TEXT,
    "code": "1",
    "text": TEXT,
}
VARIABLES = {"channel": "2", "unit": "6"}


def answer(text, **variables):
    return read_wording(text, KNOWN, VARIABLES, answer=True).bind({**VARIABLES, **variables})


def command(text, **variables):
    return read_wording(text, KNOWN, VARIABLES, answer=False).bind({**VARIABLES, **variables})


@pytest.mark.parametrize(
    ("wording", "came", "values"),
    [
        ("{voltage}", "3.85", {"voltage": 3.85}),
        ("{voltage}", " +3.850E+00 ", {"voltage": 3.85}),
        ("{voltage}", "-.5", {"voltage": -0.5}),
        ("V{channel} {voltage}", "V2 1.2", {"voltage": 1.2}),
        ("V{channel} {voltage}", "V2   1.2", {"voltage": 1.2}),
        ("{voltage}V", "1.2V", {"voltage": 1.2}),
        ("{voltage|mV}", "3850", {"voltage": 3.85}),
        ("{voltage|0.1 V:03.0f}{current|0.01 A:04.0f}{limiting|CV=0 CC=1}", "0380523CC",
         {"voltage": 3.8, "current": 5.23, "limiting": 1.0}),
        ("{voltage},{current},{_}", "12.01, 0.523 ,6.28", {"voltage": 12.01, "current": 0.523}),
        ("MV({_}),PV({voltage}),MC({current})", "MV(45.201),PV(45),MC(0.5)", {"voltage": 45.0, "current": 0.5}),
        ("{output|ON=1 OFF=0}", "ON", {"output": 1.0}),
        ("{output}", "1", {"output": 1.0}),
        ("{output}", "OFF", {"output": 0.0}),
        ("{output}", "+0", {"output": 0.0}),
        ("{limiting|bit 0}", "+1", {"limiting": 1.0}),
        ("{limiting|bit 0}", "2", {"limiting": 0.0}),
        ("{limiting|bit 0}", "#H11", {"limiting": 1.0}),
        ("{limiting|bit 2}", "#Q4", {"limiting": 1.0}),
        ("{limiting|bit 2}", "#B011", {"limiting": 0.0}),
        ("{limiting|bit 4}", "0x10", {"limiting": 1.0}),
        ("{limiting|not bit 0}", "2", {"limiting": 1.0}),
        ("{limiting|hex bit 4}", "1F", {"limiting": 1.0}),
        ("{limiting|hex bit 5}", "#H1F", {"limiting": 0.0}),
        ("{limiting|hex bit 4:02}{voltage}", "103.3", {"limiting": 1.0, "voltage": 3.3}),
        ("{limiting|bin bit 3}", "1000", {"limiting": 1.0}),
        ("{limiting|byte bit 7}", "\x80", {"limiting": 1.0}),
        ("{limiting|byte bit 1}", "\n", {"limiting": 1.0}),
        ("{limiting|bits 2-3 is 1}", "6", {"limiting": 1.0}),
        ("{limiting|bits 2-3 is 1}", "12", {"limiting": 0.0}),
        ("{output|bit 5; limiting|bit 0}", "33", {"output": 1.0, "limiting": 1.0}),
        ("{limiting|CC=1 CV=0 OFF=0; output|CC=1 CV=1 OFF=0}", "CV", {"limiting": 0.0, "output": 1.0}),
        ("T={temperature|OPEN=none}", "T=231.4", {"temperature": 231.4}),
        ("T={temperature|OPEN=none}", "T=OPEN", {"temperature": None}),
        ("{maker},{model}", "Northfen Works,PS-3", {"maker": "Northfen Works", "model": "PS-3"}),
        ("{maker},{model}", ",PS-3", {"maker": "", "model": "PS-3"}),
        ('{code},"{text}"', '-113,"Undefined header; VOLTA"', {"code": -113.0, "text": "Undefined header; VOLTA"}),
        ("{model}[ v{text}]", "PS-3", {"model": "PS-3"}),
        ("{model}[ v{text}]", "PS-3 v2", {"model": "PS-3", "text": "2"}),
        ("[[{voltage}]] {{{code}}}", "[3.3] {7}", {"voltage": 3.3, "code": 7.0}),
        ("{unit:02d}:{voltage}", "06:3.3", {"voltage": 3.3}),
    ],
)  # fmt: skip
def test_an_answer_is_read(wording, came, values):
    assert answer(wording).match(came) == values


@pytest.mark.parametrize(
    ("wording", "came"),
    [
        ("{voltage}", ""),
        ("{voltage}", "3.85V"),
        ("{voltage}", "3,85"),
        ("{voltage}", "٣"),  # a digit, but not one that an instrument sends
        ("V{channel} {voltage}", "V1 1.2"),
        ("V{channel} {voltage}", "V21.2"),
        ("OK", "ok"),
        ("{voltage|0.1 V:03.0f}", "38"),
        ("{voltage|0.1 V:03.0f}", "0380"),
        ("{output}", "2"),
        ("{limiting|CC=1 CV=0}", "UR"),
        ("{limiting|hex bit 0}", "G"),
        ("T={temperature|OPEN=none}", "T=SHORT"),
    ],
)
def test_another_answer_is_no_match(wording, came):
    assert answer(wording).match(came) is None


@pytest.mark.parametrize("special", ["9.91E37", "9.9E+37", "-9.9E37", "NAN", "nan", "INF", "-inf"])
def test_special_numbers_of_scpi_are_no_data(special):
    """SCPI-1999 vol. 1, 7.2.1.4 and 7.2.1.5: infinities and not-a-number."""
    assert answer("{voltage}").match(special) == {"voltage": None}


@pytest.mark.parametrize(
    ("wording", "value", "sent"),
    [
        ("VOLT {voltage}", 3.85, "VOLT 3.85"),
        ("VOLT {voltage}", 60.0, "VOLT 60"),
        ("VOLT {voltage}", 0.1 + 0.2, "VOLT 0.3"),
        ("VOLT {voltage}", -0.0, "VOLT 0"),
        ("VOLT {voltage}", 0.000012, "VOLT 0.000012"),
        ("VOLT {voltage}, (@{channel})", 1.5, "VOLT 1.5, (@2)"),
        ("CH{channel}:VOLT {voltage:.3f}", 0.5, "CH2:VOLT 0.500"),
        ("VOLT{voltage|0.1 V:03.0f}", 3.8, "VOLT038"),
        ("{unit:02d}V{voltage|mV:05d}", 3.85, "06V03850"),
    ],
)
def test_a_command_is_worded(wording, value, sent):
    assert command(wording).render({"voltage": value}) == sent


@pytest.mark.parametrize("value", [100.0, -1.0, 99.96])
def test_what_does_not_fit_is_refused_and_not_cut(value):
    with pytest.raises(DeviceRefused, match="does not fit into the 3 characters"):
        command("VOLT{voltage|0.1 V:03.0f}").render({"voltage": value})


@given(st.floats(0, 999, allow_nan=False))
@example(0.05)
def test_a_number_sent_plain_comes_back_the_same(value):
    text = command("V {voltage}").render({"voltage": value})
    assert "e" not in text.lower()
    assert answer("V {voltage}").match(text)["voltage"] == pytest.approx(value, abs=1e-9)


@given(
    st.floats(0, 99, allow_nan=False),
    st.sampled_from(["V", "mV", "0.1 V", "0.01 V", "10 mV", "kV"]),
    st.integers(4, 9),
    st.integers(0, 3),
)
def test_a_number_in_any_format_comes_back_within_its_resolution(value, unit, width, decimals):
    text = f"{{voltage|{unit}:0{width}.{decimals}f}}"
    sends, reads = command(text), answer(text)
    try:
        sent = sends.render({"voltage": value})
    except DeviceRefused:
        assume(False)
    assert len(sent) == width == reads.length
    resolution = sends.fields["voltage"].resolution
    assert math.isclose(reads.match(sent)["voltage"], value, rel_tol=1e-9, abs_tol=resolution * 0.5001)


@given(st.floats(0, 9.99), st.floats(0, 9.99), st.booleans())
def test_fields_of_fixed_width_are_told_apart(voltage, current, limiting):
    text = "{voltage|0.01 V:03.0f}{current|0.01 A:03.0f}{limiting|CV=0 CC=1}"
    try:
        sent = command(text).render({"voltage": voltage, "current": current, "limiting": float(limiting)})
    except DeviceRefused:  # 9.995 and up round to four digits
        assume(False)
    read = answer(text).match(sent)
    assert read["voltage"] == pytest.approx(voltage, abs=0.00501)
    assert read["current"] == pytest.approx(current, abs=0.00501)
    assert read["limiting"] == limiting


@given(st.integers(0, 0xFFFF), st.integers(0, 15))
def test_a_bit_is_the_same_however_the_number_is_written(number, bit):
    expected = {"limiting": float(number >> bit & 1)}
    for text in (f"{number}", f"#H{number:X}", f"#Q{number:o}", f"#B{number:b}", f"0x{number:x}"):
        assert answer(f"{{limiting|bit {bit}}}").match(text) == expected
    assert answer(f"{{limiting|hex bit {bit}}}").match(f"{number:04X}") == expected
    assert answer(f"{{limiting|bin bit {bit}}}").match(f"{number:b}") == expected


@given(st.text(max_size=40))
def test_no_answer_makes_matching_fail_otherwise_than_by_no_match(text):
    for wording in ("{voltage|0.1 V:03.0f}{output}", "{limiting|byte bit 0}", "{maker},{model}", "{limiting|bit 3}"):
        assert isinstance(answer(wording).match(text), dict | None)


@pytest.mark.parametrize(
    ("wording", "length"),
    [
        ("{voltage|0.1 V:03.0f}{output|ON=1 NO=0}", 5),
        ("{voltage:05.2f}", 5),
        ("{limiting|byte bit 0}", 1),
        ("{model:16}", 16),
        ("OK", 2),
        ("{voltage}", None),
        ("{output|ON=1 OFF=0}", None),
        ("{model}", None),
        ("OK[ {code}]", None),
    ],
)
def test_the_length_of_an_answer_is_known_where_it_is_fixed(wording, length):
    assert answer(wording).length == length


@pytest.mark.parametrize(
    ("wording", "says"),
    [
        ("{volts}", r"unknown field {volts}; known here: .*voltage"),
        ("{voltage|mA}", "not a voltage; write it like '3.85 V'"),
        ("{voltage|furlong}", "unknown unit 'furlong'"),
        ("{temperature|K}", "does not count Cel from the same zero"),
        ("{voltage:3x}", "'3x' is not a number format"),
        ("{voltage", "stray '{'"),
        ("voltage}", "stray '}'"),
        ("[ {voltage}", r"'\[' without its '\]'"),
        ("[ [{voltage}]]", r"stray '\['"),
        ("{output|ON=yes}", "'ON=yes' is no word; like ON=1"),
        ("{output|high}", "'high' is not known"),
        ("{voltage|bit 0}", "only a flag can be read from bits"),
    ],
)
def test_a_wrong_wording_is_one_clear_line(wording, says):
    with pytest.raises(WordingInvalid, match=says) as refused:
        answer(wording)
    assert "\n" not in str(refused.value)


def test_bits_cannot_be_sent():
    with pytest.raises(WordingInvalid, match="can only be read, not sent"):
        command("OUT {output|bit 3}")
