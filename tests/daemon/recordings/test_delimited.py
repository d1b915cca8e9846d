"""Tables of text, as meters, scopes, spreadsheets and loggers write them."""

from __future__ import annotations

import codecs
import itertools
import math
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.recordings import delimited
from wakerail.recordings.files import open_file
from wakerail.recordings.headings import Wishes
from wakerail_kit.errors import ConfigInvalid

UNITS_A = {"A": 1.0, "mA": 1e3, "uA": 1e6, "µA": 1e6}
UNITS_S = {"s": 1.0, "ms": 1e3, "us": 1e6, "min": 1 / 60}
HEADINGS = {
    "current": ["current_{}", "Current [{}]", "Strom ({})", "i_{}", "I/{}", "courant {}"],
    "time": ["t_{}", "Time [{}]", "Zeit ({})", "time_{}", "elapsed time ({})"],
}


@st.composite
def written_tables(draw):
    """A table of samples in some dialect: its bytes, the true samples, what a person must say of it."""
    steps = draw(st.lists(st.integers(1, 5000), min_size=3, max_size=60))
    t_s = [round(at / 1000, 3) for at in itertools.accumulate(steps)]
    amps = [draw(st.integers(-3_000_000, 3_000_000)) / 1e6 for _ in t_s]
    decimal = draw(st.sampled_from(".,"))
    delimiter = draw(st.sampled_from(";\t" + (",| " if decimal == "." else " ")))
    unit_a, unit_s = draw(st.sampled_from(list(UNITS_A))), draw(st.sampled_from(list(UNITS_S)))
    headed = draw(st.booleans())
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]))
    end = draw(st.sampled_from(["\n", "\r\n"]))

    def cell(value: float) -> str:
        return f"{value:.12g}".replace(".", decimal)

    names = [
        draw(st.sampled_from(HEADINGS[role])).format(unit) for role, unit in (("time", unit_s), ("current", unit_a))
    ]
    if delimiter == " ":
        names = [name.replace(" ", "_") for name in names]
    lines = [delimiter.join(names)] if headed else []
    if not headed:
        unit_s = "s"
    if draw(st.booleans()):
        lines.insert(0, "# a remark, and another; one")
    for number, (at_s, value) in enumerate(zip(t_s, amps, strict=True)):
        if number == 2 and draw(st.booleans()):
            lines.append("# paused here; went on")
        lines.append(delimiter.join([cell(at_s * UNITS_S[unit_s]), cell(value * UNITS_A[unit_a])]))
    text = end.join(lines) + (end if draw(st.booleans()) else "")
    wishes = {} if headed else {"unit": unit_a}
    return text.encode(encoding), t_s, amps, wishes


@settings(max_examples=100, deadline=None)
@given(written_tables())
def test_the_same_numbers_come_back_whatever_the_dialect(table):
    data, t_s, amps, wishes = table
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "t.csv"
        path.write_bytes(data)
        recording = open_file(path, Wishes(**wishes))
        pieces = list(recording.pieces)
    assert recording.notes() == []
    np.testing.assert_allclose(np.concatenate([one.t_s for one in pieces]), t_s, rtol=1e-10, atol=0)
    np.testing.assert_allclose(np.concatenate([one.current_a for one in pieces]), amps, rtol=1e-10, atol=1e-15)
    assert recording.unit == "A"


SCRAPS = st.text(st.sampled_from('0123456789.,;\t #\n\r"-:TZnae|'), max_size=200)


