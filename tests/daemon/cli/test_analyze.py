"""``wakerail analyze`` as a person and a program use it."""

from __future__ import annotations

import json
import re
import sys

import numpy as np
import pytest

from wakerail.cli import main
from wakerail.recordings.files import open_file
from wakerail.recordings.headings import Wishes
from wakerail.recordings.reading import analyse
from wakerail.recordings.samples import Piece
from wakerail.report.answer import answer_json

BOOT = [(0.002, 2.0), (0.12, 1.5), (0.41, 3.0), (0.22, 4.0)]  # level (A), length (s)


def trace(boots=4, rate_hz=20, seed=1):
    """Return the times and currents of a device that restarts after each boot but the last, and then runs on."""
    stages = [*(BOOT * boots), (0.15, 20.0)]
    rng = np.random.default_rng(seed)
    levels = np.concatenate([np.full(round(length_s * rate_hz), level_a) for level_a, length_s in stages])
    return np.arange(levels.size) / rate_hz, levels * (1 + rng.normal(0, 0.03, levels.size)) + rng.normal(
        0, 3e-4, levels.size
    )


@pytest.fixture(name="file")
def _file(tmp_path):
    t_s, amps = trace()
    path = tmp_path / "board.csv"
    rows = "".join(f"{at:.2f};{ma:.3f}\n".replace(".", ",") for at, ma in zip(t_s, amps * 1e3, strict=True))
    path.write_text(f"Zeit [s];Strom (mA)\n{rows}", encoding="utf-8")
    return path


@pytest.fixture(name="run")
def _run(monkeypatch, capsys):
    def run(*args, expect=0):
        """Run the whole command line; return what it wrote to stdout and stderr."""
        monkeypatch.setattr(sys, "argv", ["wakerail", "analyze", *map(str, args)])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capsys.readouterr()
        assert (ended.value.code or 0) == expect, err
        return out, err

    return run


def test_a_looping_board_is_told_to_a_program(run, file):
    out, err = run(file, "--json")
    told = json.loads(out)
    assert err == ""
    assert told["finding"] == "restarting"
    assert len(told["restarts"]) == 3
    assert told["onset_s"] == pytest.approx(2.0, abs=0.1)
    for number, restart in enumerate(told["restarts"], 1):
        assert restart["at_s"] == pytest.approx(10.5 * number, abs=0.15)
        assert restart["again_s"] == pytest.approx(10.5 * number + 2.0, abs=0.15)
    assert told["cadence"]["median_s"] == pytest.approx(10.5, abs=0.2)
    assert told["read_as"].startswith("semicolon, decimal comma, header; time from 'Zeit [s]' in s")


def test_a_looping_board_is_told_to_a_person_with_a_picture(run, file, tmp_path):
    picture = tmp_path / "out.svg"
    out, err = run(file, "--standing", "2mA", "--plot", picture)
    assert err.startswith("read as: semicolon, decimal comma, header; time from 'Zeit [s]' in s, current from")
    for word in ("FAILED", "restarting", "Restarts", "Stages", "Cadence"):
        assert word in out
    assert picture.read_text().startswith("<?xml")


def test_a_trace_of_power_is_told_in_watts(run, tmp_path):
    """The sentences, the JSON and the picture."""
    t_s, watts = trace()
    file, picture = tmp_path / "board.csv", tmp_path / "out.svg"
    rows = "".join(f"{at:.2f},{mw:.3f}\n" for at, mw in zip(t_s, watts * 1e3, strict=True))
    file.write_text(f"time (s),power (mW)\n{rows}", encoding="utf-8")
    told = json.loads(run(file, "--json")[0])
    assert len(told["restarts"]) == 3
    assert {"standing_w", "running_w", "peak_w"} < set(told)
    out, _ = run(file, "--plot", picture)
    for says in (out, picture.read_text(), *(one["says"] for one in told["restarts"])):
        assert not re.search(r"\d [mµ]?A\b|\(m?A\)|current (?!-)", says), says
    assert "power fell to 2" in out
    assert "power (mW)" in picture.read_text()


