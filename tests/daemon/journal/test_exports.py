"""Exports read back by other programs' eyes are what went into the journal; a file is whole or not there."""

from __future__ import annotations

import csv
import json
import math
import tracemalloc
from datetime import datetime

import msgspec
import pyarrow.parquet as pq
import pytest

from wakerail.journal import Form, Journal, JournalReader, export, form_of
from wakerail_kit.clock import rfc3339
from wakerail_kit.errors import ConfigInvalid, WakerailError
from wakerail_kit.messages import Event, Frame, Verdict

BENCH = "bench-1"


@pytest.fixture
async def reader(path, clock, samples):
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        for run in ("run-1", "run-2"):
            await journal.append(samples.topic(run), samples.event(run))
            clock.advance(1.25)
            await journal.append(samples.topic(run, "verdict"), samples.verdict(run, reason='says "no",\nand ½ Ω'))
        for number in range(1, 6):
            journal.append_frame(samples.frame(number), "run-1")
        plate = {
            "signals": {"temperature": [20.5, None, 1e-300, math.inf], "heater": [0.0] * 4},
            "units": {"temperature": "Cel", "heater": "1"},
        }
        journal.append_frame(samples.frame(1, instrument="plate", **plate))
    with JournalReader(path) as reader:
        yield reader


def expected_samples(reader, run=None):
    """Every sample as one mapping, made from the chunks by plain loops."""
    found = []
    for chunk in reader.frames(run=run):
        for index, time in enumerate(chunk.times().tolist()):
            sample = {"instrument": chunk.instrument, "run": chunk.run, "time": time}
            sample |= {"t_s": chunk.t_s[index], "half_width_s": chunk.half_width_s[index]}
            for name, values in chunk.signals.items():
                if not math.isnan(values[index]):
                    sample[name] = values[index]
            found.append(sample)
    return found


SIGNALS = {"voltage (V)": "voltage", "current (A)": "current", "temperature (Cel)": "temperature", "heater": "heater"}


def test_messages_in_json_lines(reader, tmp_path):
    out = tmp_path / "log.jsonl"
    assert export(reader, out) == 4
    lines = [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()]
    back = [
        (
            line["row"],
            line["topic"],
            msgspec.convert(line["message"], Event if "specversion" in line["message"] else Verdict),
        )
        for line in lines
    ]
    assert back == list(reader.messages())


@pytest.mark.parametrize("form", [Form.CSV, Form.PARQUET])
def test_messages_in_a_table(reader, tmp_path, form):
    out = tmp_path / f"log.{form}"
    assert export(reader, out, run="run-2") == 2
    if form is Form.CSV:
        with out.open(encoding="utf-8", newline="") as lines:
            rows = list(csv.DictReader(lines))
    else:
        rows = pq.read_table(out).to_pylist()
        assert all(isinstance(row["time"], datetime) for row in rows)
        rows = [row | {"time": rfc3339(row["time"])} for row in rows]
    for row, entry in zip(rows, reader.messages(run="run-2"), strict=True):
        message = entry.message
        assert int(row["row"]) == entry.row
        assert msgspec.json.decode(row["message"], type=type(message)) == message
        is_event = isinstance(message, Event)
        assert row["time"] == (message.time if is_event else message.ended)
        assert row["type"] == (message.type if is_event else "verdict")
        assert (row["bench"], row["run"], row["topic"], row["id"]) == (BENCH, "run-2", entry.topic, message.id)


def test_frames_in_json_lines_are_frames_again(reader, tmp_path):
    out = tmp_path / "samples.jsonl"
    assert export(reader, out, frames=True) == 2
    frames = [msgspec.json.decode(line, type=Frame) for line in out.read_bytes().splitlines()]
    for frame, chunk in zip(frames, reader.frames(), strict=True):
        assert (frame.instrument, frame.start, frame.units) == (chunk.instrument, rfc3339(chunk.start), chunk.units)
        assert frame.t_s == chunk.t_s.tolist()
        for name, values in chunk.signals.items():
            assert frame.signals[name] == [value if math.isfinite(value) else None for value in values.tolist()]
    assert json.loads(out.read_bytes().splitlines()[0])["run"] == "run-1"


@pytest.mark.parametrize("run", [None, "run-1"])
def test_frames_in_csv(reader, tmp_path, run):
    out = tmp_path / "samples.csv"
    count = export(reader, out, frames=True, run=run)
    with out.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    back = []
    for row in rows:
        sample = {"instrument": row["instrument"], "run": row["run"] or None}
        sample["time"] = datetime.fromisoformat(row["time"]).replace(tzinfo=None)
        sample |= {name: float(row[name]) for name in ("t_s", "half_width_s")}
        sample |= {name: float(row[title]) for title, name in SIGNALS.items() if row.get(title)}
        back.append(sample)
    assert back == expected_samples(reader, run)
    assert count == len(back)