@settings(max_examples=200, deadline=None)
@given(
    st.one_of(
        SCRAPS.map(str.encode),
        SCRAPS.map(lambda text: f"t_s,current_a\n{text}".encode()),
        SCRAPS.map(lambda text: f"time;i\n2026-11-25T10:15:00Z;1\n{text}\n9;9\n".encode()),
        st.binary(max_size=200),
    )
)
def test_whatever_is_in_a_file_it_is_read_or_refused_in_one_line(data):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "t.csv"
        path.write_bytes(data)
        try:
            pieces, problems = list(open_file(path, Wishes()).pieces), ()
        except ConfigInvalid as wrong:
            pieces, problems = [], wrong.problems
    assert len(problems) <= 1
    for line in problems:
        assert "\n" not in line
        assert "cannot be read:" not in line  # each mistake has words of its own
    times = np.concatenate([np.empty(0), *(piece.t_s for piece in pieces)])
    assert (np.diff(times) > 0).all()


def test_how_it_was_read_is_said(read):
    _, recording = read("Zeit [s];Strom (mA)\n0,5;3,2\n1,0;3,3\n")
    assert recording.read_as == (
        "semicolon, decimal comma, header; time from 'Zeit [s]' in s, current from 'Strom (mA)' in mA"
    )


def test_a_unit_that_nothing_tells_is_said_to_be_taken(read):
    piece, recording = read("0 1.5\n1 1.6\n")
    assert recording.read_as == (
        "blank, no header; time from column 1 taken to be in s, current from column 2 taken to be in A"
    )
    assert piece.current_a.tolist() == [1.5, 1.6]


def test_aligned_columns_are_one_blank_apart_whatever_their_width(read):
    piece, _ = read("   t_s   current_ma\n   0.0     12.50\n  10.5      3.25\n\n")
    assert piece.t_s.tolist() == [0.0, 10.5]
    assert piece.current_a.tolist() == [0.0125, 0.00325]


def test_numbers_as_instruments_send_them(read):
    piece, _ = read("t_s,current_a\n+0.000E+00,+1.25000E-03\n+5.000E-02, -1.5e-6\n")
    assert piece.current_a.tolist() == [0.00125, -1.5e-6]


def test_a_line_of_units_below_the_header_belongs_to_it(read):
    piece, recording = read("Model,X1\nSamples,2\nTime,Channel 1\n(ms),(mA)\n0,10\n50,20\n")
    assert piece.t_s.tolist() == [0.0, 0.05]
    assert piece.current_a.tolist() == [0.01, 0.02]
    assert "'Channel 1 mA' in mA" in recording.read_as


def test_a_header_of_single_letters_is_one(read):
    piece, _ = read("T,I\n0,0.5\n1,0.6\n")
    assert piece.current_a.tolist() == [0.5, 0.6]


def test_quoted_cells_with_decimal_commas(read):
    piece, _ = read('"time (s)","current, A"\n"0,5","0,25"\n"1,5","0,30"\n')
    assert piece.t_s.tolist() == [0.5, 1.5]
    assert piece.current_a.tolist() == [0.25, 0.3]


def test_a_delimiter_that_the_file_names_itself(read):
    piece, _ = read("sep=;\nt_s;current_a\n0;1\n1;2\n")
    assert piece.current_a.tolist() == [1.0, 2.0]


def test_decimals_that_begin_late_are_seen(read):
    quiet = "".join(f"{at};0\n" for at in range(20_000))
    piece, recording = read("t_ms;current_a\n" + quiet + "20000;0,125\n20001;0,25\n")
    assert "decimal comma" in recording.read_as
    assert piece.current_a[-2:].tolist() == [0.125, 0.25]


def test_power_is_read_where_there_is_no_current(read):
    piece, recording = read("t_s,power_mw,phase\n0,4430,pre\n5,5650,load\n")
    assert recording.unit == "W"
    assert piece.current_a.tolist() == [4.43, 5.65]


def test_columns_by_name_and_by_number(read):
    text = "t_s,rail_a,board_ma,v\n0,1,20,3.8\n1,2,30,3.9\n"
    piece, _ = read(text, current="BOARD_MA")
    assert piece.current_a.tolist() == [0.02, 0.03]
    piece, recording = read(text, current="2", voltage="v", unit="mA")
    assert piece.current_a.tolist() == [0.001, 0.002]
    assert piece.voltage_v.tolist() == [3.8, 3.9]
    assert "voltage from 'v' taken to be in V" in recording.read_as


