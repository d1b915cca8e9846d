"""A verdict in words."""

from __future__ import annotations

import io

import msgspec
import pytest
from msgspec import structs
from rich.console import Console

from wakerail.report.words import verdict_text
from wakerail_kit.messages import Measurement
from wakerail_kit.outcome import Outcome


@pytest.mark.parametrize("width", [80, 120])
def test_everything_of_a_verdict_is_said_within_the_width(verdict, show, width):
    lines = show(verdict_text(verdict), width=width)
    assert max(len(line) for line in lines) <= width
    said = " ".join(" ".join(lines).split())
    for part in (
        "✘ FAILED restarting",
        "3 times in 18 s, every 4.45 s",
        "boot-watch on bench-1, job j-1042, by ina, 2026-11-25 10:15:00 UTC, took 25.3 s",
        "with volts 3.85 V, limit 3 A",
        "standing-current 300 µA at most 5 mA ✔ Passed",
        "supply.voltage 3.85 V at least 1.925 V ✔ Passed",
        "rail 3.3 V 3.2 V to 3.4 V",
        "restart-interval 4.45 s ± 0.07 s",
        "restarts 3 at most 0 ✘ Failed",
        "port no value ? Inconclusive",
        "10.5 s After 4.05 s up",
        "journal 4710",
        "2 Watch the boot 18 s ✘ Failed",
        "3 Output off · not done",
        "psu-1 power-source, scpi/stonebridge-30: Stonebridge SB-305, serial 0042, firmware 1.3",
        verdict.id,
        verdict.run,
    ):
        assert part in said


@pytest.mark.parametrize(
    ("outcome", "words"),
    [
        (Outcome.PASSED, "✔ PASSED"),
        (Outcome.FAILED, "✘ FAILED"),
        (Outcome.INCONCLUSIVE, "? INCONCLUSIVE"),
        (Outcome.ABORTED, "■ ABORTED"),
    ],
)
def test_each_outcome_has_a_sign_and_a_word(verdict, show, outcome, words):
    assert any(words in line for line in show(verdict_text(msgspec.structs.replace(verdict, outcome=outcome))))


def test_a_step_says_what_the_reason_does_not_say(verdict, show):
    steps = [msgspec.structs.replace(verdict.steps[1], says="The supply went away.")]
    said = "\n".join(show(verdict_text(msgspec.structs.replace(verdict, steps=steps))))
    assert "The supply went away." in said
    assert said.count("It restarted 3 times") == 1


@pytest.mark.parametrize(
    ("driver", "dialect", "says"),
    [
        ("usb-watcher", "", "psu-1 usb-watcher: Stonebridge"),
        ("usb-watcher", "own-words", "psu-1 usb-watcher/own-words: Stonebridge"),
        ("poller", "", "psu-1 usb-watcher, poller: Stonebridge"),
        ("poller", "own-words", "psu-1 usb-watcher, poller/own-words: Stonebridge"),
    ],
)
def test_a_driver_called_as_its_kind_is_named_once(verdict, show, driver, dialect, says):
    used = msgspec.structs.replace(verdict.instruments[0], kind="usb-watcher", driver=driver, dialect=dialect)
    said = " ".join(" ".join(show(verdict_text(msgspec.structs.replace(verdict, instruments=[used])))).split())
    assert says in said


def test_a_step_that_was_not_due_is_not_called_out_of_reach(verdict, show):
    skipped = msgspec.structs.replace(verdict.steps[2], says="Not due: 'before' did not fail.")
    said = " ".join(" ".join(show(verdict_text(msgspec.structs.replace(verdict, steps=[skipped])))).split())
    assert "3 Output off · not done Not due: 'before' did not fail." in said
    assert "not reached" not in said


def test_no_codes_go_into_a_pipe(verdict):
    pipe = io.StringIO()
    Console(file=pipe, width=80).print(verdict_text(verdict))
    assert "\x1b" not in pipe.getvalue()
    assert "✘ FAILED" in pipe.getvalue()


def test_a_terminal_without_unicode_gets_plain_signs(verdict, show):
    lines = show(verdict_text(verdict), encoding="latin-1")
    assert any("x FAILED" in line for line in lines)


def test_an_empty_verdict_has_no_empty_tables(verdict, show):
    bare = msgspec.structs.replace(verdict, measurements=[], evidence=[], steps=[], instruments=[], job=None)
    said = "\n".join(show(verdict_text(bare)))
    for title in ("Measurements", "Evidence", "Steps", "Instruments", "job"):
        assert title not in said


def test_who_gave_a_limit_stands_below_by_number_and_each_once(verdict, show):
    by = {"peak": "J-STD-020D", "hold": "common practice, no source", "time hot": "common practice, no source"}
    measured = [
        Measurement(name=name, value=1.0, unit="K", high=8.0, source=source, outcome=Outcome.PASSED)
        for name, source in by.items()
    ]
    board = Measurement(name="board peak", value=226.8, unit="Cel", uncertainty=3.94, outcome=Outcome.PASSED)
    heated = structs.replace(verdict, measurements=[*measured, board], cautions=["Cells out first."])
    lines = show(verdict_text(heated), width=80, height=60)
    assert sum("at most 8 K [1]" in line for line in lines) == 1
    assert sum("at most 8 K [2]" in line for line in lines) == 2
    assert [line.split() for line in lines if line.strip().startswith("[")] == [
        ["[1]", "J-STD-020D"],
        ["[2]", "common", "practice,", "no", "source"],
    ]
    assert any("226.8 °C ± 3.9 K" in line for line in lines)
    assert any("Cells out first." in line for line in lines)
