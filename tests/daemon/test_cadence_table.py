"""The table of what the trade reads from a cadence: as shipped, and with mistakes in it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from wakerail.analysis.cadence import cadence_of, reading_of
from wakerail.cadence_table import load_cadence_table
from wakerail.config import shipped
from wakerail_kit.errors import ConfigInvalid

SHIPPED = shipped("") / "cadence.yaml"


@pytest.fixture
def write(tmp_path):
    def write(text):
        file = tmp_path / "cadence.yaml"
        file.write_text(text)
        return file

    return write


@pytest.mark.parametrize(
    ("intervals_s", "down_s", "name"),
    [
        ([2.1, 2.0, 2.2, 2.1], 0.3, "fast-loop"),
        ([61.0, 60.5, 62.0, 61.2], None, "near-one-minute"),
        ([181.0, 179.0, 180.5], 0.5, "near-three-minutes"),
        ([12.0, 12.2, 11.9, 12.1], 0.5, "same-stage"),
        ([9.0, 140.0, 33.0, 15.0, 77.0], 0.5, "irregular"),
        ([400.0, 401.0, 399.0], None, None),  # a loop that nobody has a saying about
    ],
)
def test_what_the_shipped_table_reads(intervals_s, down_s, name):
    starts_s = np.cumsum([100.0, *intervals_s])
    cadence = cadence_of(starts_s, 0.05, ends_s=() if down_s is None else starts_s - down_s)
    row = reading_of(cadence, load_cadence_table(SHIPPED))
    assert (row.name if row else None) == name


def test_each_shipped_row_is_a_sentence_with_a_source():
    rows = load_cadence_table(SHIPPED)
    assert {row.name for row in rows} >= {"fast-loop", "near-one-minute", "near-three-minutes", "irregular"}
    for row in rows:
        assert row.says.endswith(".")
        assert "\n" not in row.says
        assert row.source


def test_a_row_without_conditions_fits_all(write):
    (row,) = load_cadence_table(write("rows:\n  - {name: any, says: Look., source: us}\n"))
    assert (row.from_s, row.to_s, row.regular, row.alike) == (0.0, math.inf, None, None)


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("- {name: a, says: A., source: us, from: 5}", r"cadence\.yaml:2: rows\[0\]\.from: '5' has no unit"),
        ("- {name: a, says: A., source: us, from: 9 s, to: 5 s}", r"rows\[0\]\.to: is below 'from'"),
        ("- {name: a, says: A., source: us, from: -1 s}", r"rows\[0\]\.from: -1 s is too low"),
        ("- {name: a, says: A., source: us, regualr: yes}", r"rows\[0\]\.regualr: unknown key; did you mean 'regular'"),
        ("- {name: a, says: A., source: us, regular: maybe}", r"regular: 'maybe' is neither on nor off"),
        ("- {name: a, says: ' ', source: us}", r"rows\[0\]\.says: is empty; write a sentence"),
        ("- {name: a, says: A.}", r"rows\[0\]\.source: is missing"),
        ("- {name: A b, says: A., source: us}", r"rows\[0\]\.name: 'A b' is no name"),
        (
            "- {name: a, says: A., source: us}\n  - {name: a, says: B., source: us}",
            r"cadence\.yaml:3: rows\[1\]\.name: 'a' is there twice",
        ),
    ],
)
def test_a_mistake_is_one_line_with_its_place(write, rows, says):
    with pytest.raises(ConfigInvalid, match=says) as wrong:
        load_cadence_table(write(f"rows:\n  {rows}\n"))
    assert len(wrong.value.problems) == 1


def test_a_table_without_rows(write):
    with pytest.raises(ConfigInvalid, match=r"cadence\.yaml:1: rows: is missing"):
        load_cadence_table(write("{}\n"))