def test_a_rate_stands_in_for_the_time(read):
    piece, recording = read("0.1\n0.2\n0.3\n", rate_hz=20.0)
    assert piece.t_s.tolist() == [0.0, 0.05, 0.1]
    assert recording.read_as.startswith("one column, no header; 20 samples a second")


@pytest.mark.parametrize(
    ("times", "t_s", "begins"),
    [
        (["2026-11-25T10:15:00.5Z", "2026-11-25T10:15:02Z"], [0, 1.5], datetime(2026, 11, 25, 10, 15, 0, 500000, UTC)),
        (
            ["2026-11-25 10:15:00,25", "2026-11-25 10:15:01,75"],
            [0, 1.5],
            datetime.fromisoformat("2026-11-25T10:15:00.250"),
        ),
        (
            ["2026-11-25T01:59:59+02:00", "2026-11-25T01:00:00+01:00"],
            [0, 1],
            datetime(2026, 11, 24, 23, 59, 59, 0, UTC),
        ),
    ],
)
def test_civil_times_become_seconds_from_the_first(read, times, t_s, begins):
    rows = "".join(f"{time};1\n" for time in times)
    piece, recording = read(f"timestamp;current_a\n{rows}")
    assert piece.t_s.tolist() == t_s
    assert recording.begins() == begins
    assert "as civil time" in recording.read_as


def test_times_that_count_from_1970_say_their_unit_by_their_size(read):
    piece, recording = read("timestamp,current_a\n1764065700250,1\n1764065700500,2\n")
    assert piece.t_s.tolist() == [1764065700.25, 1764065700.5]
    assert "in ms from 1970" in recording.read_as


def test_empty_cells_are_missing_samples_and_counted(read):
    piece, recording = read("t_s,current_a,voltage_v\n0,1,3.8\n1,,3.8\n2,3,\n,4,3.8\n")
    assert piece.t_s.tolist() == [0.0, 2.0]
    assert math.isnan(piece.voltage_v[1])
    assert recording.notes() == ["2 rows without a sample left out"]


@pytest.mark.parametrize("torn", ["2,0.", "2,", "2", "2,0.5,7\0\0\0", "2,0.5e"])
def test_a_torn_last_line_is_forgiven_and_said(read, torn):
    piece, recording = read(f"t_s,current_a,mode\n0,0.1,a\n# so far\n1,0.2,b\n{torn}")
    assert piece.t_s.tolist() == [0.0, 1.0]
    assert recording.notes() == ["line 5, the last, is torn and was left out"]


def test_a_whole_last_line_needs_no_line_break(read):
    piece, recording = read("t_s,current_a\n0,0.1\n1,0.2")
    assert piece.t_s.tolist() == [0.0, 1.0]
    assert recording.notes() == []


GOOD = "t_s,current_a\n# begun\n0,0.1\n\n1,0.2\n"


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("2,abc\n3,1\n", "trace.csv:6: 'abc' in 'current_a' is no number; write it like '0.0413', or leave the cell"),
        ("x,0.1\n3,1\n", "trace.csv:6: 'x' in 't_s' is no time; write a number like '12.05', or ISO 8601"),
        ("2,nan\n3,1\n", "trace.csv:6: 'current_a' is nan; leave the cell empty if it is missing"),
        ("2,0.1,0.2\n3,1\n", "trace.csv:6: 3 cells where a row has 2; correct the line or take it out"),
        ("2\n3,1\n", "trace.csv:6: 1 cell where a row has 2"),
        ("0.5,1\n3,1\n", "trace.csv:6: time goes back by 0.5 s; each row needs a later time than the one before"),
        ("2,0.1\n#\n2,0.1\n", "trace.csv:8: it has the time of the row before; each row needs a later time"),
        ("2026-11-25T10:15:00Z,1\n4,1\n", "trace.csv:6: '2026-11-25T10:15:00Z' in 't_s' is no time"),
    ],
)
@pytest.mark.parametrize("block", [32, 1 << 20])
def test_a_wrong_row_is_one_line_with_its_place(refused, monkeypatch, rows, says, block):
    monkeypatch.setattr(delimited, "_BLOCK", block)
    assert refused(GOOD + rows).startswith(says)


