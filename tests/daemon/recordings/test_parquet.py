"""Current traces in Parquet, and what the journal itself exports."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from wakerail.recordings import parquet


@pytest.fixture(name="table")
def _table(tmp_path):
    def table(rows_a_group=1000, **columns):
        path = tmp_path / "trace.parquet"
        pq.write_table(pa.table(columns), path, row_group_size=rows_a_group)
        return path

    return table


@pytest.mark.parametrize("rows", [7, 100_000])
def test_numbers_come_back_whatever_the_batches(read, table, monkeypatch, rows):
    monkeypatch.setattr(parquet, "_ROWS", rows)
    path = table(time_ms=list(range(500)), i_ma=[float(at % 37) for at in range(500)], note=["x"] * 500)
    piece, recording = read(path)
    assert piece.t_s.tolist() == [at / 1000 for at in range(500)]
    assert piece.current_a.tolist() == [at % 37 / 1000 for at in range(500)]
    assert recording.read_as == "Parquet; time from 'time_ms' in ms, current from 'i_ma' in mA"
    assert recording.share() == 1.0


@pytest.mark.parametrize("sort", [pa.timestamp("us", tz="UTC"), pa.timestamp("ns"), pa.timestamp("ms", tz="+02:00")])
def test_timestamps_of_any_sort(read, table, sort):
    begins = datetime(2026, 11, 25, 10, 15, 0, 125000, UTC if sort.tz else None)
    times = pa.array([begins, None, begins + timedelta(seconds=2.5)], sort)
    piece, recording = read(table(time=times, current_a=pa.array([Decimal("0.10"), None, Decimal("0.30")])))
    assert piece.t_s.tolist() == [0.0, 2.5]
    assert piece.current_a.tolist() == [0.1, 0.3]
    assert recording.begins() == begins
    assert recording.notes() == ["1 row without a sample left out"]


def test_numbers_that_count_from_1970_say_their_unit_by_their_size(read, table):
    piece, recording = read(table(time=[1764065700250, 1764065700500], current_a=[1.0, 2.0]))
    assert piece.t_s.tolist() == [1764065700.25, 1764065700.5]
    assert "taken to be in ms from 1970" in recording.read_as


def test_what_is_wrong_is_said_with_its_row(refused, table):
    assert refused(table(t_s=[0.0, 1.0, 0.5], current_a=[1, 1, 1])) == (
        "trace.parquet: row 3: time goes back by 0.5 s; each row needs a later time than the one before"
    )
    assert refused(table(t_s=[0.0, 1.0], current_a=[float("nan"), 1])).startswith(
        "trace.parquet: row 1: 'current_a' is"
    )
    assert refused(table(t_s=[0.0, 1.0], current_a=["a", "b"])) == (
        "trace.parquet: 'current_a' holds string; numbers are needed"
    )
    path = table(t_s=[0.0], current_a=[1.0])
    path.write_bytes(path.read_bytes()[:-20])
    assert refused(path).startswith("trace.parquet: cannot be read as Parquet")


def test_a_journal_is_no_table(refused, file):
    path = file(b"SQLite format 3\0" + b"\0" * 100, "trace.sqlite")
    assert refused(path).startswith("trace.sqlite: is a journal; name a run of it: 'wakerail analyze last --journal")
