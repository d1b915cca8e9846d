"""What was read from a recording, as a person and as a program get it."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace

import numpy as np
import pytest

from wakerail.analysis.cadence import CadenceRow, cadence_of
from wakerail.analysis.stages import Stage
from wakerail.recordings.outline import Outline
from wakerail.recordings.reading import Analysis
from wakerail.report.answer import answer_json, answer_text
from wakerail_kit.outcome import Finding, Outcome

SAYS = "It restarted 3 times in 20 s; the current fell to 38 mA each time."
TRADE = CadenceRow("fast-loop", 0.0, 5.0, None, None, "A fast loop: look at the main rails.", "common practice")


def restart(number, at_s):
    return SimpleNamespace(
        at_s=at_s,
        again_s=at_s + 0.4,
        number=number,
        probability=0.99999 if number == 1 else 0.973,
        evidence=("current-collapse", "usb-left"),
        says="after 4.05 s up the current fell to 38 mA and rose again 0.4 s later",
        uncertainty_s=0.05,
    )


def replace_number(one, number):
    return SimpleNamespace(**{**vars(one), "number": number})


def stage(number):
    return Stage(number * 1.0, number + 1.0, 0.25, 0.0125, 0.4, 250.0, 0.9625)


@pytest.fixture(name="analysis")
def _analysis():
    """A made-up reading of 20 s with three restarts."""
    outline = Outline()
    times = np.arange(0, 20, 0.05)
    outline.take(times, np.where(times % 5 < 4, 0.412, 0.001))
    reading = SimpleNamespace(
        finding=Finding.RESTARTING,
        outcome=Outcome.FAILED,
        probability=0.998,
        says=SAYS,
        onset_s=0.25,
        restarts=tuple(restart(number, 5.0 * number) for number in (1, 2, 3)),
        stages=tuple(stage(number) for number in range(4)),
        cadence=cadence_of([5.4, 10.4, 15.4], 0.05, ends_s=[5, 10, 15], onset_s=0.25),
        standing_a=0.0003,
        running_a=None,
        peak_a=0.412,
        measurements=[],
    )
    return Analysis(reading, "A", 400, 0.0, 19.95, None, None, "comma, header", outline, Outline())


def test_json_has_every_key_that_a_program_asks_for(analysis):
    told = json.loads(answer_json(analysis, TRADE))
    assert list(told) == [
        "finding", "outcome", "probability", "says", "onset_s", "restarts", "stages", "cadence", "known_good",
        "standing_a", "running_a", "peak_a", "samples", "start_s", "end_s", "begins", "read_as",
    ]  # fmt: skip
    assert (told["finding"], told["outcome"], told["samples"]) == ("restarting", "Failed", 400)
    assert told["running_a"] is None
    assert told["known_good"] is None
    assert [one["at_s"] for one in told["restarts"]] == [5.0, 10.0, 15.0]
    assert told["restarts"][1] | {"says": ""} == {
        "at_s": 10.0, "again_s": 10.4, "probability": 0.973, "evidence": ["current-collapse", "usb-left"], "says": "",
        "uncertainty_s": 0.05,
    }  # fmt: skip
    assert told["stages"][1] == {
        "start_s": 1.0, "end_s": 2.0, "mean_a": 0.25, "spread_a": 0.0125, "peak_a": 0.4, "charge_ma_s": 250.0,
        "energy_j": 0.9625,
    }  # fmt: skip
    assert told["cadence"]["median_s"] == pytest.approx(5.0)
    assert told["cadence"]["low_s"] <= 5.0 <= told["cadence"]["high_s"]
    assert told["cadence"]["says"].startswith("It restarts ")
    assert told["cadence"]["trade"] == TRADE.says


def test_levels_of_power_are_named_and_told_in_watts(analysis, show):
    power = replace(analysis, unit="W")
    told = json.loads(answer_json(power))
    assert {"standing_w", "running_w", "peak_w"} < set(told)
    assert told["stages"][0] == {
        "start_s": 0.0, "end_s": 1.0, "mean_w": 0.25, "spread_w": 0.0125, "peak_w": 0.4, "energy_j": 0.25,
    }  # fmt: skip
    text = "\n".join(show(answer_text(power), width=100))
    assert "standing 300 µW, peak 412 mW" in text
    assert "250 mW" in text


def test_words_say_the_headline_restarts_stages_and_cadence(analysis, show):
    lines = show(answer_text(analysis, TRADE), width=110)
    text = "\n".join(lines)
    assert "✘ FAILED   restarting   99.8 %" in text
    assert SAYS in text
    assert "standing 300 µA, peak 412 mA, onset at 0.25 s" in text
    (row,) = [line for line in lines if "10.00 s" in line and "10.40 s" in line]
    assert "97.3 %" in row
    assert "> 99.9 %" in text
    assert "current-collapse, usb-left" in " ".join(text.split())
    rows = [" ".join(line.split()) for line in lines]
    assert "2.00 s 1.00 s 250 mA 12.5 mA 400 mA 250 mA s 962 mJ" in rows
    assert TRADE.says in text


def test_restarts_are_counted_by_time_whatever_number_they_were_told_under(analysis, show):
    late = [replace_number(one, number) for one, number in zip(analysis.reading.restarts, (1, 3, 2), strict=True)]
    analysis.reading.restarts = tuple(late)
    rows = [line.split()[:2] for line in show(answer_text(analysis), width=110) if "began again" not in line]
    assert [row for row in rows if row and row[0] in {"1", "2", "3"}] == [
        ["1", "5.00"],
        ["2", "10.00"],
        ["3", "15.00"],
    ]


def test_no_number_of_the_facts_is_parted_from_its_unit(analysis, show):
    for width in range(40, 110, 3):
        lines = [line.strip() for line in show(answer_text(analysis), width=width)]
        facts = lines[lines.index(next(line for line in lines if line.startswith("400 samples"))) :]
        listed = facts[: next(place for place, line in enumerate(facts) if not line.endswith(",")) + 1]
        assert all(re.search(r"(s|A|samples),?$", line) for line in listed), listed


def test_the_chart_marks_restarts_where_they_are(analysis, show):
    lines = show(answer_text(analysis), width=88)
    (marks,) = [line for line in lines if line.strip() and set(line.strip()) <= {"▼", " "}]
    assert [place - 4 for place, sign in enumerate(marks) if sign == "▼"] == [20, 40, 60]
    assert any(line.strip() == "up to 412 mA" for line in lines)


@pytest.mark.parametrize("width", [40, 80, 200])
def test_no_line_is_wider_than_the_terminal(analysis, show, width):
    for encoding in ("utf-8", "ascii"):
        lines = show(answer_text(analysis, TRADE), width=width, encoding=encoding)
        assert max(map(len, lines)) <= width
    assert any("300 uA" in line for line in lines)


def test_a_long_list_is_cut_and_says_so(analysis, show):
    reading = SimpleNamespace(**vars(analysis.reading) | {"stages": tuple(stage(number) for number in range(45))})
    text = "\n".join(show(answer_text(replace(analysis, reading=reading)), width=100))
    assert "... 15 more, see --json" in text
    assert "29.00 s" in text
    assert "31.00 s" not in text
    assert len(json.loads(answer_json(replace(analysis, reading=reading)))["stages"]) == 45


def test_civil_times_say_when_they_begin(analysis, show):
    begins = datetime(2026, 11, 25, 10, 15, tzinfo=UTC)
    civil = replace(analysis, begins=begins)
    assert json.loads(answer_json(civil))["begins"] == "2026-11-25T10:15:00+00:00"
    assert "0 s is 2026-11-25 10:15:00.000+00:00" in " ".join(" ".join(show(answer_text(civil))).split())


def test_usb_alone_has_no_chart_and_no_samples(analysis, show):
    reading = SimpleNamespace(**vars(analysis.reading) | {"stages": (), "peak_a": None, "standing_a": None})
    alone = replace(analysis, reading=reading, samples=0, current=Outline())
    lines = show(answer_text(alone))
    assert not any("up to" in line or "Stages" in line for line in lines)