def test_a_wrong_row_far_down_is_found_again(refused):
    rows = "".join(f"{at / 1000},0.25\n" for at in range(200_000))
    assert refused(f"t_s,current_a\n{rows}200,#\n201,0\n").startswith("trace.csv:200002: '#' in 'current_a' is no num")
    assert refused(f"t_s,current_a\n{rows}199,1\n201,0\n").startswith("trace.csv:200002: time goes back")


@pytest.mark.parametrize(
    ("text", "wishes", "says"),
    [
        ("", {}, "trace.csv: it is empty; a table with columns of time and current is needed"),
        ("hello\nworld\n", {}, "trace.csv: there is no table of numbers in it"),
        (b"\x89PNG\0\0\x01\0\x02\0\0\0", {}, "trace.csv: it is no text"),
        ("1.5\n2.5\n", {}, "trace.csv:1: one column and no time; say how many samples there are in a second"),
        ("a,b\n1,2\n", {}, "trace.csv:1: no column of time among 'a', 'b'; name it with --time"),
        ("t_s,b\n1,2\n", {}, "trace.csv:1: no column of current or power among 't_s', 'b'; name it with --current"),
        (
            "t_s,i1_ma,i2_ma\n1,2,3\n",
            {},
            "trace.csv:1: the current may be 'i1_ma' or 'i2_ma'; say which with --current",
        ),
        ("t_s,amps\n1,2\n", {"current": "amp"}, "trace.csv:1: --current 'amp': no such column; did you mean 'amps'?"),
        ("1,2\n2,3\n", {"current": "3"}, "trace.csv:1: --current '3': it has no header; give a number from 1 to 2"),
        (
            "Zeit;Strom\n25.11.2026 10:15:00;0,5\n25.11.2026 10:15:01;0,6\n",
            {},
            "trace.csv:2: '25.11.2026 10:15:00' in 'Zeit'",
        ),
        (
            "date,time,i_a\n2026-11-25,10:15:00,1\n2026-11-25,10:15:01,1\n",
            {},
            "trace.csv:2: '10:15:00' in 'time' is",
        ),
        ("t_s,amps\n1,2\n", {"unit": "V"}, "--unit 'V' is no unit of current or power; one of A, mA"),
        ("0.5\n", {"rate_hz": -1.0}, "--rate -1 is no rate"),
    ],
)
def test_a_file_or_an_option_that_will_not_do_is_one_line(refused, text, wishes, says):
    assert refused(text, **wishes).startswith(says)


def test_marks_of_byte_order_are_seen(read):
    text = "t_s;current_a\n0,5;1\n1,5;2\n"
    for mark, encoding in ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")):
        piece, recording = read(mark + text.encode(encoding))
        assert piece.t_s.tolist() == [0.5, 1.5]
        assert "UTF-16" in recording.read_as


@pytest.mark.parametrize("block", [64, 1000, 1 << 20])
def test_the_size_of_the_pieces_changes_nothing(read, monkeypatch, block):
    rows = [(at / 50, (at * 37 % 101) / 1000) for at in range(3000)]
    text = "# x\nt_s,current_a\n" + "".join(f"{at},{amps}\n" + "# y\n" * (at == 3.0) for at, amps in rows)
    monkeypatch.setattr(delimited, "_BLOCK", block)
    monkeypatch.setattr("wakerail.recordings.lines._BLOCK", block)
    piece, _ = read(text)
    assert piece.t_s.tolist() == [at for at, _ in rows]
    assert piece.current_a.tolist() == [amps for _, amps in rows]