def test_charge_and_energy_of_a_slow_trace_are_counted_and_those_of_its_gaps_not(run, tmp_path):
    """200 mA at 4 V for 600 s but for a gap of 100 s, one sample in 5 s."""
    file = tmp_path / "slow.csv"
    rows = "".join(f"{at},0.2,4.0\n" for at in range(0, 605, 5) if not 200 < at < 300)
    file.write_text(f"time (s),current (A),voltage (V)\n{rows}", encoding="utf-8")
    stages = json.loads(run(file, "--json")[0])["stages"]
    assert sum(stage["charge_ma_s"] for stage in stages) == pytest.approx(500 * 200)
    assert sum(stage["energy_j"] for stage in stages) == pytest.approx(500 * 0.8)


def test_usb_alone_and_beside_the_trace(run, file, tmp_path):
    usb = tmp_path / "usb.csv"
    rows = "".join(
        f"{3 + 10.5 * n},found,1-2,,1209,1,\n{10.5 * (n + 1) - 0.02},disconnect,1-2,7,,,\n" for n in range(3)
    )
    usb.write_text(f"t_s,event,bus_path,device_number,vid,pid,detail\n{rows}", encoding="utf-8")
    alone = json.loads(run("--usb", usb, "--json")[0])
    beside = json.loads(run(file, "--usb", usb, "--json")[0])
    assert alone["samples"] == 0
    assert set(alone) == set(beside)
    assert len(beside["restarts"]) == 3
    assert any("usb" in word for restart in beside["restarts"] for word in restart["evidence"])


@pytest.mark.parametrize(
    ("args", "says"),
    [
        ([], "name a file, a run or 'last', or a USB log with --usb FILE"),
        (["gone.csv"], "gone.csv: no such file"),
        (["."], ".: is a folder; name a file"),
        (["last", "--journal", "gone.sqlite"], "gone.sqlite: "),
        (["board.csv", "--plot", "x.pdf"], "--plot x.pdf: a picture is drawn as .svg or .png"),
        (["board.csv", "--standing", "0.3"], "--standing: '0.3' has no unit; write it like '500 mA'"),
        (["board.csv", "--time", "Zeit"], "board.csv:1: --time 'Zeit': no such column; did you mean 'Zeit [s]'?"),
        (["--usb", "gone.csv"], "gone.csv: no such file"),
        (["--usb", "gone.csv", "--like", "last"], "--like: a USB log alone has no current to compare"),
    ],
)
def test_a_mistake_is_one_line_and_exit_code_2(run, monkeypatch, file, args, says):
    monkeypatch.chdir(file.parent)
    out, err = run(*args, expect=2)
    assert out == ""
    assert err.splitlines()[-1].startswith(f"wakerail: {says}")


def test_a_broken_file_is_one_line_with_its_place(run, file):
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    file.write_text("".join([*lines[:500], "24,95;broken\n", *lines[500:]]), encoding="utf-8")
    _, err = run(file, "--json", expect=2)
    (line,) = err.splitlines()
    assert line.startswith(f"wakerail: {file}:501: 'broken' in 'Strom (mA)' is no number; write it like '0,0413'")


def pieces_of(t_s, amps, sizes):
    at, number = 0, 0
    while at < t_s.size:
        size = sizes[number % len(sizes)]
        yield Piece(t_s[at : at + size], amps[at : at + size])
        at, number = at + size, number + 1


@pytest.mark.parametrize("sizes", [[1], [7, 50, 3], [100_000]])
def test_the_answer_does_not_depend_on_the_sizes_of_the_pieces(file, sizes):
    whole = analyse(open_file(file, Wishes()))
    recording = open_file(file, Wishes())
    t_s, amps = (np.concatenate(parts) for parts in zip(*((p.t_s, p.current_a) for p in recording.pieces), strict=True))
    recording.pieces = pieces_of(t_s, amps, sizes)
    assert answer_json(analyse(recording)) == answer_json(whole)


def test_a_line_that_is_torn_is_left_out_and_said(run, file):
    with file.open("a", encoding="utf-8") as out:
        out.write("999,0")
    told = json.loads(run(file, "--json")[0])
    assert "the last, is torn and was left out" in told["read_as"]
    assert told["end_s"] < 100
