from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail_kit.errors import ConfigInvalid
from wakerail_sim.bench import RecordedTrace, load_trace


def write(folder: Path, text: str) -> Path:
    file = folder / "trace.csv"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.mark.parametrize(
    "header",
    ["t_s,current_a,voltage_v", "time,current,voltage", "Time (s),Current [A],Voltage (V)", "t_s;current_a;voltage_v"],
)
def test_columns_are_found_by_usual_headers(tmp_path: Path, header: str) -> None:
    comma = ";" if ";" in header else ","
    rows = [("0", "0.1", "3.8"), ("0.5", "0.2", "3.7")]
    trace = load_trace(write(tmp_path, "\n".join([header, *(comma.join(row) for row in rows)])))
    assert trace.t_s.tolist() == [0.0, 0.5]
    assert trace.current_a.tolist() == [0.1, 0.2]
    assert trace.voltage_v is not None
    assert trace.voltage_v.tolist() == [3.8, 3.7]


def test_other_columns_are_ignored_and_time_counts_from_the_first_row(tmp_path: Path) -> None:
    trace = load_trace(write(tmp_path, "note,current_a,t_s\nx,1,10\ny,2,11\n\n"))
    assert trace.t_s.tolist() == [0.0, 1.0]
    assert trace.voltage_v is None
    assert trace.length_s == 1.0


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("", 1, "header"),
        ("a_b,c_d\n0,1\n1,1\n", 1, "time in s"),
        ("t_s,current_ma\n0,1\n1,1\n", 1, "current in A"),
        ("t_s,current_a\n0,1\n1,x\n", 3, "'x' is not a number"),
        ("t_s,current_a\n0,1\n1,nan\n", 3, "not a finite number"),
        ("t_s,current_a\n0,1\n1,inf\n", 3, "not a finite number"),
        ("t_s,current_a\n0,1\n2,1\n1,1\n", 4, "time goes back"),
        ("t_s,current_a\n0,1\n2\n", 3, "'current_a' is missing"),
        ("t_s,current_a\n0,1\n1,2000\n", 3, "out of bounds"),
        ("t_s,current_a\n0,1\n", None, "at least 2"),
    ],
)
def test_a_corrupt_trace_is_refused_with_file_and_line(tmp_path: Path, text: str, line: int | None, says: str) -> None:
    file = write(tmp_path, text)
    with pytest.raises(ConfigInvalid) as refused:
        load_trace(file)
    assert str(refused.value).startswith(f"{file}:{line}:" if line else f"{file}:")
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_missing_or_binary_file_is_refused_in_one_line(tmp_path: Path) -> None:
    with pytest.raises(ConfigInvalid, match="no such file"):
        load_trace(tmp_path / "none.csv")
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"\xff\xfe\x00\x81" * 20)
    with pytest.raises(ConfigInvalid, match="cannot be read"):
        load_trace(binary)


MILLI = st.integers(0, 2000).map(lambda milli: milli / 1000)


@settings(max_examples=40, deadline=None)
@given(currents=st.lists(MILLI, min_size=2, max_size=60), spacing_ticks=st.integers(1, 50), hold=st.integers(0, 20))
def test_replay_gives_the_recorded_values_exactly(
    lab: Any, currents: list[float], spacing_ticks: int, hold: int
) -> None:
    spacing_s = spacing_ticks * 1e-4
    trace = RecordedTrace(np.arange(len(currents)) * spacing_s, np.array(currents))
    bench = lab(trace=trace)
    bench.power()
    bench.run(0.05)
    assert set(bench.samples()) <= {currents[0]}, "what a recording begins with stands before it"
    bench.tell(f"SENS:SWE:TINT {spacing_s:.4f}")
    bench.press()
    bench.clock.advance((len(currents) + hold + 1) * spacing_s + 0.001)
    played = bench.samples()
    assert played[: len(currents)].tolist() == pytest.approx(currents, abs=0)
    assert set(played[len(currents) :]) <= {currents[-1]}


@settings(deadline=None)
@given(
    times=st.lists(st.integers(0, 5000), min_size=2, max_size=30, unique=True).map(sorted),
    asked=st.lists(st.integers(0, 6000), min_size=1, max_size=30),
)
def test_between_two_recorded_samples_the_earlier_one_holds(times: list[int], asked: list[int]) -> None:
    t_s = np.array([time - times[0] for time in times]) / 1000
    trace = RecordedTrace(t_s, np.arange(len(times), dtype=float))
    for milli in asked:
        place = int(trace.place(np.array([milli / 1000]))[0])
        expected = max(k for k in range(len(times)) if k == 0 or times[k] - times[0] <= milli)
        assert place == expected


def test_the_voltage_of_a_trace_is_shown_where_it_has_one(lab: Any) -> None:
    trace = RecordedTrace(np.array([0.0, 0.1]), np.array([0.1, 0.2]), np.array([4.36, 4.31]))
    bench = lab(trace=trace)
    bench.power(volts=4.2)
    bench.press()
    bench.run(0.05)
    assert float(bench.ask("MEAS:VOLT?")) == 4.36
    bench.run(0.1)
    assert float(bench.ask("MEAS:VOLT?")) == 4.31


def test_a_trace_plays_anew_after_the_output_was_off(lab: Any) -> None:
    bench = lab(trace=RecordedTrace(np.array([0.0, 1.0]), np.array([0.5, 0.1])))
    bench.press()
    bench.power()
    bench.run(0.2)
    bench.run(1.5)
    assert float(bench.ask("MEAS:CURR?")) == 0.5  # pressed before there was power: it has not begun
    bench.press()
    bench.run(1.5)
    assert float(bench.ask("MEAS:CURR?")) == 0.1
    bench.tell("OUTP OFF")
    assert float(bench.ask("MEAS:CURR?")) == 0.0
    bench.tell("OUTP ON")
    bench.press()
    assert float(bench.ask("MEAS:CURR?")) == 0.5


def test_the_supply_gives_a_trace_no_more_than_its_limit(lab: Any) -> None:
    bench = lab(trace=RecordedTrace(np.array([0.0, 1.0]), np.array([0.5, 0.5])))
    bench.power(limit=0.2)
    bench.press()
    bench.run(0.1)
    assert float(bench.ask("MEAS:CURR?")) == 0.2
    assert bench.ask("STAT:QUES:COND?") == "1"


def test_a_trace_and_a_fault_of_the_draw_exclude_each_other(lab: Any) -> None:
    trace = RecordedTrace(np.array([0.0, 1.0]), np.array([0.5, 0.5]))
    with pytest.raises(ConfigInvalid, match="no effect on a replayed trace"):
        lab("dead-short", trace=trace)
    lab("dirty-port", trace=trace)


@pytest.mark.parametrize(
    "name", ["mcu_reset_once_a.csv", "modem_power_on_once.csv", "sdr_cold_boot_quarter_second.csv"]
)
def test_recordings_of_real_devices_play_as_they_were_recorded(lab: Any, reference: Path, name: str) -> None:
    # the recordings and where they come from: ../shared/data/current/README.md
    trace = load_trace(reference / "data" / "current" / name)
    bench = lab(trace=trace)
    bench.power(volts=4.0, limit=6)
    bench.run(0.01)
    bench.samples()
    bench.press()
    bench.clock.advance(min(trace.length_s, 15.0))
    played = bench.samples()
    expected = trace.current_a[trace.place(np.arange(len(played)) * 0.002)]
    assert played == pytest.approx(expected, abs=1e-6)
    assert len(played) > 100