@pytest.mark.parametrize("run", [None, "run-1"])
def test_frames_in_parquet(reader, tmp_path, run):
    out = tmp_path / "samples.parquet"
    count = export(reader, out, frames=True, run=run)
    back = []
    for row in pq.read_table(out).to_pylist():
        sample = {"instrument": row["instrument"], "run": row["run"], "time": row["time"].replace(tzinfo=None)}
        sample |= {name: row[name] for name in ("t_s", "half_width_s")}
        sample |= {name: row[title] for title, name in SIGNALS.items() if row.get(title) is not None}
        back.append(sample)
    assert back == expected_samples(reader, run)
    assert count == len(back)


@pytest.mark.parametrize("form", list(Form))
@pytest.mark.parametrize("frames", [False, True])
async def test_an_empty_journal_gives_an_empty_file(tmp_path, clock, form, frames):
    await (await Journal.open(tmp_path / "j.sqlite", bench=BENCH, clock=clock)).close()
    out = tmp_path / f"out.{form}"
    with JournalReader(tmp_path / "j.sqlite") as reader:
        assert export(reader, out, frames=frames) == 0
    if form is Form.PARQUET:
        assert pq.read_table(out).num_rows == 0
    else:
        assert len(out.read_text().splitlines()) == (1 if form is Form.CSV else 0)


# --- whole or not at all ---


@pytest.mark.parametrize("form", list(Form))
def test_a_file_that_is_there_is_left_alone_without_force(reader, tmp_path, form):
    out = tmp_path / f"log.{form}"
    out.write_text("dear diary")
    with pytest.raises(ConfigInvalid, match=r"is there already.*--force"):
        export(reader, out)
    assert out.read_text() == "dear diary"
    assert export(reader, out, force=True) == 4
    assert "dear" not in out.read_bytes().decode("latin-1")


@pytest.mark.parametrize("form", list(Form))
def test_an_export_that_breaks_off_leaves_nothing_and_replaces_nothing(reader, tmp_path, form, monkeypatch):
    messages = reader.messages

    def break_off(**asked):
        yield from messages(limit=2)
        raise WakerailError("the journal went away")

    monkeypatch.setattr(reader, "messages", break_off)
    folder = tmp_path / "out"
    folder.mkdir()
    out = folder / f"log.{form}"
    out.write_text("the last one")
    with pytest.raises(WakerailError, match="went away"):
        export(reader, out, force=True)
    assert out.read_text() == "the last one"
    assert list(folder.iterdir()) == [out]


def test_a_file_that_appears_meanwhile_is_not_overwritten(reader, tmp_path, monkeypatch):
    out = tmp_path / "log.jsonl"
    messages = reader.messages

    def somebody_else_writes(**asked):
        out.write_text("mine")
        return messages(**asked)

    monkeypatch.setattr(reader, "messages", somebody_else_writes)
    with pytest.raises(ConfigInvalid, match="is there already"):
        export(reader, out)
    assert out.read_text() == "mine"


def test_a_place_that_cannot_be_written_is_one_clear_line(reader, tmp_path):
    with pytest.raises(WakerailError, match=r"nowhere/log\.csv: cannot be written: No such file or directory"):
        export(reader, tmp_path / "nowhere" / "log.csv")
    folder = tmp_path / "folder.csv"
    folder.mkdir()
    with pytest.raises(ConfigInvalid, match="is a folder"):
        export(reader, folder, force=True)


def test_the_form_is_by_the_name(tmp_path):
    assert [form_of(tmp_path / name) for name in ("a.jsonl", "b.CSV", "c.parquet")] == list(Form)
    for name in ("a", "a.txt", "csv"):
        with pytest.raises(ConfigInvalid, match=r"\.jsonl, \.csv or \.parquet"):
            form_of(tmp_path / name)


@pytest.mark.parametrize("form", list(Form))
async def test_memory_stays_bounded_however_long_the_journal(path, clock, samples, form, monkeypatch):
    monkeypatch.setattr("wakerail.journal.exports._ROWS_A_BATCH", 500)
    async with await Journal.open(path, bench=BENCH, clock=clock) as journal:
        for number in range(1, 301):
            journal.append_frame(samples.frame(number, count=100))
            await journal.flush()
    with JournalReader(path) as reader:
        export(reader, path.with_name(f"warm-up.{form}"), frames=True, run="none")  # imports are not what we measure
        tracemalloc.start()
        assert export(reader, path.with_name(f"samples.{form}"), frames=True) in {300, 30_000}
        _, peak_bytes = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    assert peak_bytes < 2e6  # all 30,000 samples as Python numbers would be some 6 MB
